"""Every single fault of the demo tray at three loads, ours against ngspice, crowbar in place.

    python proofs/all_single_faults.py

Takes about a minute. Prints every disagreement and every fault ngspice could not solve; exit code 1
if we disagree anywhere. The tests run a seeded slice of the same.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator.test_tray import compare_single_faults


def main() -> int:
    """Run the three loads and print what differs."""
    total = 0
    for load in ("none", "half", "full"):
        wrong, unsolved = compare_single_faults(load)
        for line in wrong:
            print(line)
        for name in unsolved:
            print(f"{load}: {name}: ngspice found no operating point")
        print(f"{load}: {len(wrong)} nets differ, {len(unsolved)} faults unsolved by ngspice")
        total += len(wrong)
    return 1 if total else 0


if __name__ == "__main__":
    sys.exit(main())
