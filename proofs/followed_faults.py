"""Every single fault of the switching demos followed from switch-on: how each ends.

    python proofs/followed_faults.py [--ngspice] [MACHINE:LOAD ...]

MACHINE is stile17 or tl6, LOAD one of its file; stile17 at half, full and light load when none is
given. Two to four seconds of a busy processor a row of the first; the second has two rhythms that
run apart, and takes up to twelve. Prints every row that is not solved or does not settle, and
the count of each ending. Kirchhoff's law is checked on the last step of each row, apart from the
solver's own test.

With --ngspice each row of stile17 that stands still or beats is taken on by ngspice from the state
we leave it in (tests/simulator/stile_rows.py says how), which takes a further quarter of an hour a
load; whatever differs is printed.

Exit code 1 if any row is not solved, or differs from ngspice.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import stile, stile_rows, su6

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults

MACHINES = {"stile17": (stile.machine, "raw"), "tl6": (su6.machine, "raws")}
USUAL = ("stile17:half", "stile17:full", "stile17:light")
CHUNK = 12  # faults between two lines of progress


def ends(asked: str) -> int:
    """Follow every fault of MACHINE:LOAD; how many were not solved."""
    name, _, load = asked.partition(":")
    build, feed = MACHINES[name]
    machine = build()
    faults = single_faults(machine.assembly)[2:]
    state = machine.values(Condition(feed, load))
    rows = machine.topology.rows([{**h.changes, **state} for h in faults])
    solved, rhythm = follow(machine.topology, rows)
    found = [Status(int(s)) for s in solved.status]
    for h, end in zip(faults, found, strict=True):
        if end in (Status.UNSOLVED, Status.NOT_SETTLED):
            print(f"{asked}: {h.name}: {end.sentence}")
    count = Counter(end.name.lower().replace("_", " ") for end in found)
    good = np.isfinite(solved.residual)
    print(
        f"{asked}: {len(faults)} faults, {dict(count)}, "
        f"median {int(np.median(rhythm.steps))} steps, "
        f"unbalanced {solved.residual[good].max():.1e} A at most"
    )
    return count["unsolved"]


def against_ngspice(load: str) -> int:
    """Hold every fault of stile17 at a load against ngspice; how many differ."""
    names = [h.name for h in single_faults(stile.machine().assembly)[2:]]
    whole = stile_rows.Outcome()
    for begin in range(0, len(names), CHUNK):
        part = stile_rows.compare(load, names[begin : begin + CHUNK])
        for line in (*part.wrong, *(f"{f}: ngspice gave up" for f in part.lost), *part.unsettled):
            print(line, flush=True)
        whole.add(part)
        print(f"... {whole.rows} of {len(names)}", file=sys.stderr, flush=True)
    print(
        f"stile17:{load} against ngspice: {whole.rows} rows, {len(whole.different)} differ, "
        f"{len(whole.left_out)} restart and are left out, {len(whole.lost)} given up by ngspice, "
        f"{len(whole.unsettled)} not settled by us"
    )
    return len(whole.different) + len(whole.unsettled)


def main() -> int:
    """All that is asked for."""
    asked = [a for a in sys.argv[1:] if not a.startswith("--")] or list(USUAL)
    if "--ngspice" in sys.argv:
        return 1 if sum([against_ngspice(a.partition(":")[2]) for a in asked]) else 0
    return 1 if sum([ends(a) for a in asked]) else 0


if __name__ == "__main__":
    sys.exit(main())
