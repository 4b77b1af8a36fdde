"""Every single fault of the switching demos followed from switch-on: how each ends.

    python proofs/followed_faults.py [MACHINE:LOAD ...]

MACHINE is stile17 or tl6, LOAD one of its file; both at half load when none is given. Takes about
ten minutes a load of the first on two cores; the second, whose two rhythms run apart, far longer.
Prints every row that is not solved or does not settle, and the count of each ending; exit code 1 if
any row is not solved. Kirchhoff's law is checked on the last step of each row, apart from the
solver's own test.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import stile, su6

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults

MACHINES = {"stile17": (stile.machine, "raw"), "tl6": (su6.machine, "raws")}


def main() -> int:
    """Follow every fault of each machine at each load asked for."""
    unsolved = 0
    for asked in sys.argv[1:] or [f"{name}:half" for name in MACHINES]:
        name, _, load = asked.partition(":")
        build, feed = MACHINES[name]
        machine = build()
        faults = single_faults(machine.assembly)[2:]
        state = machine.values(Condition(feed, load))
        rows = machine.topology.rows([{**h.changes, **state} for h in faults])
        solved, rhythm = follow(machine.topology, rows)
        ends = [Status(int(s)) for s in solved.status]
        for h, end in zip(faults, ends, strict=True):
            if end in (Status.UNSOLVED, Status.NOT_SETTLED):
                print(f"{asked}: {h.name}: {end.sentence}")
        count = Counter(end.name.lower().replace("_", " ") for end in ends)
        steps = int(np.median(rhythm.steps))
        print(f"{asked}: {len(faults)} faults, {dict(count)}, median {steps} steps")
        unsolved += count["unsolved"]
    return 1 if unsolved else 0


if __name__ == "__main__":
    sys.exit(main())
