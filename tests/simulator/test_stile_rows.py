"""Faults of the switching demo: where we leave them, live ngspice finds them at rest."""

from __future__ import annotations

import math

import numpy as np
import pytest

from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults
from tests.simulator import stile, stile_rows

SLICE = 2  # faults a load; all of them: proofs/followed_faults.py --ngspice


def _slice(seed: int) -> list[str]:
    names = [h.name for h in single_faults(stile.machine().assembly)[2:]]
    picked = np.random.default_rng(seed).choice(len(names), SLICE, replace=False)
    return [names[i] for i in picked]


LONG = pytest.mark.long


@pytest.mark.parametrize(("load", "seed"), [("half", 11), pytest.param("full", 12, marks=LONG)])
def test_seeded_faults_stay_where_we_leave_them(load: str, seed: int) -> None:
    found = stile_rows.compare(load, _slice(seed))
    assert found.rows == SLICE and not found.unsettled and not found.lost
    assert not found.wrong, "\n".join(found.wrong)
    assert len(found.left_out) < SLICE
    assert found.unbalanced < 1e-6


# R12 and L1 short are as fast, and take long: proofs/followed_faults.py --ngspice has them.
@pytest.mark.parametrize(
    ("load", "fault"),
    [
        ("half", "CR5 open"),
        pytest.param("half", "C5 open", marks=LONG),
        ("half", "R6 short"),
        ("light", "no fault"),
    ],
)
def test_rows_that_hang_on_the_switchs_charge(load: str, fault: str) -> None:
    """And on the Early effect in it: the fastest, and the single pulses of the least load."""
    found = stile_rows.compare(load, [fault])
    assert not found.wrong, "\n".join(found.wrong)
    assert found.rows == 1 and not (found.lost or found.left_out or found.unsettled)


@LONG
def test_the_slowest_store_is_where_ngspice_has_it() -> None:
    """C9 leaks 0.22 s and is filled a little each beat: ngspice finds it at rest where we do.

    Begun 0.25 V below it rises, above it falls, by a volt a second and more.
    """
    good = stile.specimen("", "half")
    solved, _ = follow(good.topology, good.topology.rows([good.changes]))
    at = float(solved.mean[0, good.topology.net_index["c9"]])
    drift = []
    for volts in (at - 0.25, at, at + 0.25):
        waves = stile.run(stile.specimen("", "half", start={"c9": volts, "oc": volts}), 3e-3, 2e-7)
        assert waves is not None
        first, second = waves.since(1e-3, 2e-3), waves.since(2e-3, 3e-3)
        rise = second.mean(second.volts["c9"]) - first.mean(first.volts["c9"])
        drift.append(rise / 1e-3)
    below, here, above = drift
    assert below > 0.7 and above < -0.7
    assert abs(here) < 0.25


@pytest.mark.parametrize(
    "fault", [pytest.param("CR3 open", marks=LONG), "R1 drifted high", "C5 short"]
)
def test_attempts_of_several_silences_are_told_as_restarts(fault: str) -> None:
    """Soft start to the crowbar or the over-current, then a wait: one attempt may fall silent more
    than once.

    By hand: the wait is C9 draining through R17 towards nought, through the comparator's 10 Mohm
    between its inputs towards the other of them, and by its 25 nA, from the top down to where U1B
    lets go. The soft start comes on top: R9 C10 and the set resistor, three time constants of
    21 ms at most.
    """
    _, solved, rhythm = stile_rows.followed("half", [fault])
    assert int(solved.status[0]) == Status.RESTARTING
    at = stile.machine().topology.net_index["c9"]
    top, low = float(solved.high[0, at]), float(solved.low[0, at])
    drain = 1.0 / (1.0 / 2.2e6 + 1.0 / 10e6)
    end = drain * (low / 10e6 - 25e-9)
    wait = drain * 100e-9 * math.log((top - end) / (low - end))
    assert wait * 0.98 < float(rhythm.period[0]) < wait + 3 * 0.021


@pytest.mark.parametrize("fault", ["CR5 open", "C5 open"])
def test_what_is_shown_is_not_the_steps_doing(fault: str) -> None:
    """The fastest rows: a tenth of the error moves frequency under 5 %, ripple 5 % + 1 mV."""
    top = stile.machine().topology
    row = top.rows([stile.specimen(fault, "half").changes])
    out = top.net_index["out"]
    (usual, beat), (finer, fine_beat) = (follow(top, row, error=e) for e in (1.0, 0.1))
    assert beat.period[0] == pytest.approx(fine_beat.period[0], rel=0.05)
    swing = [float(s.high[0, out] - s.low[0, out]) for s in (usual, finer)]
    assert swing[0] == pytest.approx(swing[1], rel=0.05, abs=1e-3)
