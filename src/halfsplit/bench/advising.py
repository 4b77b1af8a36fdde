"""What a machine's readings mean, worked out piece by piece: the next check first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from halfsplit.bench.asking import ask_dict
from halfsplit.bench.report import next_dict, suspects_dict
from halfsplit.bench.session import Session

SUSPECTS = 6  # groups told


@dataclass(frozen=True)
class Advice:
    """What was worked out last.

    Attributes
    ----------
    last: number of the last entry it knew of; None when nothing was worked out yet.
    next: as `halfsplit next --json`. checks: its checks as :func:`ask_dict` tells them.
    suspects: as `halfsplit suspects --json`; of an earlier entry while `suspects_last` says so.
    trouble: why it could not be worked out. stopped: whether somebody stopped it.
    """

    last: int | None = None
    next: dict[str, Any] = field(default_factory=dict)
    checks: tuple[dict[str, Any], ...] = ()
    suspects: dict[str, Any] = field(default_factory=dict)
    suspects_last: int | None = None
    trouble: str = ""
    stopped: bool = False

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
    """The advice, as soon as each piece of it is known."""
    last = session.entries[-1].seq if session.entries else 0
    last = max(last, session.journal.last())
    data = next_dict(session)
    checks = tuple(ask_dict(session, c) for c in data["checks"])
    first = Advice(last, data, checks)
    yield first
    groups = session.suspects(SUSPECTS) if session.evidence() else []
    yield replace(first, suspects=suspects_dict(session, groups), suspects_last=last)
