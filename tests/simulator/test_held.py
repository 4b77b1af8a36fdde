"""Rows held at their cycle means instead of solved over a mains cycle anew."""

from __future__ import annotations

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.heat import element_watts
from halfsplit.circuit.op import operating_point
from halfsplit.faults.dictionary import RAW_OHMS, held_rows
from halfsplit.faults.warm import warm
from tests.simulator import deck, tray

FAULTS = ("", "C1 value low", "Q1 c-e short", "R13 open")


AT = Condition("mains", "full")


@pytest.fixture(scope="module")
def built() -> Machine:
    assembly, problems = load(tray.EXAMPLE)
    assert assembly is not None, problems
    return Machine(assembly)


def _rows(built: Machine, at: Condition = AT) -> np.ndarray:
    state = built.values(at)
    return built.topology.rows([{**tray.modes(built, f), **state} for f in FAULTS])


def test_a_held_row_reads_its_cycle_mean_and_sags_when_more_is_drawn(built: Machine) -> None:
    """Raw rails within 1 mV; rails within 50, whose mean over a cycle is not quite what the mean of
    their raw rail gives. A load that draws more pulls down by ohms times amps."""
    top, rows = built.topology, _rows(built)
    mean = mains_cycle(top, rows, 50.0).mean
    found = operating_point(top, held_rows(built, rows, mean), np.nan_to_num(mean)).mean
    off = np.abs(found - mean)
    assert off[:, [top.net_index[n] for n in ("v5r", "vrp", "vrn")]].max() < 1e-3
    assert off[:, [top.net_index[n] for n in ("p5", "p12")]].max() < 0.05
    more = held_rows(built, rows, mean)
    raw, slot = top.net_index["v5r"], top.slot["load:p5", "g"]
    more[0, slot] *= 1.1
    lower = operating_point(top, more, found).mean
    p5 = top.net_index["p5"]
    drawn = more[0, slot] * lower[0, p5] - rows[0, slot] * found[0, p5]
    assert drawn > 0.2
    assert found[0, raw] - lower[0, raw] == pytest.approx(RAW_OHMS * drawn, rel=0.2)


def test_watts_on_the_mains_against_ngspice(built: Machine) -> None:
    """Q10 passes what the 1 ohm load takes, from V5F to its emitter: volts by ngspice's own cycle.
    Within 5 %, its base current and the ripple of the current left aside."""
    at = Condition("mains", "full", tray.NO_CROWBAR)
    written = deck.write(
        built.topology,
        built.values(at),
        closed=frozenset({"K1:contact"}),
        transient=True,
    )
    reference = deck.mains_cycle(written, ["v5f", "f1", "p5"], 50.0, settle=0.6)
    assert reference is not None, "ngspice gave no cycle"
    volts = {net: mean for net, (mean, _) in reference.items()}
    heat = warm(built, at, [{}])
    ours = float(heat.watts[0, heat.parts.index("Q10")])
    assert ours == pytest.approx((volts["v5f"] - volts["f1"]) * volts["p5"] / 1.0, rel=0.05)


def test_watts_on_the_mains_are_those_of_the_mean_that_is_read(built: Machine) -> None:
    """The pass transistor's by the waveform itself, sample by sample; and a machine that hardly
    warms reads once warm as it did cold: held 1.5 V too low, both were wrong."""
    top, rows = built.topology, _rows(built)[:1]
    solved = mains_cycle(top, rows, 50.0)
    heat = warm(built, AT, [{}])
    for net in ("v5r", "vrp", "p5"):
        cold = solved.mean[0, top.net_index[net]]
        assert heat.mean[0, heat.column(net)] == pytest.approx(cold, abs=0.15), net
    samples = solved.wave[0].T.astype(float)  # (K, N)
    held = held_rows(built, np.repeat(rows, len(samples), axis=0), samples, sags=False)
    found = operating_point(top, held, samples)
    watts = element_watts(top, held, found.mean, found.latched)
    ours = float(heat.watts[0, heat.parts.index("Q10")])
    assert ours == pytest.approx(watts[:, top.element_index["Q10"]].mean(), rel=0.05)
