"""Changes of a powered machine after which a check may tell more than any as it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from halfsplit.assembly.condition import Change, Condition
from halfsplit.bench.recall import like_for_like
from halfsplit.diagnosis.groups import Group
from halfsplit.faults.mains_beat import keeps_time

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

# Weight of "no fault" from which nothing is lifted or replaced for the sake of the rest.
SOUND = 0.9


def elsewhere(bench: Session) -> Iterator[list[Condition]]:
    """Other loads, other feeds, off, then a lead lifted or a part replaced: nearer ones first. Each
    other load or feed costs a fault dictionary. Of a machine that is off, how it was powered last,
    where what leads is out of it by now: the first time, power is for the bench to say."""
    here = bench.condition
    if not here.energised():
        before = bench.powered
        lead = bench.hypotheses[bench.groups()[0].members[0]]
        if before is not None and not lead.left(here):
            yield [replace(before, changes=here.changes, switches=here.switches, warm=None)]
        return
    loads = [n for n in bench.assembly.loads if n in (bench.loads_within_reach or (n,))]
    yield [replace(here, load=n, extra=()) for n in loads if n != here.load]
    usable = bench.within_reach or bench.assembly.feeds.keys()
    feeds = [n for n in bench.assembly.feeds if n in usable and n not in (here.feed, "off")]
    yield [replace(here, feed=n, mains=None, lamp=None) for n in feeds]
    yield [replace(here, feed="off", load="none", extra=(), warm=None, mains=None, lamp=None)]
    yield undone(bench)


def undone(bench: Session) -> list[Condition]:
    """The present condition with one lead of a leading suspect lifted, or it replaced; none of a
    machine that is sound by all its readings, which every lead lifted can only harm.

    Nor is a circuit that keeps time run with a lead lifted: its peaks rise without the part, and
    whether it then trips, or burns, hangs on how near its limits this specimen was.
    """
    found: list[Condition] = []
    leading = bench.groups()[:2]
    if leading and leading[0].weight >= SOUND and not _blames(bench, leading[0]):
        return found
    beats = keeps_time(bench.machine, bench.condition)
    for members in leading:
        for ref in bench.hypotheses[members.members[0]].parts[:2]:
            part = bench.assembly.parts[ref]
            if any(c.part == ref for c in bench.condition.changes):
                continue
            first = next(iter(part.terminals()))
            if not beats and len(part.terminals()) == 2 and part.lift(first) is not None:
                found.append(bench.condition.with_change(Change(ref, "lifted", first)))
            fitted = bench.condition.with_change(Change(ref, "fitted"))
            found.append(like_for_like(bench.machine.assembly, fitted))
    return list(dict.fromkeys(found))  # both leading groups may blame one part


def _blames(bench: Session, group: Group) -> bool:
    """Whether the first of a group is a fault at all."""
    return bool(bench.hypotheses[group.members[0]].faults)
