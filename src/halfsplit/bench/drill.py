"""Practice and proof: simulated machines, the planner played against them, and the score."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.drill_bench import Bench, Case
from halfsplit.bench.session import Session
from halfsplit.diagnosis.next_check import TOUCH_VOLTS, Check
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.predictions import UNCLAIMED

MOST = 14  # checks after which a case is given up
WORTHLESS = 0.03  # bits below which a check is not worth walking to the bench for
SHOWS = 3.0  # sigmas of tolerance and meter by which a fault must move some reading to be visible


@dataclass
class Played:
    """How one case went.

    Attributes
    ----------
    checks, minutes: until the decision, or until nothing was left worth checking.
    decided: whether the planner said enough is known to act.
    top: whether the true parts, or a group that holds them, led when it stopped; `third`: were
        among the first three.
    claimed: weight given to the leading group.
    hazardous: checks above the touch limit where one below it promised as much.
    called: parts it would change.
    cascade: whether the part taken along was named when the first was decided.
    """

    case: Case
    checks: int = 0
    minutes: float = 0.0
    decided: bool = False
    top: bool = False
    third: bool = False
    claimed: float = 0.0
    hazardous: int = 0
    unanswered: int = 0
    called: tuple[str, ...] = ()
    cascade: bool | None = None
    trail: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        kept = {k: v for k, v in self.__dict__.items() if k != "case"}
        return {"kind": self.case.kind, "faults": self.case.name, "seed": self.case.seed, **kept}


def visible(session: Session, condition: Condition) -> list[bool]:
    """Which of the standard hypotheses move some reading enough in any load of this feed."""
    found = np.zeros(len(session.standard), dtype=bool)
    for load in session.assembly.loads:
        at = Condition(condition.feed, load)
        table = session.dictionary.get(at, session.progress)
        columns = [table.column(n) for n in session.probe_nets()]
        spread = np.sqrt((table.spread[0][:, columns] ** 2).sum(axis=0))
        level = np.abs(table.mean[0, columns])
        limit = SHOWS * np.hypot(spread, 0.005 * level + 0.02)
        moved = np.abs(table.mean[:, columns] - table.mean[0, columns]) > limit
        found |= moved.any(axis=1) & ~np.isin(table.status, UNCLAIMED)
    return [bool(v) for v in found]


def play(session: Session, bench: Bench, case: Case, most: int = MOST) -> Played:
    """Follow the planner to its decision."""
    done = Played(case)
    skipped: set[tuple[str, str, Condition]] = set()
    while done.checks < most:
        offered = session.next_checks(6)
        lead = session.decided(offered[0] if offered else None)
        if lead is not None:
            done.decided = True
            break
        check = next((c for c in offered if _key(c) not in skipped), None)
        if check is None or check.bits < WORTHLESS:
            break
        if not _answer(session, bench, check, done):
            skipped.add(_key(check))
    _judge(session, case, done)
    return done


def _key(check: Check) -> tuple[str, str, Condition]:
    return check.candidate.net, check.candidate.quantity, check.candidate.condition


def _answer(session: Session, bench: Bench, check: Check, done: Played) -> bool:
    asked = check.candidate
    done.checks += 1
    done.minutes += asked.minutes
    if check.top_volts > TOUCH_VOLTS:
        done.hazardous += 1
    if asked.quantity == "look":
        right = bench.looks_right(asked.net)
        session.observe("", asked.net, sign="as-drawn" if right else "not-as-drawn")
        done.trail.append(f"look {asked.net}: {'as drawn' if right else 'not as drawn'}")
        return True
    text = bench.read(asked, session.meter)
    if text is None:
        done.unanswered += 1
        return False
    session.read(
        asked.net,
        text,
        against=asked.black or None,
        ripple=asked.quantity == "ripple",
        ohmmeter=asked.ohmmeter,
        condition=asked.condition,
        sure=True,
    )
    done.trail.append(f"{asked.net} {asked.quantity} {text} ({asked.condition.load})")
    return True


def _judge(session: Session, case: Case, done: Played) -> None:
    groups = session.groups()
    names = {f.name for f in case.faults}
    hits = [any(_holds(session.hypotheses[i], names) for i in g.members) for g in groups]
    done.top = bool(hits[:1] and hits[0])
    done.third = any(hits[:3])
    done.claimed = float(groups[0].weight) if groups else 0.0
    lead = session.hypotheses[groups[0].members[0]] if groups else None
    done.called = lead.parts if lead and done.decided else ()


def _holds(hypothesis: Hypothesis, names: set[str]) -> bool:
    """Whether a hypothesis is the truth, or all of it that it must be."""
    return hypothesis.key == names


def run(
    path: Path,
    cases: Sequence[Case],
    start: Condition,
    make: Callable[[Session, Case], Bench],
    each: Callable[[Played], None] | None = None,
    most: int = MOST,
) -> list[Played]:
    """Every case played on a fresh journal, predictions shared between them."""
    played: list[Played] = []
    shared: dict[str, Any] = {}
    for case in cases:
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / path.name
            shutil.copy(path, copy)
            with Session(copy) as session:
                session.share(shared)
                session.set_condition(start)
                played.append(play(session, make(session, case), case, most))
                if each:
                    each(played[-1])
    return played


def score(played: Sequence[Played]) -> dict[str, Any]:
    """The table of a drill, by kind of case."""
    found: dict[str, Any] = {}
    for kind in dict.fromkeys(p.case.kind for p in played):
        some = [p for p in played if p.case.kind == kind]
        decided = [p for p in some if p.decided]
        found[kind] = {
            "cases": len(some),
            "top": _share(some, lambda p: p.top),
            "top_three": _share(some, lambda p: p.third),
            "decided": _share(some, lambda p: p.decided),
            "wrong_when_decided": _share(decided, lambda p: not p.top),
            "called_faulty": _share(some, lambda p: bool(p.called)),
            "mean_checks": _mean([p.checks for p in some]),
            "mean_minutes": _mean([p.minutes for p in some]),
            "hazardous_checks": sum(p.hazardous for p in some),
            "unanswered": sum(p.unanswered for p in some),
        }
    found["calibration"] = calibration(played)
    return found


def calibration(played: Sequence[Played]) -> list[dict[str, float]]:
    """Claimed weight of the leading group against how often it was right, in bands."""
    edges = (0.0, 0.5, 0.7, 0.85, 0.95, 0.99, 1.000001)
    rows = []
    for low, high in pairwise(edges):
        some = [p for p in played if p.case.faults and low <= p.claimed < high]
        if some:
            right = _share(some, lambda p: p.top)
            claimed = _mean([p.claimed for p in some])
            rows.append({"cases": len(some), "claimed": claimed, "right": right})
    return rows


def _share(some: Sequence[Played], test: Callable[[Played], bool]) -> float:
    return round(sum(test(p) for p in some) / len(some), 4) if some else 0.0


def _mean(values: Sequence[float]) -> float:
    return round(float(np.mean(values)), 3) if values else 0.0
