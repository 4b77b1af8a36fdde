"""Which of the checks that could be made comes first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from halfsplit.diagnosis.next_check import TOUCH_VOLTS, Check

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

LOOK_ELSEWHERE = 0.15  # bits; below this the present condition has little left to say
WORTHLESS = 0.03  # bits below which a check is not worth walking to the bench for


def tells_enough(checks: Sequence[Check]) -> bool:
    """Whether any of the checks is worth taking before other conditions are looked at."""
    return any(c.bits >= LOOK_ELSEWHERE for c in checks)


def best(checks: Sequence[Check], waiting: Sequence[Check] = ()) -> list[Check]:
    """Best bits a minute first; those that tell next to nothing after all that tell something, and
    those `waiting` after all others until none of the others tells much.

    A harmless check that tells as much comes before a first one above the touch limit, however
    long it takes; not where a part has to be worked on for it, which is no less of a risk.
    """
    behind = {id(c) for c in waiting}
    if not tells_enough([c for c in checks if id(c) not in behind]):
        behind.clear()
    found = sorted(checks, key=lambda c: (c.bits < WORTHLESS, id(c) in behind, -c.score))
    if found and found[0].top_volts > TOUCH_VOLTS:
        lead, done = found[0], found[0].candidate.condition.changes
        tame = [c for c in found if c.top_volts <= TOUCH_VOLTS and c.bits >= lead.bits]
        tame = [c for c in tame if c.candidate.condition.changes == done]
        found = [*tame[:1], *(c for c in found if c is not tame[0])] if tame else found
    return found


def behind_the_feed(bench: Session, checks: Sequence[Check]) -> list[Check]:
    """Those of the checks that tell of the mains side alone, where the feed used last goes past it:
    no fault in there shows on that feed."""
    feed = bench.assembly.feeds.get(bench.fed)
    if feed is None or feed.mains or bench.fed == "off":
        return []
    mains, parts, common = bench.machine.mains_nets(), bench.assembly.parts, bench.assembly.common
    found = []
    for check in checks:
        asked = check.candidate
        nets = {asked.net, asked.black or common}
        if asked.quantity == "look":
            nets = set(parts[asked.net].terminals().values())
        if nets <= mains:
            found.append(check)
    return found


def of_what_is_fed(bench: Session, checks: Sequence[Check]) -> list[Check]:
    """The others."""
    behind = {id(c) for c in behind_the_feed(bench, checks)}
    return [c for c in checks if id(c) not in behind]
