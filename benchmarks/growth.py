"""How the cost of a fault grows with the circuit: made machines of 50, 100, 300 and 1,000 parts.

    python benchmarks/growth.py [--json]

Every single fault (of larger machines a seeded sample of them) at the operating point, half load,
from the healthy volts, as the fault dictionary asks for it; ngspice on a seeded sample of the same
decks in the same run is the named alternative. It too is given the healthy volts to start from:
without them it finds no operating point of the machine of 300 parts. `alone` starts it for each
deck, `held` is one process that reads them in turn.

The solver is compiled before anything is timed. Times are of the processor (all threads of ours
together, children for ngspice), so other work on the machine hardly counts; `wall` is beside them.
`warm` rows were solved from the healthy volts, `followed_up` rows only by following a power-up.
Each size runs in a process of its own, so that its peak of memory (`ru_maxrss` of getrusage) is its
own: `peak_before` is what interpreter, compiled solver and compiled topology took, `peak` the most
once all rows were solved.
"""

from __future__ import annotations

import json
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks import synthetic
from benchmarks.single_faults import held
from tests.simulator import deck, tray

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults

SIZES = (50, 100, 300, 1000)
MOST = 600  # rows solved of one machine
SLICE = 16  # decks given to ngspice; it may take its 60 s over one and still not end
ROUNDS = 3  # the median counts
WANTED = 1.3  # exponent of time a row against parts


def machine(parts: int) -> Machine:
    """A made machine, read from its text as a user's would be."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "made.yaml"
        file.write_text(synthetic.text(parts), encoding="utf-8")
        assembly, problems = load(file)
    assert assembly is not None, problems
    assert len(assembly.parts) == parts
    return Machine(assembly)


def peak() -> float:
    """Largest memory this process has held [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def children() -> float:
    """Processor seconds of processes started and ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def answered(written: deck.Deck, net: str, guess: dict[str, float]) -> bool:
    """Whether ngspice gave an operating point at all, within its time."""
    try:
        return deck.operating_point(written, [net], guess) is not None
    except subprocess.TimeoutExpired:
        return False


def size(parts: int) -> dict[str, Any]:
    """One machine: rows, unsolved, time and memory, ours and ngspice's."""
    tiny = machine(min(SIZES))  # compiles the solver
    state = tiny.values(Condition("raws", "half"))
    operating_point(tiny.topology, tiny.topology.rows([state]))

    made = machine(parts)
    begin = time.process_time()
    top = made.topology
    laid_out = time.process_time() - begin
    state = made.values(Condition("raws", "half"))
    draw = random.Random(synthetic.SEED + parts)
    every = single_faults(made.assembly)[2:]
    faults = every if len(every) <= MOST else draw.sample(every, MOST)
    start = operating_point(top, top.rows([state])).mean[0]
    before = peak()
    rows = top.rows([{**h.changes, **state} for h in faults])

    cpu, wall = [], []
    for _ in range(ROUNDS):
        at = (time.process_time(), time.perf_counter())
        solved = operating_point(top, rows, start)
        cpu.append(time.process_time() - at[0])
        wall.append(time.perf_counter() - at[1])
    after = peak()
    near = solved.status == Status.SOLVED  # from the healthy volts, nothing else needed
    begin = time.process_time()
    operating_point(top, rows[near], start)
    warm = time.process_time() - begin
    unsolved = [h.name for h, s in zip(faults, solved.status, strict=True) if s == Status.UNSOLVED]
    finite = solved.residual[np.isfinite(solved.residual)]

    sample = draw.sample(faults, min(SLICE, len(faults)))
    decks = [
        deck.write(top, {**h.changes, **state}, open_lead=tray.open_lead(h.name)) for h in sample
    ]
    rail = next(iter(made.assembly.rails.values())).net
    begin, by_wall = children(), time.perf_counter()
    guess = dict(zip(top.nets, start.tolist(), strict=True))
    ended = [d for d in decks if answered(d, rail, guess)]
    alone, alone_wall = children() - begin, time.perf_counter() - by_wall
    begin = children()
    held(ended, guess, rail)
    one = children() - begin
    ms = 1e3 * float(np.median(cpu)) / len(faults)
    slow = (1e3 * float(np.median(cpu)) - 1e3 * warm) / max(1, int((~near).sum()))
    return {
        "parts": parts,
        "nets": len(top.nets),
        "single_faults": len(every),
        "rows": len(faults),
        "unsolved": len(unsolved),
        "unsolved_names": unsolved,
        "followed_up": int((solved.status == Status.POWERED_UP).sum()),
        "worst_residual_amps": float(finite.max()),
        "layout_ms": round(1e3 * laid_out, 1),
        "ms_a_row": round(ms, 4),
        "ms_a_row_wall": round(1e3 * float(np.median(wall)) / len(faults), 4),
        "ms_a_row_warm": round(1e3 * warm / int(near.sum()), 4),
        "ms_a_row_followed_up": round(slow, 2),
        "peak_before_mb": round(before, 1),
        "peak_mb": round(after, 1),
        "row_bytes": rows.nbytes // len(rows),
        "ngspice_rows": len(sample),
        "ngspice_unsolved": len(sample) - len(ended),
        "ngspice_ms_a_row": round(1e3 * alone / max(1, len(ended)), 3),
        "ngspice_ms_a_row_wall": round(1e3 * alone_wall / len(sample), 3),
        "ngspice_ms_a_row_held_warm": round(1e3 * one / max(1, len(ended)), 3),
        "ratio": round(alone / max(1, len(ended)) / (ms / 1e3), 1),
        "ratio_held_warm": round(one / max(1, len(ended)) / (ms / 1e3), 1),
    }


def exponent(found: list[dict[str, Any]], key: str) -> float:
    """Slope of log time against log parts, least squares."""
    parts, times = ([float(f[k]) for f in found] for k in ("parts", key))
    return round(float(np.polyfit(np.log(parts), np.log(times), 1)[0]), 2)


def main() -> int:
    """Run every size in a process of its own and print the table."""
    if "--size" in sys.argv:
        print(json.dumps(size(int(sys.argv[sys.argv.index("--size") + 1]))))
        return 0
    found = []
    for parts in SIZES:
        done = subprocess.run(
            [sys.executable, __file__, "--size", str(parts)],
            stdout=subprocess.PIPE,
            text=True,
            check=True,
        )
        found.append(json.loads(done.stdout))
    keys = ("ms_a_row", "ms_a_row_warm", "ngspice_ms_a_row", "ngspice_ms_a_row_held_warm")
    result = {
        "seed": synthetic.SEED,
        "cores": os.cpu_count(),
        "sizes": found,
        "exponent_wanted_at_most": WANTED,
        "exponents": {key: exponent(found, key) for key in keys},
    }
    if "--json" in sys.argv:
        print(json.dumps(result))
        return 0
    for key in found[0]:
        print(f"{key:28}", *(f"{_short(f[key]):>12}" for f in found))
    for key, value in result["exponents"].items():
        print(f"exponent of {key} against parts: {value} (wanted of ours: at most {WANTED})")
    return 0


def _short(value: object) -> str:
    if isinstance(value, list):
        return str(len(value)) + " named" if value else "none"
    return f"{value:.3g}" if isinstance(value, float) else str(value)


if __name__ == "__main__":
    sys.exit(main())
