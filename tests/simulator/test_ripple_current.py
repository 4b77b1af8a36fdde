"""Ripple current of capacitors against ngspice, and what a dried or starved one makes of it."""

from __future__ import annotations

import numpy as np
import pytest

from halfsplit.assembly.condition import Change, Condition
from halfsplit.circuit.follow import follow
from halfsplit.faults.stress import stresses
from tests.simulator import deck, stile, tray
from tests.simulator.waves import Waves, transient


def rms(run: Waves, name: str) -> float:
    flow = run.amps[name]
    return float(np.sqrt(run.mean((flow - run.mean(flow)) ** 2)))


@pytest.mark.parametrize("fault", ["", "CR1 open"])
def test_reservoirs_of_the_tray(fault: str) -> None:
    """Three reservoirs at full load on the mains, whole wave and half: within 5 % of ngspice."""
    machine = tray.tray()
    condition = Condition("mains", "full", tray.NO_CROWBAR)
    laid = tray.modes(machine, fault) if fault else {}
    found = stresses(machine, condition, [laid])
    names = ["C1", "C2", "C3"]
    written = deck.write(
        machine.topology,
        {**laid, **machine.values(condition)},
        closed=frozenset({"K1:contact"}),
        transient=True,
    )
    run = transient(written, ["v5r"], stop=0.6, step=5e-5, keep=0.56, amps=names)
    assert run is not None
    for name in names:
        mine = float(found.ripple[0, found.parts.index(name)])
        assert mine == pytest.approx(rms(run, name), rel=0.05), name
    # More than its direct current, as behind any capacitor-input rectifier.
    assert found.ripple[0, found.parts.index("C1")] > 5.0


def test_output_capacitor_of_the_switcher() -> None:
    """C5 at full load: the triangle of the choke's current, and ngspice's own rms within 5 %."""
    machine = stile.machine()
    found = stresses(machine, Condition("raw", "full"), [{}])
    mine = float(found.ripple[0, found.parts.index("C5")])
    one = stile.specimen("", "full")
    run = transient(one.deck, ["out", "sw"], 2e-3, 2e-7, keep=1e-3, amps=["C5", "L1"])
    assert run is not None
    choke = run.amps["L1"]
    assert mine == pytest.approx((choke.max() - choke.min()) / 12**0.5, rel=0.08)
    assert mine == pytest.approx(rms(run, "C5"), rel=0.05)


def test_no_sample_of_a_beat_is_left_out() -> None:
    """With Q4 out the first sample falls on the end of a step to the last digit; every sample kept
    lies between the lowest and the highest instant seen."""
    machine = stile.machine()
    at = Condition("raw", "full", (Change("Q4", "removed"),))
    solved, _ = follow(machine.topology, machine.topology.rows([machine.values(at)]))
    wave = solved.wave[0].astype(float)
    assert (wave >= solved.low[0][:, None] - 1e-3).all()
    assert (wave <= solved.high[0][:, None] + 1e-3).all()
