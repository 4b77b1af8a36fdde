"""Is the right cause of a memory fault ranked first? 2,000 simulated boards on two organisations.

    python proofs/memory_ranking.py [--maps 2000] [--seed 7]

Prints the share right by kind of fault and by how the print was pasted, and every kind of mistake.
Faults and their mixture are invented (tests/boards/faultmaps.py). A fault that no test of the
program shows is drawn again, and counted.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.boards.faultmaps import NARROW, WIDE, Shape, draw, printed

from halfsplit.boards.memory import rank
from halfsplit.boards.memory_log import read_log
from halfsplit.boards.organisation import ChipRule, Lines, Memory, Refresh


def memory_of(shape: Shape) -> Memory:
    """The organisation as the ranker's file would give it."""
    return Memory(
        banks=shape.banks,
        words=1 << 2 * shape.lines,
        data=shape.bits,
        bank_bit=2 * shape.lines,
        chips=ChipRule(first=10, per_bank=20),
        lines=Lines(count=shape.lines),
        buffers={name: tuple(range(a, b)) for name, a, b in shape.buffers},
        refresh=Refresh(rows=1 << shape.lines),
    )


def trial(
    shape: Shape, rng: np.random.Generator
) -> tuple[str, str, tuple[str, ...], tuple[str, ...], int]:
    """Kind, how pasted, true cause, cause ranked first, and faults drawn that nothing showed."""
    unseen = 0
    while True:
        fault = draw(rng, shape)
        text, how = printed(shape, fault, rng)
        if text:
            break
        unseen += 1
    log, problems = read_log(text, "hex")
    assert not problems, problems[:3]
    found = rank(memory_of(shape), log, 0, shape.size - 1)
    return fault.kind, how, fault.key, found.causes[0].key, unseen


def main() -> int:
    """Run and print; fails below 95 %."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--maps", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=7)
    given = parser.parse_args()
    right: Counter[str] = Counter()
    total: Counter[str] = Counter()
    wrong: Counter[str] = Counter()
    unseen = 0
    for k in range(given.maps):
        shape = (WIDE, NARROW)[k % 2]
        rng = np.random.default_rng([given.seed, k])
        kind, how, key, first, missed = trial(shape, rng)
        unseen += missed
        for name in (kind, how, "wide" if shape is WIDE else "narrow", "all"):
            total[name] += 1
            right[name] += key == first
        if (k + 1) % 100 == 0:
            print(f"{right['all']} of {k + 1}", file=sys.stderr, flush=True)
        if key != first:
            wrong[f"{kind} ({how}): {' '.join(key)} ranked below {first[0]}"[:60]] += 1
    for name, count in total.items():
        print(f"{name:14} {right[name]:5} of {count:5}  {right[name] / count:6.1%}")
    print(f"{unseen} further faults were shown by no test and drawn again")
    for words, count in wrong.most_common(25):
        print(f"  {count:3}  {words}")
    return 0 if right["all"] >= 0.95 * total["all"] else 1


if __name__ == "__main__":
    sys.exit(main())
