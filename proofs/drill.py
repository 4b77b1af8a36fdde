"""The planner against ngspice: simulated machines with faults, tolerances, meter error and slips.

    python proofs/drill.py [MACHINE] [KIND] [CASES] [--seed N] [--from N] [--slips PERCENT]
                           [--minutes M] [--json FILE]
    python proofs/drill.py --merge FILE...

MACHINE is one of `MACHINES` below, KIND single, double, cascade, healthy, or all of them in turn.
The bench behind the readings is ngspice, so the planner is not judged by its own solver; the same
drill with our own engine is the command `halfsplit drill`. Cases are numbered: the same seed and
number is the same specimen, so a run may be cut in pieces. FILE is written after every case; given
again, what is in it is not played again. `--merge` makes one table of several files, each case
once. A machine with a slip among its readings is played a second time without.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.simulator.drill_bench import NgspiceBench, SwitchingBench  # noqa: E402

from halfsplit.assembly.condition import Condition  # noqa: E402
from halfsplit.bench.drill import Played, run  # noqa: E402
from halfsplit.bench.drill_bench import Case  # noqa: E402
from halfsplit.bench.drill_cases import prepared  # noqa: E402
from halfsplit.bench.session import Session  # noqa: E402
from halfsplit.bench.tally import at_the_end, chart, occurring, on_the_way, tally  # noqa: E402

EXAMPLES = ROOT / "examples"


@dataclass(frozen=True)
class Entrant:
    """A machine to be drilled.

    Attributes
    ----------
    file: its assembly.
    stages: where the bench is to begin; where no check tells much there any more, the next.
    loads: loads that may be proposed; all when empty.
    bench: what stands behind the readings.
    """

    file: Path
    stages: tuple[Condition, ...]
    loads: frozenset[str] = frozenset()
    bench: type[NgspiceBench] = NgspiceBench


MACHINES = {
    "hd40": Entrant(EXAMPLES / "hd40" / "pt3.yaml", (Condition("raws", "bench"),)),
    # Each load is a dictionary of minutes: dead first, then at one.
    "stile17": Entrant(
        EXAMPLES / "stile17" / "ob8.yaml",
        (Condition("off", "none"), Condition("raw", "half")),
        frozenset({"half"}),
        SwitchingBench,
    ),
    # Over 400 V in there: what can be had dead first, as `next` asks of a machine not known yet.
    "type88": Entrant(
        EXAMPLES / "type88" / "supply.yaml",
        (Condition("off", "none"), Condition("raws", "half")),
    ),
}
SEEDS = {"single": 1, "double": 2, "healthy": 3, "cascade": 4}
Key = tuple[str, str, int, int, float]
Plan = dict[str, Sequence[int]]  # numbers of the cases of each kind


def drill(
    name: str,
    plan: Plan,
    seed: int | None = None,
    slips: float = 0.0,
    *,
    each: Callable[[int, Played, int], None] | None = None,
    until: float = float("inf"),
) -> tuple[list[Played], int]:
    """Play the cases of a plan, its kinds in turn; returns how each went and how often ngspice gave
    no reading.

    `each` is told the number, the case and its readings not had; none begins after `until`
    (monotonic seconds). A case with a slip is played again without one.
    """
    one = MACHINES[name]
    start = one.stages[-1]
    folder = Path(tempfile.mkdtemp(prefix="drill"))  # no journal beside the examples
    file = Path(shutil.copy(one.file, folder / one.file.name))
    benches: list[NgspiceBench] = []
    with Session(file) as session:
        session.within_reach = frozenset((start.feed,))
        session.loads_within_reach = one.loads
        drawn = {
            kind: prepared(session, start, [kind], max(numbers) + 1, _own_seed(seed, kind))
            for kind, numbers in plan.items()
            if numbers
        }
        machine = session.machine
    turns = zip_longest(*([(n, drawn[k][n]) for n in plan[k]] for k in drawn))
    queue = [pair for turn in turns for pair in turn if pair is not None]
    number = {id(case): n for n, case in queue}
    again: set[int] = set()

    def cases() -> Iterator[Case]:
        for _, case in queue:
            yield case
            if benches[-1].slipped:
                again.add(id(case))
                yield case

    def make(_: Session, case: Case) -> NgspiceBench:
        benches.append(one.bench(machine, case, 0.0 if id(case) in again else slips))
        return benches[-1]

    def tell(p: Played) -> None:
        if each is not None:
            each(number[id(p.case)], p, benches[-1].failed)

    played = run(
        file,
        cases(),
        one.stages,
        make,
        feeds=(start.feed,),
        loads=one.loads,
        each=tell,
        until=until,
    )
    return played, sum(b.failed for b in benches)


def _own_seed(seed: int | None, kind: str) -> int:
    """Of each kind another, or machines of the same number in every kind had the same tolerances
    and the same slips, as they had until 29 November 2026."""
    return SEEDS[kind] if seed is None else 10 * seed + SEEDS[kind]


def merged(files: list[Path]) -> list[dict[str, Any]]:
    """Records of several files, each case once, in order."""
    found: dict[Key, dict[str, Any]] = {}
    for file in files:
        for r in json.loads(file.read_text()):
            found[r["machine"], r["kind"], r["drill"], r["number"], r["slips"]] = r
    return [found[k] for k in sorted(found)]


def report(records: list[dict[str, Any]]) -> None:
    """One table for each machine, then what a slip cost."""
    for machine, slips in dict.fromkeys((r["machine"], r["slips"]) for r in records):
        some = [r for r in records if (r["machine"], r["slips"]) == (machine, slips)]
        if all(twin(r, records) for r in some) and slips == 0.0:
            continue  # played only to be held against the same with a slip
        print(f"{machine}, {100 * slips:g} % of machines with a slip")
        table = tally(some)
        print(json.dumps({k: v for k, v in table.items() if k != "calibration"}, indent=1))
        print(f"readings ngspice did not give: {sum(r['without_reading'] for r in some)}")
        print("\n".join(chart(table)))
        told = [
            (r["claimed"], r["right"], w)
            for r, w in zip(some, occurring(some), strict=True)
            if r["claimed"] is not None
        ]
        if told:
            plain = (100 * sum(t) / len(told) for t in list(zip(*told, strict=True))[:2])
            all_w = sum(w for *_, w in told) / 100
            counted = (sum(t[k] * t[2] for t in told) / all_w for k in (0, 1))
            print("first decisions: {:.1f} % claimed on average, {:.1f} % right".format(*plain))
            print("kinds as often as they occur: {:.1f} %, {:.1f} %".format(*counted))
        print("shares of the kinds:", {r["kind"]: r.get("share") for r in some})
        for words, rows in (
            ("after each reading before the first decision", on_the_way(some)),
            ("the same, against the whole truth", on_the_way(some, whole=True)),
            ("the same, of a part blamed", on_the_way(some, whole=True, blaming=True)),
            ("the same, of no fault", on_the_way(some, whole=True, blaming=False)),
            ("when it stopped, against the whole truth", at_the_end(some)),
        ):
            print(f"leader's weight {words} | right")
            for row in rows:
                claimed, right, low, high = (
                    100 * row[k] for k in ("claimed", "right", "low", "high")
                )
                shares = f"{claimed:5.1f} % | {right:5.1f} % ({low:.0f} to {high:.0f})"
                print(f"  {shares} of {row['cases']}")
        wrong = [r for r in some if not (r["top"] or r["kind"] == "healthy") or r["right"] is False]
        for r in wrong:
            print("not right:", r["kind"], r["drill"], r["number"], r["faults"], r["claimed"])
        for kind, row in slip_cost(some, records).items():
            print(f"slips, {kind}: {row}")


def twin(r: dict[str, Any], records: list[dict[str, Any]]) -> dict[str, Any] | None:
    """The same case played with a slip where this had none, or without where it had."""
    same = ("machine", "kind", "drill", "number")
    found = [o for o in records if all(o[k] == r[k] for k in same) and o["slips"] != r["slips"]]
    slipped = [o for o in found if o["slipped"] != r["slipped"]]
    return slipped[0] if slipped else None


def slip_cost(some: list[dict[str, Any]], records: list[dict[str, Any]]) -> dict[str, Any]:
    """By kind: machines with a slip and their twins without, and what it cost."""
    found = {}
    for kind in dict.fromkeys(r["kind"] for r in some if r["slipped"]):
        both = [(r, twin(r, records)) for r in some if r["slipped"] and r["kind"] == kind]
        pairs = [(a, b) for a, b in both if b is not None]
        found[kind] = {
            "machines": len(pairs),
            "checks_more_to_decision": _more(pairs, "first_checks"),
            "checks_more": _more(pairs, "checks"),
            "top": sum(a["top"] for a, _ in pairs),
            "top_without": sum(b["top"] for _, b in pairs),
            "confident_wrong": sum(a["right"] is False for a, _ in pairs),
            "confident_wrong_without": sum(b["right"] is False for _, b in pairs),
        }
    return found


def _more(pairs: list[tuple[dict[str, Any], dict[str, Any]]], what: str) -> float | None:
    """Mean difference, over those that decided both times."""
    told = [(a, b) for a, b in pairs if a["claimed"] is not None and b["claimed"] is not None]
    return round(sum(a[what] - b[what] for a, b in told) / len(told), 2) if told else None


def main() -> None:
    ask = argparse.ArgumentParser(description="The planner against ngspice.")
    ask.add_argument("machine", nargs="?", default="hd40", choices=[*MACHINES])
    ask.add_argument("kind", nargs="?", default="single", choices=[*SEEDS, "all"])
    ask.add_argument("cases", nargs="?", type=int, default=20, help="of each kind")
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
    slips = given.slips / 100.0
    records = merged([out]) if out is not None and out.exists() else []
    done = {(r["machine"], r["kind"], r["drill"], r["number"], r["slips"]) for r in records}
    kinds = [*SEEDS] if given.kind == "all" else [given.kind]
    plan = {
        kind: [
            n
            for n in range(given.first, given.first + given.cases)
            if (given.machine, kind, given.seed or SEEDS[kind], n, slips) not in done
        ]
        for kind in kinds
    }
    begin = time.process_time()
    commit = version()

    def each(number: int, p: Played, failed: int) -> None:
        nonlocal begin
        seed = given.seed or SEEDS[p.case.kind]
        spent, begin = time.process_time() - begin, time.process_time()
        mark = "ok " if p.top else "3rd" if p.third else "BAD"
        slip = "slip" if p.slipped else ""
        print(
            mark, p.case.kind, number, p.case.name, p.first_checks, p.checks, p.claimed, p.right,
            slip, f"{spent:.1f} s", flush=True,
        )  # fmt: skip
        also = {"machine": given.machine, "drill": seed, "number": number, "commit": commit}
        record = {**also, **p.as_dict(), "without_reading": failed, "seconds": round(spent, 2)}
        key = (given.machine, p.case.kind, seed, number, slips)
        record["slips"] = 0.0 if key in done else slips  # the second time without
        done.add(key)
        records.append(record)
        if out is not None:
            out.write_text(json.dumps(records))

    if any(plan.values()):
        until = time.monotonic() + 60.0 * given.minutes
        drill(given.machine, plan, given.seed, slips, each=each, until=until)
    report(records)


def version() -> str:
    """Commit the sources are at; "" outside a repository."""
    asked = ["git", "-C", str(ROOT), "describe", "--always", "--dirty"]
    found = subprocess.run(asked, capture_output=True, text=True, check=False)
    return found.stdout.strip()


if __name__ == "__main__":
    main()
