"""Two machines written after the solver, which was not changed for them, against live ngspice.

others/bench_supply.yaml: germanium pass transistor, foldback, an op-amp that tracks.
others/logic_supply.yaml: long-tailed pairs, crowbar, a comparator that pulls a relay.
"""

from __future__ import annotations

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults
from tests.simulator import others_tools as others

BALANCE = 1e-6  # A


@pytest.mark.parametrize("load", others.LOADS)
@pytest.mark.parametrize("name", others.NAMES)
def test_healthy_rails_hold(name: str, load: str) -> None:
    """Or every fault would be measured against a circuit that does not work."""
    made, found = others.machine(name), others.solved(name, load, [{}])
    for rail in made.assembly.rails.values():
        value = found.mean[0, made.topology.net_index[rail.net]]
        assert rail.limits is not None
        low, high = sorted((rail.limits.low, rail.limits.high))
        assert low <= value <= high, rail.net


@pytest.mark.parametrize("load", others.LOADS)
@pytest.mark.parametrize("name", others.NAMES)
def test_single_faults_are_solved(name: str, load: str) -> None:
    """99 of 100; what is not solved says so, and what is balances, whatever the solver thought."""
    faults = single_faults(others.machine(name).assembly)[2:]
    found = others.solved(name, load, [h.changes for h in faults])
    good = found.status != Status.UNSOLVED
    assert good.mean() >= 0.99, [h.name for h, ok in zip(faults, good, strict=True) if not ok]
    assert np.isnan(found.mean[~good]).all()
    assert found.residual[good].max() < BALANCE


# Half a minute and more of ngspice each, where the load of the slower circuit makes it think.
LONG = {("logic_supply", "half")}
SLICES = [
    pytest.param(n, load, marks=pytest.mark.long if (n, load) in LONG else ())
    for n in others.NAMES
    for load in others.LOADS
]


@pytest.mark.parametrize(("name", "load"), SLICES)
def test_seeded_slice_of_all_single_faults(name: str, load: str) -> None:
    """The whole list is proofs/all_single_faults.py; here 12 for each load."""
    count = len(single_faults(others.machine(name).assembly)) - 2
    seed = 51 + others.LOADS.index(load)
    take = sorted(np.random.default_rng(seed).choice(count, 12, replace=False).tolist())
    found = others.compare(name, load, take)
    assert not found.wrong, "\n".join(found.wrong)
    assert len(found.lost) <= 1, found.lost


def test_germanium_with_its_base_lead_open_leaks() -> None:
    """Its leakage times its gain, half a milliampere here, moves nets that ngspice moves too."""
    names = [h.name for h in single_faults(others.machine("bench_supply").assembly)[2:]]
    found = others.compare("bench_supply", "none", [names.index("Q2 open base")])
    assert found.rows == 1 and not found.unsolved and not found.lost
    assert not found.wrong, "\n".join(found.wrong)


@pytest.mark.parametrize("load", others.LOADS)
def test_a_relay_that_cuts_its_own_supply_is_not_claimed(load: str) -> None:
    """R21 short: the contact shorts +12 V, the coil lets go, +12 V is back. It buzzes."""
    faults = {h.name: h.changes for h in single_faults(others.machine("logic_supply").assembly)}
    found = others.solved("logic_supply", load, [faults["R21 short"]])
    assert found.status[0] == Status.UNSOLVED
    condition = Condition("raws", load)
    answer = others.by_ngspice("logic_supply", "R21 short", faults["R21 short"], condition, ["p12"])
    assert answer is None  # nor does ngspice come to rest
