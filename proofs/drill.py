"""The planner against ngspice: simulated machines with faults, tolerances, meter error and slips.

    python proofs/drill.py [MACHINE] [KIND] [CASES] [--seed N] [--from N] [--slips PERCENT]
                           [--minutes M] [--json FILE]
    python proofs/drill.py --merge FILE...

MACHINE is one of `MACHINES` below. The bench behind the readings is ngspice, so the planner is not
judged by its own solver; the same drill with our own engine is the command `halfsplit drill`. Cases
are numbered: the same seed and number is the same specimen, so a run may be cut in pieces. FILE is
written after every case; given again, it goes on where it stopped. `--merge` makes one table of
several files, each case once.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.simulator.drill_bench import NgspiceBench  # noqa: E402

from halfsplit.assembly.condition import Condition  # noqa: E402
from halfsplit.bench.drill import Played, prepared, run  # noqa: E402
from halfsplit.bench.drill_bench import Case  # noqa: E402
from halfsplit.bench.session import Session  # noqa: E402
from halfsplit.bench.tally import chart, tally  # noqa: E402

EXAMPLES = ROOT / "examples"
MACHINES = {
    "hd40": (EXAMPLES / "hd40" / "pt3.yaml", Condition("raws", "bench")),
    "type88": (EXAMPLES / "type88" / "supply.yaml", Condition("raws", "half")),
}
SEEDS = {"single": 1, "double": 2, "healthy": 3, "cascade": 4}
Key = tuple[str, str, int, int, float]


def drill(
    name: str,
    kind: str,
    count: int,
    seed: int,
    slips: float = 0.0,
    *,
    first: int = 0,
    each: Callable[[int, Played, int], None] | None = None,
    until: float = float("inf"),
) -> tuple[list[Played], int]:
    """Play cases `first` to `first + count`; returns how each went and how often ngspice gave no
    reading. `each` is told the number, the case and its readings not had; none begins after
    `until` (monotonic seconds)."""
    example, start = MACHINES[name]
    folder = Path(tempfile.mkdtemp(prefix="drill"))  # no journal beside the examples
    file = Path(shutil.copy(example, folder / example.name))
    benches: list[NgspiceBench] = []
    with Session(file) as session:
        session.within_reach = frozenset((start.feed,))
        cases = prepared(session, start, [kind], first + count, seed)[first:]
        machine = session.machine

    def make(_: Session, case: Case) -> NgspiceBench:
        benches.append(NgspiceBench(machine, case, slips))
        return benches[-1]

    def tell(p: Played) -> None:
        if each is not None:
            each(first + len(benches) - 1, p, benches[-1].failed)

    played = run(file, cases, start, make, feeds=(start.feed,), each=tell, until=until)
    return played, sum(b.failed for b in benches)


def merged(files: list[Path]) -> list[dict[str, Any]]:
    """Records of several files, each case once, in order."""
    found: dict[Key, dict[str, Any]] = {}
    for file in files:
        for r in json.loads(file.read_text()):
            found[r["machine"], r["kind"], r["drill"], r["number"], r["slips"]] = r
    return [found[k] for k in sorted(found)]


def report(records: list[dict[str, Any]]) -> None:
    """One table for each machine and share of slips."""
    for machine, slips in dict.fromkeys((r["machine"], r["slips"]) for r in records):
        some = [r for r in records if (r["machine"], r["slips"]) == (machine, slips)]
        print(f"{machine}, {100 * slips:g} % of machines with a slip")
        table = tally(some)
        print(json.dumps({k: v for k, v in table.items() if k != "calibration"}, indent=1))
        print(f"readings ngspice did not give: {sum(r['without_reading'] for r in some)}")
        print("\n".join(chart(table)))
        wrong = [r for r in some if not (r["top"] or r["kind"] == "healthy") or r["right"] is False]
        for r in wrong:
            print("not right:", r["kind"], r["drill"], r["number"], r["faults"], r["claimed"])


def main() -> None:
    ask = argparse.ArgumentParser(description="The planner against ngspice.")
    ask.add_argument("machine", nargs="?", default="hd40", choices=[*MACHINES])
    ask.add_argument("kind", nargs="?", default="single", choices=[*SEEDS])
    ask.add_argument("cases", nargs="?", type=int, default=20)
    ask.add_argument("--seed", type=int, default=None, help="1 to 4 by kind when not given")
    ask.add_argument("--from", type=int, default=0, dest="first")
    ask.add_argument("--slips", type=float, default=0.0, help="percent of machines with one")
    ask.add_argument("--minutes", type=float, default=float("inf"), help="begin no case after")
    ask.add_argument("--json", type=Path, default=None)
    ask.add_argument("--merge", type=Path, nargs="+", default=None)
    given = ask.parse_args()
    if given.merge:
        report(merged(given.merge))
        return
    out: Path | None = given.json
    seed, slips = given.seed or SEEDS[given.kind], given.slips / 100.0
    records = merged([out]) if out is not None and out.exists() else []
    mine = (given.machine, given.kind, seed, slips)
    known = [
        r["number"]
        for r in records
        if (r["machine"], r["kind"], r["drill"], r["slips"]) == mine and r["number"] >= given.first
    ]
    first = max(known, default=given.first - 1) + 1
    count = given.first + given.cases - first
    begin = time.monotonic()

    def each(number: int, p: Played, failed: int) -> None:
        mark = "ok " if p.top else "3rd" if p.third else "BAD"
        print(mark, number, p.case.name, p.first_checks, p.checks, p.claimed, p.right, flush=True)
        also = {"machine": given.machine, "drill": seed, "number": number, "slips": slips}
        records.append({**also, **p.as_dict(), "without_reading": failed})
        if out is not None:
            out.write_text(json.dumps(records))

    if count > 0:
        until = begin + 60.0 * given.minutes
        drill(given.machine, given.kind, count, seed, slips, first=first, each=each, until=until)
    report(records)


if __name__ == "__main__":
    main()
