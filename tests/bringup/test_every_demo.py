"""What the energy verbs ask of every part, asked of every part kind the demo machines have."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.inrush import inrushes
from halfsplit.bringup.leans import LeansMap
from halfsplit.bringup.plan import _joined, _rails, _warming
from halfsplit.bringup.trial import rated_conditions

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
DEMOS = ("hd40/pt3.yaml", "stile17/ob8.yaml", "type88/supply.yaml", "tl6/su6.yaml")


@pytest.mark.parametrize("demo", DEMOS)
def test_only_capacitors_have_two_plates(demo: str) -> None:
    """A selenium stack counts its plates; it once ended `power` and `plan` of the valve demo."""
    assembly, problems = load(EXAMPLES / demo)
    assert assembly is not None, problems
    machine = Machine(assembly)
    feed = next(n for n, f in assembly.feeds.items() if f.mains)
    stress: Any = SimpleNamespace(volts=np.full((1, len(assembly.parts)), 10.0))
    for one in inrushes(machine, Condition(feed, "none"), stress):
        farads = assembly.parts[one.part].__dict__["value"]
        assert one.joules == pytest.approx(0.5 * farads * 100.0)  # C V^2 / 2 at 10 V
    for net in machine.rectified():
        words = _joined(machine, net, -12.0)
        assert f"its minus to {net} (a lead of " in words
    for part in assembly.parts.values():
        assert rated_conditions(machine, part)


def test_four_hundred_volts_from_the_bench_are_told_at_their_step() -> None:
    """405 V on RAW can kill as the mains can; and valves are read when they are warm."""
    assembly, problems = load(EXAMPLES / "type88/supply.yaml")
    assert assembly is not None, problems
    machine = Machine(assembly)
    unsolved: list[str] = []
    map_ = LeansMap({"P250": "p250"}, {"P250": "rail"}, (), (), ())
    steps = _rails(machine, map_, Condition("off", "none"), unsolved)
    assert steps and not unsolved
    for step in steps:
        assert any("405.0 V direct, enough to kill" in c for c in step.before)
        assert "once the valves are warm" in step.do
    tray, _ = load(EXAMPLES / "hd40/pt3.yaml")
    assert tray is not None and _warming(Machine(tray)) == ""
