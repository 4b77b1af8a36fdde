"""Every single fault of the demo valve supply at three loads, ours against ngspice.

    python proofs/valve_single_faults.py

Takes about half a minute. Prints every disagreement and every fault ngspice could not solve; exit
code 1 if we disagree anywhere. The tests run a seeded slice of the same.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator.test_type88 import LOADS, compare_single_faults


def main() -> int:
    """Run the three loads and print what differs."""
    total = 0
    for load in LOADS:
        wrong, unsolved = compare_single_faults(load)
        for line in wrong:
            print(line)
        for name in unsolved:
            print(f"{load}: {name}: ngspice found no operating point")
        print(f"{load}: {len(wrong)} readings differ, {len(unsolved)} unsolved by ngspice")
        total += len(wrong)
    return 1 if total else 0


if __name__ == "__main__":
    sys.exit(main())
