"""Practice and proof: simulated machines, the planner played against them, and the score."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.bench.choosing import WORTHLESS, of_what_is_fed, tells_enough
from halfsplit.bench.drill_bench import Bench, Case
from halfsplit.bench.drill_cases import shares, shown_faults
from halfsplit.bench.session import ENOUGH, Session
from halfsplit.bench.tally import tally
from halfsplit.bench.uncounted import uncounted
from halfsplit.circuit.threads import Progress
from halfsplit.diagnosis.groups import Group
from halfsplit.diagnosis.next_check import AT_LEAD, SWAP, TOUCH_VOLTS, Candidate, Check
from halfsplit.faults.hypotheses import Hypothesis

OFFERED = 40  # checks looked through for a harmless one
MOST = 24  # checks after which a case is given up


@dataclass
class Played:
    """How one case went.

    Attributes
    ----------
    checks, minutes: until nothing was left worth checking, part tests and changes included.
    first_checks: until the first decision to act.
    claimed: at the first decision, the weight of all sets that hold one of the group decided on;
        `right`: whether the machine does.
    top: whether the whole truth, or its group, led at the end; `third`: was among the first three.
    part_top: whether the true parts were the most blamed at the end; `part_three`: with two more.
    accused: sound parts it had taken out to be tested.
    live: readings above the touch limit; `hazardous`: those of them where one below it, or of the
        dead machine, promised as much without a part to be worked on for it.
    slipped: whether the bench gave a mistyped reading.
    unanswered: readings the bench could not give.
    ended: weight of the leading group when it stopped, which `top` tells the truth of.
    claims: until the first decision, after each reading the weight of the leading group and whether
        the whole truth was in it; then the weight of all sets that hold one of the group, and
        whether the machine does; nought where it blames no part. Weights here are among what is
        drilled: healthy machines, and faults that show.
    cascade: whether the part taken along was named once its cause was found; None without one.
    share: of machines that are of this kind, of all kinds drilled; None when not told.
    """

    case: Case
    checks: int = 0
    minutes: float = 0.0
    first_checks: int = 0
    claimed: float | None = None
    right: bool | None = None
    top: bool = False
    third: bool = False
    part_top: bool = False
    part_three: bool = False
    accused: int = 0
    hazardous: int = 0
    live: int = 0
    slipped: bool = False
    unanswered: int = 0
    cascade: bool | None = None
    share: float | None = None
    ended: float | None = None
    claims: list[tuple[float, bool, float, bool]] = field(default_factory=list)
    trail: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        kept = {k: v for k, v in self.__dict__.items() if k != "case"}
        return {"kind": self.case.kind, "faults": self.case.name, "seed": self.case.seed, **kept}


def play(
    session: Session,
    bench: Bench,
    case: Case,
    most: int = MOST,
    stages: Sequence[Condition] = (),
    shown: frozenset[str] | None = None,
) -> Played:
    """Follow the planner: take its checks, test and change the parts it decides on, go on.

    Where no check tells much, or nothing wrong shows in a machine that is off, the next of `stages`
    is gone to; after the last it is over when
    nothing is worth checking, or after `most` checks. `shown` names the faults that are drilled,
    for what is claimed of them; without, no claims are told.
    """
    done, left = Played(case), list(stages)
    skipped: set[tuple[str, str, Condition]] = set()
    while done.checks < most:
        offered = session.next_checks(OFFERED)
        lead = session.decided(offered[0] if offered else None)
        if lead is not None:
            _act(session, lead, case, done)
            continue
        if _again(session, bench, done):
            continue
        worth = [c for c in offered if c.bits >= WORTHLESS and _key(c) not in skipped]
        if not worth and not left:
            break
        # Off and nothing wrong shows: `next` says to power it when it may be, and so is done.
        dry = not session.condition.energised() and session.quiet() is not None
        if left and (dry or not tells_enough(of_what_is_fed(session, worth))):
            at = left.pop(0)
            session.set_condition(replace(at, changes=session.condition.changes))
            continue
        check = worth[0]
        if check.top_volts > TOUCH_VOLTS:
            done.live += 1
            done_to = check.candidate.condition.changes
            same = [c for c in worth if c.candidate.condition.changes == done_to]
            tame = [c for c in same if c.top_volts <= TOUCH_VOLTS and c.bits >= check.bits]
            done.hazardous += bool(tame)
        if not _answer(session, bench, check, done):
            skipped.add(_key(check))
        elif done.claimed is None and shown is not None:
            done.claims.append(_claim(session, case, shown))
    done.slipped = bench.slipped
    _judge(session, case, done)
    return done


def _again(session: Session, bench: Bench, done: Played) -> bool:
    """Take a reading again that the leading suspect does not explain, once each place."""
    groups = session.groups()
    if not groups or groups[0].weight < ENOUGH:
        return False
    for reason in session.unexplained():
        old = reason.evidence
        place = (old.pos, old.neg, old.quantity, old.condition)
        taken = [(e.pos, e.neg, e.quantity, e.condition) for e in session.evidence()]
        if old.condition.feed != session.condition.feed or taken.count(place) > 1:
            continue
        asked = Candidate(
            old.pos, old.quantity, old.condition, AT_LEAD, old.neg, ohmmeter=old.ohmmeter
        )
        done.checks += 1
        done.minutes += AT_LEAD
        text = bench.read(asked, session.meter)
        if text is None:
            done.unanswered += 1
            return False
        taking(session, asked, text)
        done.trail.append(f"again {old.pos} {old.quantity} {text} ({old.condition.load})")
        return True
    return False


def _act(session: Session, lead: Group, case: Case, done: Played) -> None:
    """Take the accused parts out one by one, test them, fit good ones for the bad."""
    members = [session.hypotheses[i] for i in lead.members if session.hypotheses[i].faults]
    bad = {f.part for f in case.faults}
    truth = {f.name for f in case.faults}
    if done.claimed is None:
        done.first_checks = done.checks
        done.claimed = float(session.belief.weights()[_holding(session, members)].sum())
        done.right = any(h.plain <= truth for h in members)
    fitted = session.condition.fitted
    tested = {ref for ref, _ in session.proofs()}
    known = {ref for ref, _ in session.fresh_proofs()}
    parts = dict.fromkeys(p for h in members for p in h.parts if p not in fitted | tested)
    renewed = {f.part for h in members for f in h.faults if f.cause == "fresh"} - known
    done.checks += not parts and not renewed  # nothing left to take out: time passes all the same
    done.trail.append(f"test {', '.join([*parts, *(f'new {ref}' for ref in sorted(renewed))])}")
    for ref in sorted(renewed):  # what is fitted here is sound
        done.checks += 1
        done.minutes += SWAP
        done.accused += 1
        session.prove(ref, True, "")
    for ref in parts:
        done.checks += 1
        done.minutes += SWAP
        session.prove(ref, ref not in bad, "")
        if ref in bad:
            session.change(f"{ref} fitted")
            cause = [f.name for f in case.faults if f.part == ref]
            if case.kind == "cascade" and cause[0] == case.faults[0].name:
                named = {t.part for t in session.taken_along(case.faults[0].name)}
                done.cascade = case.faults[1].part in named
            return  # see what the machine does now before touching anything else
        done.accused += 1


def _claim(session: Session, case: Case, shown: frozenset[str]) -> tuple[float, bool, float, bool]:
    """What is claimed of the leading group and whether it is so: see :class:`Played`."""
    lead, truth = session.groups()[0], {f.name for f in case.faults}
    weights, listed = session.belief.weights(), session.hypotheses
    more = uncounted(session, shown)
    drilled = np.array([i != 1 and h.plain <= shown for i, h in enumerate(listed)])
    whole = max(float((weights * (1.0 + more))[drilled].sum()), 1e-300)
    members = [i for i in lead.members if drilled[i]]
    among = float(weights[members].sum()) / whole
    same = any(listed[i].plain == truth for i in members)
    blaming = [listed[i] for i in members if listed[i].faults]
    holds = drilled & _holding(session, blaming)
    claimed = float((weights * (1.0 + more))[holds].sum()) / whole
    return round(among, 5), same, round(claimed, 5), any(h.plain <= truth for h in blaming)


def _holding(session: Session, members: Sequence[Hypothesis]) -> npt.NDArray[np.bool_]:
    """Which sets hold every fault of one of these."""
    named = {h.plain for h in members}
    return np.array([any(n <= h.plain for n in named) for h in session.hypotheses], dtype=bool)


def _key(check: Check) -> tuple[str, str, Condition]:
    return check.candidate.net, check.candidate.quantity, check.candidate.condition


def _answer(session: Session, bench: Bench, check: Check, done: Played) -> bool:
    asked = check.candidate
    done.checks += 1
    done.minutes += asked.minutes
    if asked.quantity == "look":
        right = bench.looks_right(asked.net)
        session.observe("", asked.net, sign="as-drawn" if right else "not-as-drawn")
        done.trail.append(f"look {asked.net}: {'as drawn' if right else 'not as drawn'}")
        if not right:  # what is seen to be wrong is put right at once
            session.change(f"{asked.net} fitted")
        return True
    text = bench.read(asked, session.meter)
    if text is None:
        done.unanswered += 1
        return False
    taking(session, asked, text)
    done.trail.append(f"{_where(asked)} {asked.quantity} {text} ({asked.condition.load})")
    return True


def _where(asked: Candidate) -> str:
    return f"{asked.net} to {asked.black}" if asked.black else asked.net


def taking(session: Session, asked: Candidate, text: str) -> None:
    """Store a reading of a simulated bench as a person would have."""
    session.read(
        asked.net,
        text,
        against=asked.black or None,
        ripple=asked.quantity == "ripple",
        ac=asked.quantity == "ac",
        frequency=asked.quantity == "frequency",
        ohmmeter=asked.ohmmeter,
        condition=asked.condition,
        sure=True,
    )


def _judge(session: Session, case: Case, done: Played) -> None:
    groups = session.groups()
    names = {f.name for f in case.faults}
    hits = [any(_holds(session.hypotheses[i], names) for i in g.members) for g in groups]
    done.top = bool(hits[:1] and hits[0])
    done.ended = round(float(groups[0].weight), 5) if groups else None
    done.third = any(hits[:3])
    truth = {f.part for f in case.faults}
    blamed = list(session.blamed())
    done.part_top = bool(truth) and truth == set(blamed[: len(truth)])
    done.part_three = bool(truth) and truth <= set(blamed[: len(truth) + 2])


def _holds(hypothesis: Hypothesis, names: set[str]) -> bool:
    """Whether a hypothesis is the truth, or all of it that it must be."""
    return hypothesis.plain == names


def run(
    path: Path,
    cases: Iterable[Case],
    start: Condition | Sequence[Condition],
    make: Callable[[Session, Case], Bench],
    feeds: Sequence[str] = (),
    loads: Iterable[str] = (),
    each: Callable[[Played], None] | None = None,
    progress: Progress | None = None,
    most: int = MOST,
    until: float = float("inf"),
) -> list[Played]:
    """Every case played on a fresh journal, predictions shared between them; none begins after
    `until` (monotonic seconds). `start` is where, or the stages of :func:`play` with the first."""
    first, *stages = [start] if isinstance(start, Condition) else start
    reach = frozenset(loads)
    played: list[Played] = []
    count = len(cases) if isinstance(cases, Sequence) else 0
    shared: dict[str, Any] = {}
    shown: frozenset[str] | None = None
    common: dict[str, float] = {}
    for case in cases:
        if time.monotonic() > until:
            break
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / path.name
            shutil.copy(path, copy)
            with Session(copy) as session:
                for at in (*stages[-1:], first):  # it broke where it will be powered again
                    session.set_condition(at)
                session.share(shared)
                session.trim()
                session.within_reach = frozenset(feeds)
                session.loads_within_reach = reach
                if shown is None:
                    shown = shown_faults(session, stages[-1] if stages else first)
                    common = shares(session, shown)
                played.append(play(session, make(session, case), case, most, stages, shown))
                played[-1].share = common.get(case.kind)
                if each:
                    each(played[-1])
                if progress:
                    progress(len(played), count or len(played))
    return played


def score(played: Sequence[Played]) -> dict[str, Any]:
    """The table of a drill, by kind of case."""
    return tally([p.as_dict() for p in played])
