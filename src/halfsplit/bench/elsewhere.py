"""Changes of a powered machine after which a check may tell more than any as it stands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from halfsplit.assembly.condition import Change, Condition
from halfsplit.bench.recall import like_for_like
from halfsplit.diagnosis.next_check import Check

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

LOOK_ELSEWHERE = 0.15  # bits; below this the present condition has little left to say


def tells_enough(checks: Sequence[Check]) -> bool:
    """Whether the best of the checks is worth taking before other conditions are looked at."""
    return bool(checks) and checks[0].bits >= LOOK_ELSEWHERE


def elsewhere(bench: Session) -> Iterator[list[Condition]]:
    """Other loads, other feeds, then a lead lifted or a part replaced: nearer ones first. Each
    other load or feed costs a fault dictionary."""
    here = bench.condition
    if not here.energised():
        return
    loads = [n for n in bench.assembly.loads if n in (bench.loads_within_reach or (n,))]
    yield [replace(here, load=n, extra=()) for n in loads if n != here.load]
    usable = bench.within_reach or bench.assembly.feeds.keys()
    feeds = [n for n in bench.assembly.feeds if n in usable and n not in (here.feed, "off")]
    yield [replace(here, feed=n) for n in feeds]
    yield undone(bench)


def undone(bench: Session) -> list[Condition]:
    """The present condition with one lead of a leading suspect lifted, or it replaced."""
    found = []
    for members in bench.groups()[:2]:
        for ref in bench.hypotheses[members.members[0]].parts[:2]:
            part = bench.assembly.parts[ref]
            if any(c.part == ref for c in bench.condition.changes):
                continue
            first = next(iter(part.terminals()))
            if len(part.terminals()) == 2 and part.lift(first) is not None:
                found.append(bench.condition.with_change(Change(ref, "lifted", first)))
            fitted = bench.condition.with_change(Change(ref, "fitted"))
            found.append(like_for_like(bench.machine.assembly, fitted))
    return found
