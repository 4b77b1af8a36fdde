"""The switching demo on its mains, beat and mains cycle together, ours against ngspice.

    python proofs/mains_beat.py [LOAD: FAULT ...]

Healthy at half and full load when nothing is named. ngspice steps through both at once from the
state we end in (tests/simulator/mains_beat_rows.py says how): minutes a row. Exit code 1 if any
reading differs by more than a mean's 1 % + 10 mV, a ripple's 10 % + 5 mV, a frequency's 10 %.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator.mains_beat_rows import compare


def main() -> int:
    """Print every row asked for."""
    wrong = 0
    for asked in sys.argv[1:] or ["half: no fault", "full: no fault"]:
        load, fault = asked.split(": ")
        for row in compare(load, [fault]):
            print(f"{asked}: {row.status.name.lower()}")
            for name, ours in row.ours.items():
                theirs = (row.theirs or {}).get(name, float("nan"))
                print(f"  {name}: {ours:.5g}, ngspice {theirs:.5g}", flush=True)
            for line in row.wrong():
                print(f"  differs: {line}")
            wrong += len(row.wrong())
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
