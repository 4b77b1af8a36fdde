"""Deck forms of lamp, limited supply, op-amp, comparator, regulator: ngspice against our solver."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import predict
from tests.simulator import deck

PARTS = {
    "lamp behind a limited supply": """
  S1: {kind: supply, volts: 12V, ohms: 0.1R, limit: 500mA, pos: a, neg: com}
  R1: {kind: resistor, value: 4R7, a: a, b: b}
  LA1: {kind: lamp, volts: 12V, amps: 1A, a: b, b: com}
""",
    "op-amp with gain of three": """
  S1: {kind: supply, volts: 15V, pos: a, neg: com}
  S2: {kind: supply, volts: 15V, pos: com, neg: n}
  R1: {kind: resistor, value: 10k, a: a, b: in}
  R2: {kind: resistor, value: 1k, a: in, b: com}
  U1: {type: UA741, plus: in, minus: fb, out: b, vpos: a, vneg: n}
  R3: {kind: resistor, value: 2k, a: b, b: fb}
  R4: {kind: resistor, value: 1k, a: fb, b: com}
""",
    "op-amp in current limit": """
  S1: {kind: supply, volts: 15V, pos: a, neg: com}
  R1: {kind: resistor, value: 10k, a: a, b: in}
  R2: {kind: resistor, value: 10k, a: in, b: com}
  U1: {type: UA741, plus: in, minus: b, out: b, vpos: a, vneg: com}
  R3: {kind: resistor, value: 100R, a: b, b: com}
""",
    "comparator pulling down": """
  S1: {kind: supply, volts: 12V, pos: a, neg: com}
  R1: {kind: resistor, value: 10k, a: a, b: in}
  R2: {kind: resistor, value: 10k, a: in, b: com}
  U1: {type: LM339, plus: in, minus: a, out: b, vpos: a, vneg: com}
  R3: {kind: resistor, value: 1k5, a: a, b: b}
""",
    "regulator": """
  S1: {kind: supply, volts: 9V, ohms: 0.5R, pos: a, neg: com}
  U1: {type: "7805", in: a, com: com, out: b}
  R1: {kind: resistor, value: 12R, a: b, b: com}
""",
    "regulator out of headroom": """
  S1: {kind: supply, volts: 6V, ohms: 0.5R, pos: a, neg: com}
  U1: {type: "7805", in: a, com: com, out: b}
  R1: {kind: resistor, value: 12R, a: b, b: com}
""",
}


@pytest.mark.parametrize("name", PARTS)
def test_same_operating_point(name: str, tmp_path: Path) -> None:
    """Every net within 0.1 % + 1 mV: the two hold the same equations, written twice."""
    file = tmp_path / "part.yaml"
    file.write_text(f"assembly: {name}\nparts:{PARTS[name]}", encoding="utf-8")
    assembly, problems = load(file)
    assert assembly is not None, problems
    built = Machine(assembly)
    condition = Condition("supply")
    table = predict(built, condition, [{}], moves=[])
    assert table.status[0] != Status.UNSOLVED
    nets = assembly.nets()
    ours = {n: float(table.mean[0, table.column(n)]) for n in nets}
    # ngspice has no step limiting for sources of this kind: it starts near, and must stay.
    guess = {n: 0.97 * v for n, v in ours.items()}
    found = deck.operating_point(deck.write(built.topology, built.values(condition)), nets, guess)
    assert found is not None
    for net, value in found.items():
        assert ours[net] == pytest.approx(value, rel=1e-3, abs=1e-3), net
