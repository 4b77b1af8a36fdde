"""From nothing on the mains, `next` leads to each of four faults of the tray in five checks.

    python proofs/from_nothing.py [--seeds 21,22]

Readings by ngspice with tolerances and meter error. The tests run two of the four. Exits 1 when one
is not found.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

from tests.simulator import bench, tray

from halfsplit.bench.session import Session

FAULTS = ("C4 short", "R3 open", "CR3 open", "R13 open")


def main() -> int:
    """Play each fault with each seed and print the trail."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="21")
    lost = 0
    for seed in map(int, parser.parse_args().seeds.split(",")):
        for fault in FAULTS:
            with tempfile.TemporaryDirectory() as folder:
                file = Path(folder) / "pt3.yaml"
                shutil.copy(tray.EXAMPLE, file)
                with Session(file) as session:
                    checks, trail = bench.follow(session, bench.Specimen(fault, seed), most=5)
            lost += checks is None
            print(f"{fault}, seed {seed}: {checks or 'NOT FOUND'}", *trail, sep="\n  ", flush=True)
    return int(lost > 0)


if __name__ == "__main__":
    sys.exit(main())
