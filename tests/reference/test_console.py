"""Console lines against published pins, levels, timing and framing (console.yaml)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from halfsplit.boards.connector import Connector, settled
from halfsplit.boards.consoles import open_console
from halfsplit.boards.framing import (
    Format,
    budget,
    edges_of,
    half_bit_rule,
    parse_format,
    receive,
    tolerance,
)
from halfsplit.boards.line import LineBoard, positions_for, setting
from halfsplit.boards.loops import current
from halfsplit.boards.wiring import Plan, plan
from tests.reference.oracle import entries

ROWS = entries("console.yaml")
DEMO = Path(__file__).resolve().parents[2] / "examples" / "quillon16" / "console.yaml"


def end(layout: str, kind: str = "DTE", standard: str = "TIA-232") -> Connector:
    return Connector.model_validate({"end": kind, "standard": standard, "layout": layout})


def wires(found: Plan) -> set[tuple[int, int]]:
    """Pins joined, as (pin of A, pin of B)."""
    pairs = [(w.a, w.b) if w.a.end == "A" else (w.b, w.a) for w in found.wires]
    return {(int(a.pin), int(b.pin)) for a, b in pairs}


def test_pins_of_both_plugs() -> None:
    """An adapter joins circuit to circuit: the same names, each with the same direction."""
    big, small = settled("A", end("DB25")), settled("B", end("DE9"))
    table = ROWS["pins of both plugs"]["terminal"]
    for pin, (other, circuit) in table.items():
        a, b = big[str(pin)], small[str(other)]
        assert a.circuit == b.circuit and a.role == b.role
        assert a.circuit == {"RD": "RD", "TD": "TD"}.get(circuit, circuit)
    assert {int(p) for p in small} == {other for other, _ in table.values()}
    assert big["2"].role == "send" and small["2"].role == "receive"  # the crossing in the names


def test_null_modem() -> None:
    row = ROWS["null modem"]
    found = plan("A", end("DE9"), "B", end("DE9"))
    assert wires(found) == {tuple(w) for w in row["wires"]}
    ties = {(t.pin.end, int(t.pin.pin), int(t.to.pin)) for t in found.ties}
    assert ties == {(e, a, b) for e in "AB" for a, b in row["ties"]}


def test_straight_cable_between_plugs() -> None:
    """Terminal DE9 to modem DB25: the adapter's own pairs."""
    found = plan("A", end("DB25"), "B", end("DE9", "DCE"))
    table = ROWS["pins of both plugs"]["terminal"]
    assert wires(found) == {(pin, other) for pin, (other, name) in table.items() if name != "RI"}
    assert not found.ties


def _pair(standard: str) -> Connector:
    pins = {n: {"circuit": n} for n in ("TD+", "TD-", "RD+", "RD-", "SG")}
    return Connector.model_validate({"end": "DTE", "standard": standard, "pins": pins})


def test_level_margins() -> None:
    for name, spare in ROWS["levels"]["spare"].items():
        one, _, other = name.partition(" to ")
        ends = [_pair(s) if s == "TIA-422" else end("DE9", "DTE", s) for s in (one, other)]
        found = plan("A", ends[0], "B", ends[1])
        (link,) = [k for k in found.links if k.sender[0].end == "A"]
        assert link.verdict == "join"
        assert min(m.spare for m in link.margins) == pytest.approx(spare, abs=1e-9)


def test_loop_current() -> None:
    row = ROWS["loop resistor"]
    assert current(row["volts"], 0.0, row["ohms"]) == pytest.approx(row["amps"], abs=1e-9)


@pytest.mark.parametrize("case", ROWS["loop of the demo"]["cases"], ids=str)
def test_loop_of_the_demo(case: list[float]) -> None:
    """The source pin's resistor as fitted, with its strap, and an outside source; all passive."""
    volts, ohms, amps = case
    console = open_console(DEMO)
    board = console.connectors["J3"].model_dump(exclude_none=True)
    board["pins"]["14"] |= {"volts": f"{volts} V", "ohms": f"{ohms} ohm"}
    for pin in board["pins"].values():
        for key in ("mark", "space", "withstands"):
            if key in pin:
                pin[key] = f"{pin[key]['low']}..{pin[key]['high']} V"
        for key, unit in (("drop", "V"), ("ohms", "ohm"), ("volts", "V")):
            if isinstance(pin.get(key), float):
                pin[key] = f"{pin[key]} {unit}"
    found = plan("J3", Connector.model_validate(board), "T2", console.connectors["T2"])
    (link,) = [k for k in found.links if k.receiver[0].pin == "12"]
    margin = link.margins[0]
    assert margin.value == pytest.approx(amps, abs=0.05e-3)
    assert link.verdict == ("marginal" if amps < 16e-3 else "join")


def test_timing_table_is_reproduced() -> None:
    row = ROWS["timing"]
    limits = [tolerance(bits) for bits in range(5, 11)]
    assert [round(100 * t.slowest, 2) for t in limits] == row["slow"]
    assert [round(100 * t.fastest, 2) for t in limits] == row["fast"]


@pytest.mark.parametrize("data", [5, 6, 7, 8])
def test_a_receiver_reads_inside_the_table_and_not_far_outside(data: int) -> None:
    """Our own receiver, which samples mid-bit, against the table: it must be no worse."""
    form, words = Format(data), [0, (1 << data) - 1, 0b10101 & ((1 << data) - 1), 1]
    limits = tolerance(data)
    for ratio, good in (
        (limits.slowest, True),
        (limits.fastest, True),
        (0.88, False),
        (1.13, False),
    ):
        heard = receive(edges_of(words, form), form, bit=ratio)
        right = [h.value for h in heard] == words and not any(h.framing for h in heard)
        assert right == good, ratio


def test_half_bit_rule() -> None:
    row = ROWS["half bit"]
    assert half_bit_rule(row["bits"]) == row["error"]


@pytest.mark.parametrize("row", ROWS["framing"]["rows"], ids=str)
def test_framing(row: list[Any]) -> None:
    form = parse_format(row[0])
    assert form.bits == row[1]
    assert form.per_second == pytest.approx(row[2], abs=1e-9)


def test_bit_time_and_divisor() -> None:
    row = ROWS["bit time and divisor"]
    made = {"crystal": row["crystal"], "rate": {"at": "1", "codes": {"0": row["divisor"]}}}
    board = LineBoard.model_validate(made)
    found = setting(board, "0")
    assert found.form.rate == row["rate"]
    assert round(1 / found.form.rate, 8) == pytest.approx(float(row["bit"]), abs=1e-12)


@pytest.mark.parametrize("row", ROWS["divisors of the demo"]["rows"], ids=str)
def test_divisors_of_the_demo(row: list[Any]) -> None:
    _, board = open_console(DEMO).line("SL-2")
    found = setting(board, row[0] + "1000")
    assert round(found.form.rate, 2) == row[1]
    assert positions_for(board, found.form)[:4] == row[0]


def test_110_baud_of_the_demo() -> None:
    """110.03 Bd, 0.03 % fast, two stop bits, ten characters a second."""
    _, board = open_console(DEMO).line(None)
    found = setting(board, "0000 1001")
    assert str(Format(found.form.data, found.form.parity, found.form.stop)) == "8N2"
    assert found.nominal == 110 and round(found.error * 100, 2) == 0.03
    assert found.form.per_second == pytest.approx(10.0, abs=0.003)
    assert budget(found.form.rate, 110, found.form).spare > 0.04
