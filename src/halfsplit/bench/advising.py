"""What a machine's readings mean, worked out piece by piece: the next check first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from halfsplit.bench.asking import ask_dict
from halfsplit.bench.early import NEAR, at_hand, early, near_is_early
from halfsplit.bench.report import next_dict, suspects_dict
from halfsplit.bench.session import Session
from halfsplit.diagnosis.next_check import Check

SUSPECTS = 6  # groups told
MOST = 3  # checks told


@dataclass(frozen=True)
class Advice:
    """What was worked out last.

    Attributes
    ----------
    last: number of the last entry it knew of; None when nothing was worked out yet.
    next: as `halfsplit next --json`. checks: its checks as :func:`ask_dict` tells them.
    suspects: as `halfsplit suspects --json`; of an earlier entry while `suspects_last` says so.
    trouble: why it could not be worked out. stopped: whether somebody stopped it.
    early: of a check told before the best one is known, what it goes by; "" for the best one.
    """

    last: int | None = None
    next: dict[str, Any] = field(default_factory=dict)
    checks: tuple[dict[str, Any], ...] = ()
    suspects: dict[str, Any] = field(default_factory=dict)
    suspects_last: int | None = None
    trouble: str = ""
    stopped: bool = False
    early: str = ""

    def headline(self) -> str:
        """The next thing to do in one line, for a list of machines."""
        act, data = self.next.get("act"), self.next
        if act:
            return f"act: {' or '.join(act['group'][:3])}"
        if data.get("mended") and data["mended"]["all_explained"]:
            return "mended: prove it at every load"
        if data.get("nothing_left"):
            return str(data["nothing_left"])
        return str(self.checks[0]["title"]) if self.checks else ""

    def state(self) -> str:
        """``decided``, ``mended``, ``at work``."""
        mended = self.next.get("mended")
        if mended and mended["readings_since"] and mended["all_explained"]:
            return "mended"
        return "decided" if self.next.get("act") else "at work"


def advise(session: Session) -> Iterator[Advice]:
    """The advice, as soon as each piece of it is known: a first check that is right while the best
    one is minutes away, the best one, the suspects."""
    last = session.entries[-1].seq if session.entries else 0
    last = max(last, session.journal.last())
    if not at_hand(session):
        for words, data, checks in early(session):
            yield Advice(last, data, checks, early=words)
    near = session.near_checks()
    if near_is_early(session, near):
        yield _advice(session, last, near[:MOST], NEAR)
    first = _advice(session, last, session.next_checks(MOST, near))
    yield first
    groups = session.suspects(SUSPECTS) if session.anything_weighs() else []
    yield replace(first, suspects=suspects_dict(session, groups), suspects_last=last)


def _advice(session: Session, last: int, found: Sequence[Check], words: str = "") -> Advice:
    data = next_dict(session, found)
    checks = tuple(ask_dict(session, c) for c in data["checks"])
    return Advice(last, data, checks, early=words)
