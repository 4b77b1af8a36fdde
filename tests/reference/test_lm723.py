"""The LM723's table of resistors, each row built as a circuit and solved (lm723.yaml).

The chip is a 7.15 V reference, an error amplifier and a pass transistor. In the floating circuits
its minus pin is the regulated output itself, as published; pass transistor and amplifier are given
supplies as wide as the row needs, which the real chip leaves to parts outside it.
"""

from __future__ import annotations

import pytest

from halfsplit.assembly.lower import Machine
from halfsplit.bench.healthy import healthy_doubts
from tests.reference.oracle import entries, machine, solve, volts

ROWS = entries("lm723.yaml")
GOOD = [n for n, row in ROWS.items() if not row.get("misprint")]
# One supply at 1 mohm: what a bench supply's leads would take is not part of the comparison.
PARTS = {
    "low": """
  V1: {{kind: supply, volts: {raw}V, ohms: 1mohm, pos: raw, neg: com}}
  VREF: {{kind: supply, volts: 7.15V, ohms: 1mohm, pos: ref, neg: com}}
  R1: {{kind: resistor, value: {r1}, a: ref, b: tap}}
  R2: {{kind: resistor, value: {r2}, a: tap, b: com}}
  U1: {{kind: opamp, bias: 0A, plus: tap, minus: out, out: drive, vpos: raw, vneg: com}}
  Q1: {{kind: npn, c: raw, b: drive, e: out}}
""",
    "high": """
  V1: {{kind: supply, volts: {raw}V, ohms: 1mohm, pos: raw, neg: com}}
  VREF: {{kind: supply, volts: 7.15V, ohms: 1mohm, pos: ref, neg: com}}
  R1: {{kind: resistor, value: {r1}, a: out, b: tap}}
  R2: {{kind: resistor, value: {r2}, a: tap, b: com}}
  U1: {{kind: opamp, bias: 0A, plus: ref, minus: tap, out: drive, vpos: raw, vneg: com}}
  Q1: {{kind: npn, c: raw, b: drive, e: out}}
""",
    "floating": """
  V1: {{kind: supply, volts: {raw}V, ohms: 1mohm, pos: raw, neg: com}}
  V2: {{kind: supply, volts: 12V, ohms: 1mohm, pos: vp, neg: out}}
  VREF: {{kind: supply, volts: 7.15V, ohms: 1mohm, pos: ref, neg: out}}
  R1: {{kind: resistor, value: {r1}, a: ref, b: tap}}
  R2: {{kind: resistor, value: {r2}, a: tap, b: com}}
  R3: {{kind: resistor, value: 3k, a: ref, b: mid}}
  R4: {{kind: resistor, value: 3k, a: mid, b: out}}
  U1: {{kind: opamp, bias: 0A, swing_low: 0V,
        plus: tap, minus: mid, out: drive, vpos: vp, vneg: out}}
  Q1: {{kind: npn, c: raw, b: drive, e: out}}
""",
    "negative": """
  V1: {{kind: supply, volts: {raw}V, ohms: 1mohm, pos: com, neg: raw}}
  VREF: {{kind: supply, volts: 7.15V, ohms: 1mohm, pos: ref, neg: out}}
  R1: {{kind: resistor, value: {r1}, a: tap, b: out}}
  R2: {{kind: resistor, value: {r2}, a: com, b: tap}}
  R3: {{kind: resistor, value: 3k, a: ref, b: mid}}
  R4: {{kind: resistor, value: 3k, a: mid, b: out}}
  U1: {{kind: opamp, bias: 0A, plus: tap, minus: mid, out: drive, vpos: com, vneg: raw}}
  Q1: {{kind: pnp, c: raw, b: drive, e: out}}
""",
}


def circuit(name: str) -> Machine:
    """The row as a machine whose rail has the row's nominal output within 1.5 % as limits."""
    row = ROWS[name]
    limit = 0.015 * abs(row["value"])
    low, high = row["value"] - limit, row["value"] + limit
    parts = PARTS[row["circuit"]].format(raw=abs(row["value"]) + 15, r1=row["r1"], r2=row["r2"])
    load = f"  R9: {{kind: resistor, value: {abs(row['value']) * 1e3:g}, a: out, b: com}}"
    return machine(
        f"assembly: LM723 {row['circuit']}\nparts:{parts}{load}\n"
        f"rails:\n  OUT: {{net: out, limits: {low:.4f}V..{high:.4f}V}}\n"
    )


@pytest.mark.parametrize("name", ROWS)
def test_engine_agrees_with_the_published_formula(name: str) -> None:
    assert volts(solve(circuit(name)), "out") == pytest.approx(ROWS[name]["formula"], rel=2e-3)


@pytest.mark.parametrize("name", GOOD)
def test_row_is_accepted(name: str) -> None:
    assert healthy_doubts(circuit(name)) == []


def test_misprinted_row_is_noticed() -> None:
    """Typed in as printed, the row must not pass: we name the rail and what it would read."""
    (doubt,) = healthy_doubts(circuit("-45 as printed"))
    assert doubt.path == "rails.OUT"
    assert doubt.severity == "doubt"
    assert "-24.8" in doubt.wrong.replace("−", "-")
