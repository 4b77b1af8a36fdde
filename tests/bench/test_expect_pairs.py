"""What is expected between two nets, and of a meter whose scale ends below what is there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from halfsplit.bench.expect import Line, expect
from halfsplit.bench.session import Session
from halfsplit.circuit.netlist import Overrides
from halfsplit.problems import NotFoundError, ProblemsError

# A megohm over a megohm, and a hundred ohms that two nets hang at nearly the same volts by.
CHAIN = """
assembly: Two chains
parts:
  S1: {kind: supply, volts: 10V, ohms: 10mohm, pos: vin, neg: com}
  R1: {kind: resistor, value: 1M, a: vin, b: mid}
  R2: {kind: resistor, value: 1M, a: mid, b: com}
  R3: {kind: resistor, value: 1k, a: vin, b: high}
  R4: {kind: resistor, value: 10R, a: high, b: low}
  R5: {kind: resistor, value: 1k, a: low, b: com}
"""
# A thyristor whose gate stands at its trigger point: fired in some specimens, not in others.
GATE = """
assembly: Bench eleven
parts:
  S1: {kind: supply, volts: 5V, ohms: 10mohm, pos: vcc, neg: com}
  R1: {kind: resistor, value: 50R, power: 1W, a: vcc, b: half}
  R2: {kind: resistor, value: 50R, power: 1W, a: half, b: out}
  R3: {kind: resistor, value: 850R, a: vcc, b: gate}
  SCR1: {kind: scr, volts: 50V, amps: 4A, trigger_volts: 0.7V, trigger_amps: 5mA,
         holding_amps: 5mA, a: out, k: com, g: gate}
"""


def bench(folder: Path, text: str = CHAIN) -> Session:
    file = folder / "chain.yaml"
    file.write_text(text, encoding="utf-8")
    return Session(file)


def ask(session: Session, *names: str) -> list[Line]:
    return expect(session, names, [session.condition])


def test_volts_between_two_nets_have_the_meter_in_them(tmp_path: Path) -> None:
    """10 Mohm across the upper megohm: 10 V x 0.90909 / 1.90909 = 4.762 V; arithmetic."""
    with bench(tmp_path) as session:
        line, back, common = ask(session, "vin:mid", "mid:vin", "mid:com")
        assert (line.net, line.against) == ("vin", "mid")
        assert line.mean == pytest.approx(4.762, abs=1e-3)
        assert line.low < line.mean < line.high
        assert back.mean == pytest.approx(-line.mean, abs=1e-6)
        assert (back.low, back.high) == pytest.approx((-line.high, -line.low), abs=0.005)
        assert common.against == ""
        assert common.as_dict() == {**ask(session, "mid")[0].as_dict(), "name": "mid:com"}
        assert line.as_dict()["against"] == "mid"
        session.set_meter(kind="pointer-20k")  # 10 V range: 200 kohm || 1 M = 166.67 k
        assert ask(session, "vin:mid")[0].mean == pytest.approx(1.4286, abs=1e-3)


def test_what_moves_both_nets_alike_is_no_spread_of_their_difference(tmp_path: Path) -> None:
    """10 V over 2.01 k leave 49.8 mV across the 10 ohm: a few per cent of that and the meter's own
    0.02 V, while either net may be off by two tenths of a volt."""
    with bench(tmp_path) as session:
        pair, high, low = ask(session, "high:low", "high", "low")
        assert pair.mean == pytest.approx(10.0 * 10.0 / 2010.0, abs=1e-4)
        assert pair.high - pair.low < 0.06
        for each in (high, low):
            assert each.high - each.low > 0.2


def test_a_pair_tells_of_two_readings_tolerances_decide_between(tmp_path: Path) -> None:
    """Fired, some 42 mA through the 50 ohm; else nothing. Both lie within what is expected."""
    with bench(tmp_path, GATE) as session:
        (line,) = ask(session, "half:out")
        assert line.note.startswith("bistable: half:out reads about 2")
        assert line.mean == pytest.approx(2.1, abs=0.15)
        assert line.low < 0.05 and line.high - line.mean < 0.5


def test_drawn_and_not_a_pair_to_common_spreads_as_the_net_does(tmp_path: Path) -> None:
    for text, net in ((CHAIN, "mid"), (GATE, "out")):
        folder = tmp_path / net
        folder.mkdir()
        with bench(folder, text) as session:
            rows: list[Overrides] = [{}]
            at, spreads = session.condition, session.draws.spreads
            table = session.table(at).rows([0])
            table = table.with_draws(spreads.drawn(at, rows, table, [0], [net]), table.nets)
            i, end = table.column(net), len(table.nets)
            both = spreads.between(table, 0, i, end)
            # Chance is taken out of one of the two where slopes hold.
            assert both == pytest.approx(spreads.band(table, 0)[:, i], abs=0.02)
            assert spreads.between(table, 0, end, i)[0] == pytest.approx(-both[1], abs=0.02)
            assert np.allclose(spreads.between(table, 0, i, i), 0.0)


@pytest.mark.parametrize("name", ["mid:", ":mid", ":", "mid:mid", "com:com"])
def test_no_pair_of_nets(name: str, tmp_path: Path) -> None:
    with bench(tmp_path) as session, pytest.raises(ProblemsError, match=r"probes|one lead"):
        ask(session, name)


def test_a_pair_with_an_unknown_net_names_that_one(tmp_path: Path) -> None:
    with bench(tmp_path) as session, pytest.raises(NotFoundError, match=r"point mib; .*mid"):
        ask(session, "vin:mib")


def test_a_reading_off_the_scale_set_is_told(tmp_path: Path) -> None:
    with bench(tmp_path) as session:
        assert ask(session, "vin")[0].off_scale == ""
        session.set_meter(kind="pointer-20k", scale="2.5V")
        line, under, pair = ask(session, "vin", "mid", "vin:low")
        assert line.off_scale == "off its 2.5 V scale: set a higher one"
        assert line.as_dict()["off_scale"] == line.off_scale
        assert under.mean < 2.5 and under.off_scale == ""  # the meter itself pulls it down
        assert pair.off_scale == line.off_scale
        session.set_meter(kind="scope")  # its scale is the lowest that holds the reading
        assert ask(session, "vin")[0].off_scale == ""
        session.set_meter(kind="scope", scale="8V")
        assert ask(session, "vin")[0].off_scale == "off its 8 V scale: set a higher one"
    with bench(tmp_path, CHAIN.replace("10V", "60V")) as session:
        session.set_meter(kind="scope")
        assert ask(session, "vin")[0].off_scale == "off its 40 V scale: it has none that holds this"
