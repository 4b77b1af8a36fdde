"""Which simulated machines a drill plays: faults that show, drawn by their odds, and how common
each kind of them is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.drill_bench import Case, draw_cases, drawn
from halfsplit.bench.session import Session
from halfsplit.faults.dictionary import predict
from halfsplit.faults.how_many import how_many
from halfsplit.faults.hypotheses import PRIOR_NONE, Fault
from halfsplit.faults.predictions import UNCLAIMED
from halfsplit.problems import Problem, ProblemsError

SHOWS = 3.0  # sigmas of tolerance and meter by which a fault must move some reading to be visible


def visible(session: Session, condition: Condition) -> list[bool]:
    """Which of the standard hypotheses move some reading enough in any load of this feed."""
    found = np.zeros(len(session.standard), dtype=bool)
    for load in session.loads_within_reach or session.assembly.loads:
        at = Condition(condition.feed, load)
        table = session.dictionary.get(at, session.progress)
        columns = [table.column(n) for n in session.probe_nets()]
        spread = np.sqrt((table.spread[0][:, columns] ** 2).sum(axis=0))
        level = np.abs(table.mean[0, columns])
        limit = SHOWS * np.hypot(spread, 0.005 * level + 0.02)
        moved = np.abs(table.mean[:, columns] - table.mean[0, columns]) > limit
        found |= moved.any(axis=1) & ~np.isin(table.status, UNCLAIMED)
    return [bool(v) for v in found]


def shown_faults(session: Session, start: Condition) -> frozenset[str]:
    """Names of the faults that show."""
    each = zip(session.standard, visible(session, start), strict=True)
    return frozenset(h.name for h, v in each if v and h.faults)


def prepared(
    session: Session, start: Condition, kinds: Sequence[str], count: int, seed: int
) -> list[Case]:
    """Cases of this machine: faults that show in some load of the feed, drawn by their odds.

    Raises ProblemsError where none shows, as in a machine that is off, or too few for the kinds.
    """
    shown = visible(session, start)
    if not any(v and h.faults for v, h in zip(shown, session.standard, strict=True)):
        feeds = [f for f in session.assembly.feeds if f != "off"]
        wrong = f"no fault shows with the machine {start.words()}, so there is nothing to play"
        write = f"--feed with one of {', '.join(feeds)}"
        raise ProblemsError([Problem("", 0, 0, "drill", wrong, write)])
    parts = {h.parts for v, h in zip(shown, session.standard, strict=True) if v and h.faults}
    if "double" in kinds and len(parts) < 2:
        wrong = "faults of one part alone show here, so there are no two to play"
        raise ProblemsError([Problem("", 0, 0, "drill", wrong, "--kinds single,healthy")])
    follow: dict[str, list[tuple[Fault, float]]] = {}
    if "cascade" in kinds:
        faults = {h.faults[0].name: h.faults[0] for h in session.standard if len(h.faults) == 1}
        seen = shown_faults(session, start)
        for name in seen:
            taken = [
                (faults[f"{t.part} {t.mode}"], t.chance)
                for t in session.taken_along(name, start.feed)
                if f"{t.part} {t.mode}" in faults
            ]
            if taken:
                follow[name] = taken
    return draw_cases(
        session.standard, shown, kinds, count, seed, follow, lambda c: _differs(session, start, c)
    )


def _differs(session: Session, start: Condition, case: Case) -> bool:
    """Whether a specimen reads otherwise than the same one without its fault, in any load."""
    values = [drawn(session.machine, c) for c in (case, Case("healthy", (), case.seed))]
    for load in session.loads_within_reach or session.assembly.loads:
        table = predict(session.machine, Condition(start.feed, load), values, moves=[])
        if int(table.status[0]) in UNCLAIMED:
            return True
        columns = [table.column(n) for n in session.probe_nets()]
        level = np.abs(table.mean[1, columns])
        moved = np.abs(table.mean[0, columns] - table.mean[1, columns])
        if (moved > SHOWS * (0.05 * level + 0.02)).any():
            return True
    return False


def shares(session: Session, shown: frozenset[str]) -> dict[str, float]:
    """What share of machines each kind of case has before any reading, as the odds of their parts
    say; of all of these kinds together, with the faults that are drilled (`shown`). Of a drill that
    plays as many of each, a claim is to be held against cases counted so."""
    single = [h for h in session.standard if h.name in shown]
    by_name = {h.name: h for h in single}
    many = how_many(single)
    whole = PRIOR_NONE / many.none
    raised: dict[frozenset[str], float] = {}
    for h in single:
        for t in session.taken_along(h.name):
            other = by_name.get(f"{t.part} {t.mode}")
            if other is not None:
                more = h.prior * other.prior * (session.boost(h, other.faults[0]) - 1.0)
                pair = frozenset((h.name, other.name))
                raised[pair] = max(raised.get(pair, 0.0), more)
    along = sum(raised.values())
    found = {
        "single": many.one * whole,
        "double": many.two * whole,
        "cascade": along,
        "healthy": PRIOR_NONE,
    }
    return {kind: share / sum(found.values()) for kind, share in found.items()}
