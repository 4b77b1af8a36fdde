"""How far good specimens of a fault lie from what is told of it, where it changes a machine's beat.

    python proofs/beat_spreads.py [specimens]

Every single fault of the switching demo on its raw feed at half load that beats a tenth faster or
slower than the good machine, 8 specimens of each unless said otherwise, all uncertain values moved
at once and each specimen followed: some seven minutes of processor beside the demo's dictionary.
Specimens that restart instead of beating are counted apart. The tests run a slice of the same.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from shutil import copy

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402
from tests.simulator.beat_specimens import beat_specimens  # noqa: E402

from halfsplit.assembly.condition import Condition  # noqa: E402
from halfsplit.bench.session import Session  # noqa: E402

SIGMAS = 2.0
WANTED = 0.9


def main() -> int:
    """Exit code 1 where fewer than nine readings in ten lie within two sigmas."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    with tempfile.TemporaryDirectory() as folder:
        file = Path(copy(ROOT / "examples" / "stile17" / "ob8.yaml", folder))
        with Session(file) as session:
            found = beat_specimens(session, Condition("raw", "half"), count)
    within = np.concatenate([s.off.ravel() for s in found if len(s.off)]) < SIGMAS
    for s in sorted(found, key=lambda s: s.ratio):
        if not len(s.off):
            print(f"{s.name:24s} period x{s.ratio:8.3f}  no specimen beats")
            continue
        worst = int(np.argmax(s.off.mean(axis=0)))
        share = 100.0 * float((s.off < SIGMAS).mean())
        print(
            f"{s.name:24s} period x{s.ratio:8.3f}  {len(s.off)} of {count} beat, {share:5.1f} % "
            f"within {SIGMAS:g} sigma, worst {s.nets[worst]} {s.off[:, worst].max():.1f}"
        )
    print(f"all: {100.0 * within.mean():.1f} % of {within.size} readings")
    return 0 if within.mean() >= WANTED else 1


if __name__ == "__main__":
    sys.exit(main())
