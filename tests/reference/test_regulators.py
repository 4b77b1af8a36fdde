"""Regulator circuits solved by us against published rules and figures (regulators.yaml)."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import LoadValue
from tests.reference.oracle import entries, machine, solve, volts

ROWS = entries("regulators.yaml")


def near(name: str) -> object:
    """The entry's value with its own tolerance."""
    row = ROWS[name]
    return pytest.approx(row["value"], rel=float(row["tolerance"].rstrip("%")) / 100)


def test_lifted_common_pin() -> None:
    """Standing current through R2 is 1.8 V of the answer: leaving it out would give 8.5 V."""
    circuit = machine("""
assembly: lifted 7805
parts:
  V1: {kind: supply, volts: 20V, pos: raw, neg: com}
  U1: {type: 7805, quiescent: 5.5mA, in: raw, com: tap, out: out}
  R1: {kind: resistor, value: 470R, a: out, b: tap}
  R2: {kind: resistor, value: 330R, a: tap, b: com}
  R3: {kind: resistor, value: 1k, a: out, b: com}
""")
    assert volts(solve(circuit), "out") == near("lifted 7805")


@pytest.mark.parametrize("name", [n for n in ROWS if n.startswith("LM317")])
def test_lm317(name: str) -> None:
    circuit = machine(f"""
assembly: adjustable
parts:
  V1: {{kind: supply, volts: 35V, pos: raw, neg: com}}
  U1: {{type: LM317, adjust_current: 50u, in: raw, com: adj, out: out}}
  R1: {{kind: resistor, value: 240R, a: out, b: adj}}
  R2: {{kind: resistor, value: {ROWS[name]["r2"]}, a: adj, b: com}}
  R3: {{kind: resistor, value: 10k, a: out, b: com}}
""")
    assert volts(solve(circuit), "out") == near(name)


@cache
def boost(ohms: str, base_emitter: str, at: str) -> Machine:
    """Regulator with an outboard PNP; 1 mohm links R91 and R92 carry the two shares."""
    return machine(f"""
assembly: boosted regulator
parts:
  V1: {{kind: supply, volts: 15V, ohms: 1mohm, pos: raw, neg: com}}
  R1: {{kind: resistor, value: {ohms}, a: raw, b: vin}}
  Q1: {{kind: pnp, gain_typical: 20, base_emitter: {base_emitter}, base_emitter_at: {at},
        amps: 15A, c: pass, b: vin, e: raw}}
  R91: {{kind: resistor, value: 1mohm, a: pass, b: out}}
  U1: {{type: 7805, quiescent: 0A, output: 1mohm, in: vin, com: com, out: reg}}
  R92: {{kind: resistor, value: 1mohm, a: reg, b: out}}
rails:
  OUT: {{net: out, limits: 4.75..5.25V}}
""")


def currents(circuit: Machine, load: float) -> tuple[float, float]:
    """Through the transistor and through the regulator [A]."""
    table = solve(circuit, out=LoadValue(amps=load))
    return volts(table, "pass", "out") / 1e-3, volts(table, "reg", "out") / 1e-3


def test_boost_take_over() -> None:
    """What the regulator carries when the transistor has come to carry a tenth of the load.

    Well below, the transistor does next to nothing; above, its share only grows.
    """
    circuit = boost("2.7R", "0.6V", "20mA")
    found = np.array([currents(circuit, float(i)) for i in np.linspace(0.12, 0.4, 29)])
    share = found[:, 0] / found.sum(axis=1)
    assert share[0] < 0.01
    assert all(a < b for a, b in pairwise(share))
    assert float(np.interp(0.10, share, found[:, 1])) == near("boost take-over")


def test_boost_share_at_five_amperes() -> None:
    through, regulator = currents(boost("2.7R", "0.7V", "5A"), 5.0)
    assert through + regulator == pytest.approx(5.0, rel=1e-3)
    assert regulator / 5.0 == near("boost share at 5 A")


def test_boost_design_rule() -> None:
    assert currents(boost("2.545R", "0.7V", "4.5A"), 5.0)[1] == near("boost design")


@cache
def foldback(r3: str) -> Machine:
    """5 V series regulator in the manner of the 723: error amplifier, pass, sense transistor.

    The amplifier can push 5 mA, all of which the sense transistor sinks at 0.65 V; gains are high
    so that base currents stay out of the comparison.
    """
    return machine(f"""
assembly: foldback limiter
parts:
  V1: {{kind: supply, volts: 15V, ohms: 1mohm, pos: raw, neg: com}}
  V2: {{kind: supply, volts: 5V, pos: ref, neg: com}}
  U1: {{kind: opamp, output_amps: 5mA, bias: 0A,
        plus: ref, minus: out, out: drive, vpos: raw, vneg: com}}
  Q1: {{kind: npn, gain_typical: 5000, base_emitter: 0.7V, base_emitter_at: 1A,
        c: raw, b: drive, e: top}}
  RSC: {{kind: resistor, value: 1R, a: top, b: out}}
  R3: {{kind: resistor, value: {r3}, a: top, b: sense}}
  R4: {{kind: resistor, value: 9k, a: sense, b: com}}
  Q2: {{kind: npn, gain_typical: 5000, base_emitter: 0.65V, base_emitter_at: 4.8mA,
        c: drive, b: sense, e: out}}
rails:
  OUT: {{net: out, limits: 4.75..5.25V}}
""")


def limits(r3: str) -> tuple[float, float]:
    """Largest current while lowering the load resistance, and current into a short [A]."""
    circuit = foldback(r3)
    found = []
    for ohms in (*np.geomspace(12.0, 2.0, 60), 1e-3):
        found.append(volts(solve(circuit, out=LoadValue(ohms=float(ohms))), "out") / ohms)
    return float(max(found[:-1])), float(found[-1])


def test_foldback() -> None:
    """Q2 also passes its 5 mA on into the load; the tolerance of 3 % covers that."""
    knee, short = limits("1k")
    assert knee == near("foldback knee")
    assert short == near("foldback short")


def test_no_divider_no_foldback() -> None:
    knee, short = limits("0.1R")
    assert knee == near("no foldback")
    assert short == near("no foldback")
