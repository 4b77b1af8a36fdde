"""The switching demo at half load: its limit cycle by `follow`, and an ngspice transient beside it.

    python benchmarks/switching.py [--json]

Ours starts from switch-on, discharged, and ends when the rhythm is even. ngspice is run two ways:

`warm`: given the settled volts and the choke's current as its start, 2 ms, of which the second is
measured. That hands it most of the answer.

`same_start`: both discharged, both from switch-on, for 20 ms, of which ngspice is timed at the step
chosen below; nothing is handed to either and nothing extrapolated. How far apart the output is at
the end is shown beside it.

`switch_on`: what the same start as ours would cost it: its processor time a simulated second times
the simulated seconds until ours had settled. Extrapolated, not run: it would take many minutes.

Equal accuracy: frequency and ripple of both are held against ngspice at a step of 20 ns; ngspice
is then timed at the largest step tried whose errors in both are no larger than ours. The means are
shown but do not choose the step: the state ngspice is started in is not quite settled, and two
milliseconds do not let it drift home. Processor times, ours of all threads together.
"""

from __future__ import annotations

import json
import random
import resource
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import stile

from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults

REFERENCE = 2e-8  # s
STEPS = (2e-6, 1e-6, 5e-7, 2e-7, 1e-7, 5e-8)  # s, tried from the largest
FIRST = 20e-3  # s from switch-on that both simulate
SPAN, KEPT = 2e-3, 1e-3  # s simulated by ngspice, and of these measured
MARKS = (1e-3, 1e-2, 5e-2, 0.1, 0.2)  # s at which our steps so far are counted
BATCH = 10
SEED = 20261125
WANTED = 10.0  # times ngspice's speed


def children() -> float:
    """Processor seconds of processes started and ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def theirs(one: stile.Specimen, step: float) -> tuple[dict[str, float | None] | None, float]:
    """Figures of a warm run by ngspice (None when it gave up) and its processor seconds."""
    begin = children()
    waves = stile.run(one, SPAN, step)
    took = children() - begin
    return (stile.figures(waves.since(SPAN - KEPT)) if waves else None), took


def figures(found: dict[str, float | None]) -> dict[str, float]:
    """Frequency [Hz], mean and ripple [V] of the output."""
    return {key: float(found[key] or 0.0) for key in ("hertz", "out", "ripple")}


def errors(found: dict[str, float], reference: dict[str, float]) -> dict[str, float]:
    """Relative, of each figure."""
    return {k: round(abs(found[k] / reference[k] - 1.0), 5) for k in reference}


def healthy() -> dict[str, Any]:
    """One healthy row, ours and ngspice's at equal accuracy, and where our steps go."""
    one = stile.specimen("", "half")
    top = one.topology
    row, out = top.rows([one.changes]), top.net_index["out"]
    follow(top, row, stop=1e-3)  # compiles
    begin = time.process_time()
    solved, rhythm = follow(top, row)
    took = time.process_time() - begin
    mine = {
        "hertz": 1.0 / float(rhythm.period[0]),
        "out": float(solved.mean[0, out]),
        "ripple": float(solved.high[0, out] - solved.low[0, out]),
    }
    spent = {}
    for mark in MARKS:
        begin = time.process_time()
        _, part = follow(top, row, stop=mark)
        spent[f"{mark:g} s"] = {
            "steps": int(part.steps[0]),
            "share_of_time": round((time.process_time() - begin) / took, 3),
        }
    finest, _ = theirs(one, REFERENCE)
    assert finest is not None
    reference = figures(finest)
    ours = errors(mine, reference)
    tried = {}
    chosen, seconds = REFERENCE, float("nan")
    for step in STEPS:
        found, seconds = theirs(one, step)
        if found is None:
            continue
        off = errors(figures(found), reference)
        tried[f"{step:g} s"] = off | {"seconds": round(seconds, 2)}
        if off["hertz"] <= ours["hertz"] and off["ripple"] <= ours["ripple"]:
            chosen = step
            break
    simulated = float(rhythm.elapsed[0])
    return {
        "status": Status(int(solved.status[0])).name,
        "ours": mine,
        "reference": reference,
        "error_ours": ours,
        "error_ngspice_at_step": tried,
        "ngspice_step": chosen,
        "seconds_ours": round(took, 2),
        "steps_ours": int(rhythm.steps[0]),
        "microseconds_a_step_ours": round(1e6 * took / int(rhythm.steps[0]), 2),
        "simulated_seconds_ours": round(simulated, 4),
        "ours_up_to": spent,
        "seconds_ngspice_warm": round(seconds, 2),
        "seconds_ngspice_switch_on_extrapolated": round(seconds / SPAN * simulated, 1),
        "ratio_warm": round(seconds / took, 2),
        "ratio_switch_on_extrapolated": round(seconds / SPAN * simulated / took, 1),
        "ratio_wanted_at_least": WANTED,
    }


def same_start(step: float) -> dict[str, Any]:
    """The first 20 ms from switch-on, by both."""
    one = stile.specimen("", "half", warm=False)
    top = one.topology
    out = top.net_index["out"]
    begin = time.process_time()
    solved, rhythm = follow(top, top.rows([one.changes]), stop=FIRST)
    mine = time.process_time() - begin
    begin = children()
    waves = stile.run(one, FIRST, step)
    took = children() - begin
    # Over the last beats, as ours is: it rises by a fifth of a volt in a millisecond.
    late = waves.since(FIRST - 2e-4) if waves else None
    return {
        "seconds_simulated_ours": round(float(rhythm.elapsed[0]), 5),
        "steps_ours": int(rhythm.steps[0]),
        "seconds_ours": round(mine, 3),
        "seconds_ngspice": round(took, 2),
        "volts_ours": round(float(solved.mean[0, out]), 3),
        "volts_ngspice": round(late.mean(late.volts["out"]), 3) if late else None,
        "ratio": round(took / mine, 1),
        "ratio_wanted_at_least": WANTED,
    }


def batch(step: float) -> dict[str, Any]:
    """Ten seeded faults in one batch of ours, and one by one by ngspice."""
    faults = single_faults(stile.machine().assembly)[2:]
    chosen = random.Random(SEED).sample([h.name for h in faults], BATCH)
    ones = [stile.specimen(name, "half") for name in chosen]
    top = stile.machine().topology
    begin, wall = time.process_time(), time.perf_counter()
    solved, rhythm = follow(top, top.rows([one.changes for one in ones]))
    took, wall = time.process_time() - begin, time.perf_counter() - wall
    rows, warm, cold, lost = [], 0.0, 0.0, 0
    for name, one, status, elapsed in zip(chosen, ones, solved.status, rhythm.elapsed, strict=True):
        found, seconds = theirs(one, step)
        lost += found is None
        warm += seconds
        # What stands still or waits to restart is marched in long steps: no extrapolation there.
        even = int(status) == Status.OSCILLATING
        cold += seconds / SPAN * float(elapsed) if even else seconds
        rows.append([name, Status(int(status)).name, round(float(elapsed), 4), round(seconds, 2)])
    return {
        "faults": BATCH,
        "unsolved_ours": int(np.sum(solved.status == Status.UNSOLVED)),
        "unsettled_ours": int(np.sum(solved.status == Status.NOT_SETTLED)),
        "given_up_by_ngspice": lost,
        "rows": rows,
        "seconds_a_row_ours": round(took / BATCH, 2),
        "wall_a_row_ours": round(wall / BATCH, 2),
        "seconds_a_row_ngspice_warm": round(warm / BATCH, 2),
        "ratio_warm": round(warm / took, 2),
        "ratio_switch_on_extrapolated": round(cold / took, 1),
    }


def main() -> int:
    """Print both, with the ratios."""
    one = healthy()
    step = one["ngspice_step"]
    result = {"healthy": one, "same_start": same_start(step), "batch": batch(step)}
    if "--json" in sys.argv:
        print(json.dumps(result))
        return 0
    for title, part in result.items():
        for name, value in part.items():
            print(f"{title} {name}: {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
