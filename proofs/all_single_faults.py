"""Every single fault of two demo machines at three loads, ours against ngspice.

    python proofs/all_single_faults.py

The tray with its crowbar in place, then the valve supply. Takes about two minutes. Prints every
disagreement and every fault ngspice could not solve; exit code 1 if we disagree anywhere. The tests
run a seeded slice of the same.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import test_tray, test_type88


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
    return 1 if total else 0


if __name__ == "__main__":
    sys.exit(main())
