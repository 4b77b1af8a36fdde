"""Every single fault of the switching demo followed from switch-on: how each ends.

    python proofs/followed_faults.py [LOAD ...]

Loads are those of the file; half when none is given. Takes about ten minutes a load on two cores.
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

from tests.simulator import stile

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults


def main() -> int:
    """Follow every fault at each load asked for."""
    machine = stile.machine()
    faults = single_faults(machine.assembly)[2:]
    unsolved = 0
    for load in sys.argv[1:] or ["half"]:
        state = machine.values(Condition("raw", load))
        rows = machine.topology.rows([{**h.changes, **state} for h in faults])
        solved, rhythm = follow(machine.topology, rows)
        ends = [Status(int(s)) for s in solved.status]
        for h, end in zip(faults, ends, strict=True):
            if end in (Status.UNSOLVED, Status.NOT_SETTLED):
                print(f"{load}: {h.name}: {end.sentence}")
        count = Counter(end.name.lower().replace("_", " ") for end in ends)
        steps = int(np.median(rhythm.steps))
        print(f"{load}: {len(faults)} faults, {dict(count)}, median {steps} steps")
        unsolved += count["unsolved"]
    return 1 if unsolved else 0


if __name__ == "__main__":
    sys.exit(main())
