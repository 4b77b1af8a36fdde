"""From a reading entered to new suspects and the next check, on the demo tray.

    python benchmarks/reading_to_next.py [--json]

The planner is followed through a few simulated faults with the dictionary warm. The alternative in
the same run is what a person with a general simulator would do after each reading: one ngspice
process for every single fault (timed on ten, times their number). On a machine with other work the
processor seconds tell more than those of the clock.
"""

from __future__ import annotations

import json
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import deck, tray

from halfsplit.assembly.condition import Condition
from halfsplit.bench.drill import taking
from halfsplit.bench.drill_bench import Case, EngineBench
from halfsplit.bench.session import Session

FAULTS = ("C7 short", "Q1 c-e short", "R13 open", "R21 open", "C4 short")
START = Condition("raws", "bench")


def follow(name: str, folder: Path, shared: dict[str, object]) -> list[tuple[float, float]]:
    """From each reading to the next check: seconds, and seconds of processor time; following the
    planner up to six readings."""
    file = Path(shutil.copy(tray.EXAMPLE, folder / f"{name[:2]}.yaml"))
    spent = []
    with Session(file) as session:
        session.share(shared)
        session.trim()  # the dictionary stays warm, sets solved for an earlier machine do not
        session.within_reach = frozenset((START.feed,))
        session.set_condition(START)
        fault = next(f for h in session.standard for f in h.faults if f.name == name)
        bench = EngineBench(session.machine, Case("single", (fault,), 5))
        check = session.next_checks(1)[0]
        for _ in range(6):
            asked = check.candidate
            if asked.quantity == "look":
                session.observe("", asked.net, sign="as-drawn")
            else:
                taking(session, asked, bench.read(asked, session.meter) or "0")
            begin, busy = time.perf_counter(), time.process_time()
            session.groups()
            check = session.next_checks(1)[0]
            spent.append((time.perf_counter() - begin, time.process_time() - busy))
    return spent


def main() -> None:
    shared: dict[str, object] = {}
    with tempfile.TemporaryDirectory() as name:
        for fault in FAULTS:  # the first time makes the dictionaries
            follow(fault, Path(name), shared)
        both = [t for fault in FAULTS for t in follow(fault, Path(name), shared)]
    spent = [t for t, _ in both]
    top, state = tray.tray().topology, tray.tray().values(START)
    begin = time.perf_counter()
    for _ in range(10):
        deck.operating_point(deck.write(top, state), ["p5"])
    each = (time.perf_counter() - begin) / 10
    count = len(shared["standard"])  # type: ignore[arg-type]
    found = {
        "readings": len(spent),
        "median_seconds": round(statistics.median(spent), 3),
        "worst_seconds": round(max(spent), 3),
        "median_processor_seconds": round(statistics.median(t for _, t in both), 3),
        "ngspice_every_fault_seconds": round(each * count, 2),
        "ratio": round(each * count / statistics.median(spent), 1),
    }
    if "--json" in sys.argv:
        print(json.dumps(found, indent=2))
        return
    for key, value in found.items():
        print(f"{key.replace('_', ' ')}: {value}")


if __name__ == "__main__":
    main()
