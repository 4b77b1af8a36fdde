"""Circuits the solver was not tuned on, against ngspice."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import predict
from halfsplit.faults.hypotheses import single_faults
from tests.simulator import deck

# A floating secondary into a bridge, a shunt zener, and a Darlington follower: no net but the
# output side is tied to common.
FOLLOWER = """
assembly: Follower
mains: {volts: 115V, hertz: 60Hz}
parts:
  J1: {kind: mains, volts: 115V, hertz: 60Hz, live: l, neutral: n}
  T1:
    kind: transformer
    windings:
      primary: {start: l, end: n, volts: 115V, ohms: 20ohm}
      sec: {start: sa, end: sb, volts: 18V, ohms: 0.8ohm}
  BR1: {kind: bridge, ac1: sa, ac2: sb, pos: raw, neg: com}
  C1: {kind: electrolytic, value: 1000u, volts: 35V, pos: raw, neg: com}
  R1: {kind: resistor, value: 1k, a: raw, b: vz}
  D1: {kind: zener, type: 1N4743A, a: com, k: vz}
  Q1: {kind: npn, type: 2N2222A, c: raw, b: vz, e: b2}
  Q2: {kind: npn, type: 2N3055, c: raw, b: b2, e: out}
  C2: {kind: electrolytic, value: 47u, volts: 25V, pos: out, neg: com}
  R2: {kind: resistor, value: 470R, power: 0.5W, a: out, b: com}
rails:
  OUT: {net: out, limits: 11..13V}
loads:
  load: {out: 24R}
"""


def machine(folder: Path) -> Machine:
    file = folder / "follower.yaml"
    file.write_text(FOLLOWER, encoding="utf-8")
    assembly, problems = load(file)
    assert assembly is not None, problems
    return Machine(assembly)


@pytest.mark.parametrize("name", ["none", "load"])
@pytest.mark.parametrize("fault", ["", "BR1 ac1-pos open", "C1 value low", "Q2 c-e short"])
def test_follower_on_60_hertz(fault: str, name: str, tmp_path: Path) -> None:
    """Mean within 2 % + 30 mV, ripple within 10 % + 10 mV, healthy and with three faults."""
    built = machine(tmp_path)
    condition = Condition("mains", name)
    changes = {h.name: h.changes for h in single_faults(built.assembly) if h.name == fault}.get(
        fault, {}
    )
    table = predict(built, condition, [changes], moves=[])
    assert table.status[0] != Status.UNSOLVED
    nets = ["raw", "vz", "b2", "out"]
    written = deck.write(built.topology, {**changes, **built.values(condition)}, transient=True)
    reference = deck.mains_cycle(written, nets, 60.0, settle=0.6)
    assert reference is not None
    for net, (mean, peak) in reference.items():
        column = table.column(net)
        assert float(table.mean[0, column]) == pytest.approx(mean, abs=0.02 * abs(mean) + 0.03), net
        assert float(table.ripple[0, column]) == pytest.approx(peak, rel=0.10, abs=0.01), net
