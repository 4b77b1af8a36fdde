"""The demo tray as it arrived: the planner's advice followed blindly to all that is wrong with it.

    python proofs/as_found.py

C4 shorted, R3 open, CR4 of 6.8 V, F2 too big, C1 dried out, RV1 turned to its end; marked as
touched before: F2, CR4, RV1. Readings come from this package's own solver with drawn tolerances,
from bench supplies first and the mains where the planner asks for it, so this shows that the advice
leads there, not that the readings are right.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

from halfsplit.assembly.condition import Condition  # noqa: E402
from halfsplit.bench.drill import Played, play  # noqa: E402
from halfsplit.bench.drill_bench import Case, EngineBench  # noqa: E402
from halfsplit.bench.session import Session  # noqa: E402

WRONG = (
    "C4 short",
    "R3 open",
    "CR4 two voltages up",  # 6.8 V where 5.6 V is drawn
    "F2 oversize",
    "C1 value low",
    "RV1 turned to the far end",
)
TOUCHED = ("F2", "CR4", "RV1")


def followed(most: int = 60) -> tuple[Played, set[str]]:
    """How it went, and the parts that were put right."""
    folder = Path(tempfile.mkdtemp(prefix="as-found"))
    file = Path(shutil.copy(ROOT / "examples" / "hd40" / "pt3.yaml", folder / "pt3.yaml"))
    with Session(file) as session:
        session.set_condition(Condition("raws", "bench"))
        for ref in TOUCHED:
            session.observe("worked on before", ref, touched=True)
        by = {f.name: f for h in session.standard for f in h.faults}
        case = Case("story", tuple(by[n] for n in WRONG), 7)
        done = play(session, EngineBench(session.machine, case), case, most)
        fitted = {c.part for c in session.condition.changes if c.what == "fitted"}
    return done, fitted


def main() -> int:
    done, fitted = followed()
    for line in done.trail:
        print(line)
    missing = {name.split()[0] for name in WRONG} - fitted
    print(f"{done.checks} checks; put right: {', '.join(sorted(fitted))}")
    print(f"missed: {', '.join(sorted(missing)) or 'nothing'}")
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
