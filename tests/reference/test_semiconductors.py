"""Catalogue rows and part models against published tables (semiconductors.yaml)."""

from __future__ import annotations

from typing import Any

import pytest

from halfsplit.parts import catalogue
from halfsplit.quantity import parse, parse_range
from tests.reference.oracle import entries, machine, solve, volts

PAGES = entries("semiconductors.yaml")
TRANSISTORS: dict[str, Any] = PAGES["transistors"]
ZENERS: dict[float, list[float]] = PAGES["one-watt zeners"]["rows"]
NUMBERS = dict(enumerate(ZENERS, start=4728))  # the series counts up with the voltage
UNITS: dict[str, Any] = {
    "volts": "V", "amps": "A", "surge": "A", "i2t": "1", "trigger_amps": "A",
    "trigger_volts": "V", "holding_amps": "A", "on_volts": "V", "theta_ja": "K/W",
    "theta_jc": "K/W", "junction_max": "degC",
}  # fmt: skip
THYRISTORS = [
    (page, name)
    for page in ("small thyristors", "C106 thyristors")
    for name in PAGES[page]["volts"]
]


def shipped(name: str, field: str, unit: Any) -> float:
    row = catalogue.load().get(name)
    assert row is not None, name
    return parse(str(row.fields[field]), unit)


def at(name: str, amps: float) -> float:
    """Volts across a zener that carries `amps`, solved."""
    circuit = machine(f"""
assembly: one zener
parts:
  V1: {{kind: supply, volts: 1000V, pos: raw, neg: com}}
  R1: {{kind: resistor, value: {1000.0 / amps:.6g}R, a: raw, b: z}}
  D1: {{type: {name}, a: com, k: z}}
""")
    return volts(solve(circuit), "z")


def test_the_series_is_whole() -> None:
    assert NUMBERS[4728] == 3.3 and NUMBERS[4751] == 30 and len(NUMBERS) == 24


@pytest.mark.parametrize("number", NUMBERS)
def test_one_watt_zener_row(number: int) -> None:
    value = NUMBERS[number]
    test, impedance, top = ZENERS[value]
    for name in (f"1N{number}", f"1N{number}A"):
        assert shipped(name, "value", "V") == pytest.approx(value)
        assert shipped(name, "test_current", "A") == pytest.approx(test / 1e3)
        assert shipped(name, "impedance", "ohm") == pytest.approx(impedance)
        assert shipped(name, "max_current", "A") == pytest.approx(top / 1e3)
        assert shipped(name, "power", "W") == 1.0


@pytest.mark.parametrize("number", [4728, 4735, 4736, 4742, 4751])
def test_one_watt_zener_as_solved(number: int) -> None:
    """The model stands at the printed volts at the printed current, with the printed slope."""
    value = NUMBERS[number]
    test, impedance, _ = ZENERS[value]
    amps = test / 1e3
    name = f"1N{number}A"
    assert at(name, amps) == pytest.approx(value, rel=0.01)
    slope = (at(name, 1.1 * amps) - at(name, 0.9 * amps)) / (0.2 * amps)
    assert slope == pytest.approx(impedance, rel=0.1)


@pytest.mark.parametrize(("page", "name"), THYRISTORS)
def test_thyristor_row(page: str, name: str) -> None:
    row = PAGES[page]
    for field, unit in UNITS.items():
        if field in row:
            wanted = row["volts"][name] if field == "volts" else float(row[field])
            assert shipped(name, field, unit) == pytest.approx(wanted), (name, field)


def test_zener_currents_hang_together() -> None:
    """Volts times test current are a quarter of a watt, times top current 0.91 W: true of the
    printed table within 3 %, worked out from it."""
    for value, (test, _, top) in ZENERS.items():
        assert value * test / 1e3 == pytest.approx(0.25, rel=0.03), value
        assert value * top / 1e3 == pytest.approx(0.91, rel=0.03), value


@pytest.mark.parametrize("name", TRANSISTORS["rows"])
def test_transistor_row(name: str) -> None:
    polarity, collector, amps, power, least, most = TRANSISTORS["rows"][name]
    row = catalogue.load().get(name)
    assert row is not None and row.kind == polarity
    assert shipped(name, "volts", "V") == pytest.approx(collector)
    assert shipped(name, "amps", "A") == pytest.approx(amps)
    if power:
        assert shipped(name, "power", "W") == pytest.approx(power)
    if most:
        span = parse_range(str(row.fields["gain"]), "1")
        assert (span.low, span.high) == (least, most)


@pytest.mark.parametrize("name", TRANSISTORS["breakdown"])
def test_transistor_breakdown_row(name: str) -> None:
    base, emitter = TRANSISTORS["breakdown"][name]
    assert shipped(name, "collector_base", "V") == pytest.approx(base)
    assert shipped(name, "emitter_base", "V") == pytest.approx(emitter)


@pytest.mark.parametrize("name", TRANSISTORS["heat"])
def test_same_die_in_another_case_bears_less(name: str) -> None:
    """Rated watts at 25 degC case times the resistance to it reach the hottest junction: so the
    limit worked out where no sheet says it is the sheet's own."""
    case, hottest = TRANSISTORS["heat"][name]
    assert shipped(name, "theta_jc", "K/W") == pytest.approx(case)
    assert shipped(name, "junction_max", "degC") == pytest.approx(hottest)
    assert 25.0 + shipped(name, "power", "W") * case == pytest.approx(hottest, rel=0.01)
