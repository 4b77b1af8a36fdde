"""Valves and gas tubes against published laws and figures (valves.yaml)."""

from __future__ import annotations

import pytest

from halfsplit.parts import catalogue
from halfsplit.quantity import parse
from tests.reference.oracle import entries, machine, solve, volts

ROWS = entries("valves.yaml")
TRIODES = [n for n in ROWS if n.startswith("12AX7")]
TUBES = [n for n, row in ROWS.items() if "least" in row]


def rel(row: dict[str, str]) -> float:
    """An entry's tolerance as a fraction."""
    return float(row["tolerance"].rstrip("%")) / 100


def anode_current(anode: float, grid: float) -> float:
    """Of a catalogue 12AX7 [mA], read across 1 ohm in its cathode lead: next to no feedback."""
    table = solve(
        machine(f"""
assembly: one triode
parts:
  V1: {{kind: supply, volts: {anode}V, ohms: 1mohm, pos: ht, neg: com}}
  V2: {{kind: supply, volts: {grid}V, ohms: 1mohm, pos: g, neg: com}}
  V3: {{type: 12AX7, a: ht, g: g, k: k}}
  R1: {{kind: resistor, value: 1mohm, a: k, b: com}}
""")
    )
    return 1e6 * volts(table, "k")


@pytest.mark.parametrize("name", TRIODES)
def test_the_published_triode_law(name: str) -> None:
    """Checks the implementation only: the law itself misses the sheet, as its entry says."""
    row = ROWS[name]
    anode, grid = parse(row["anode"], "V"), parse(row["grid"], "V")
    current = anode_current(anode, grid)
    assert current == pytest.approx(row["milliamperes"], rel=rel(row))
    missed = current / row["sheet"] - 1.0
    assert missed == pytest.approx(float(row["misses"].rstrip("%")) / 100, abs=0.01)
    if "gm" in row:
        gm = (anode_current(anode, grid + 0.01) - anode_current(anode, grid - 0.01)) / 0.02
        slope = (anode_current(anode + 0.5, grid) - anode_current(anode - 0.5, grid)) / 1.0
        assert gm == pytest.approx(row["gm"], rel=0.003)
        assert 1.0 / slope == pytest.approx(row["rp"], rel=0.003)


def test_strapped_pentode_amplifies_about_eleven_times() -> None:
    """mu of the demo's pass valve: anode volts that make up for one grid volt. Notes: about 11."""

    def current(anode: float, grid: float) -> float:
        table = solve(
            machine(f"""
assembly: strapped
parts:
  V1: {{kind: supply, volts: {anode}V, ohms: 1mohm, pos: ht, neg: com}}
  V2: {{kind: supply, volts: {grid}V, ohms: 1mohm, pos: g, neg: com}}
  V3: {{type: EL34, strapped: true, a: ht, g: g, k: k}}
  R1: {{kind: resistor, value: 1mohm, a: k, b: com}}
""")
        )
        return volts(table, "k")

    by_grid = current(150.0, -4.9) - current(150.0, -5.1)
    by_anode = current(150.1, -5.0) - current(149.9, -5.0)
    assert by_grid / by_anode == pytest.approx(11.0, rel=0.05)


def test_three_halves_law() -> None:
    row = ROWS["5AR4 drop"]
    ohms = 100.0 / (row["milliamperes"] * 1e-3)
    table = solve(
        machine(f"""
assembly: one anode
parts:
  V1: {{kind: supply, volts: {100 + row["volts"]}V, ohms: 1mohm, pos: ht, neg: com}}
  V2: {{type: 5AR4, a1: ht, k: out}}
  R1: {{kind: resistor, value: {ohms}ohm, a: out, b: com}}
""")
    )
    assert volts(table, "ht", "out") == pytest.approx(row["volts"], rel=rel(row))


@pytest.mark.parametrize("name", TUBES)
def test_gas_tube_rows(name: str) -> None:
    row, made = ROWS[name], catalogue.load().get(name)
    assert made is not None
    assert parse(str(made.fields["value"]), "V") == row["volts"]
    for field, key in (("min_current", "least"), ("max_current", "most")):
        assert parse(str(made.fields[field]), "A") == parse(row[key], "A")


@pytest.mark.parametrize("name", TUBES)
def test_a_gas_tube_needs_more_to_strike_than_to_burn(name: str) -> None:
    """Fed 15 to 20 % above nominal it strikes (public encyclopedia copy); at 1 % above it does not.

    Three of these strike on 20 %; the 75 V and 90 V tubes need more, as their sheets allow.
    """
    row, made = ROWS[name], catalogue.load().get(name)
    assert made is not None
    strike = parse(str(made.fields["strike_typical"]), "V")

    def reading(supply: float) -> float:
        table = solve(
            machine(f"""
assembly: one tube
parts:
  V1: {{kind: supply, volts: {supply}V, ohms: 1ohm, pos: raw, neg: com}}
  R1: {{kind: resistor, value: 1k, a: raw, b: out}}
  V2: {{type: {name}, a: out, k: com}}
""")
        )
        return volts(table, "out")

    assert reading(1.01 * row["volts"]) == pytest.approx(1.01 * row["volts"], rel=1e-3)  # dark
    assert reading(strike - 0.5) == pytest.approx(strike - 0.5, rel=1e-3)  # still dark
    assert reading(strike + 0.5) == pytest.approx(row["volts"], rel=0.04)  # lit
    assert strike > 1.05 * row["volts"]
