"""Do the 90 % intervals hold 85 to 95 % of good specimens? Every single fault, three loads.

    python proofs/spread_coverage.py [specimens]

2,000 specimens a row unless said otherwise: some ten minutes on two cores. Prints the figures with
first-order slopes alone and with the sampled fallback. The tests run a seeded slice of the same.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import tray
from tests.simulator.coverage import coverage

from halfsplit.faults.hypotheses import single_faults


def main() -> int:
    """Run the three loads; exit code 1 if fewer than nine readings in ten are right."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    faults = [h.changes for h in single_faults(tray.tray().assembly)[2:]]
    worst = 1.0
    for load in ("none", "half", "full"):
        before, after, drawn = coverage(load, faults, count, seed=77)
        print(f"{load}: {drawn} of {len(faults)} rows drawn")
        print(f"  slopes alone: {before}")
        print(f"  with draws:   {after}", flush=True)
        worst = min(worst, after.good / max(after.readings, 1))
    return 0 if worst >= 0.9 else 1


if __name__ == "__main__":
    sys.exit(main())
