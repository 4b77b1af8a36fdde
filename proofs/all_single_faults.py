"""Every single fault of four machines at three loads, ours against ngspice.

    python proofs/all_single_faults.py

The tray with its crowbar in place, the valve supply, then two machines written after the solver
(tests/simulator/others). Takes some ten minutes. Prints every disagreement, every fault either side
could not solve, and of the last two the largest unbalanced current; exit code 1 if we disagree save
for a reason already known, or solve fewer than 99 of 100 faults of one of the last two. The tests
run a seeded slice of the same.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import others_tools, test_tray, test_type88


def main() -> int:
    """Run both machines and print what differs."""
    total = 0
    for name, compare in (
        ("tray", test_tray.compare_single_faults),
        ("valve supply", test_type88.compare_single_faults),
    ):
        for load in ("none", "half", "full"):
            wrong, unsolved = compare(load)
            for line in wrong:
                print(line)
            for fault in unsolved:
                print(f"{name}, {load}: {fault}: ngspice found no operating point")
            print(
                f"{name}, {load}: {len(wrong)} readings differ, {len(unsolved)} unsolved by ngspice"
            )
            total += len(wrong)
    for name in others_tools.NAMES:
        for load in others_tools.LOADS:
            found = others_tools.compare(name, load)
            finer = [f"{line} (agrees at its finer tolerance)" for line in found.finer]
            for line in found.wrong + [f"{k} (known)" for k in found.known] + finer:
                print(f"{name}, {load}: {line}")
            for fault in found.unsolved:
                print(f"{name}, {load}: {fault}: not solved by us")
            for fault in found.lost:
                print(f"{name}, {load}: {fault}: ngspice found no operating point")
            print(
                f"{name}, {load}: {found.rows} faults, {len(found.unsolved)} unsolved by us, "
                f"{len(found.lost)} by ngspice, {len(found.wrong)} readings differ and "
                f"{len(found.known)} for a known reason, "
                f"unbalanced {found.worst:.1e} A at most"
            )
            total += len(found.wrong) + (len(found.unsolved) > 0.01 * found.rows)
    for (name, fault), why in others_tools.KNOWN.items():
        print(f"known: {name}: {fault}: {why}")
    return 1 if total else 0


if __name__ == "__main__":
    sys.exit(main())
