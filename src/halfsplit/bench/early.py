"""A first check while what the faults would read is still being worked out.

On a machine never worked out before, or in a condition never met, the best check is minutes away.
Until then there is one that is right though perhaps not the best: the rails in the order of the
file, then its points, each not read yet as the machine stands. What a healthy one reads there is
known at once from the limits in the file, and a moment later from the healthy circuit alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from halfsplit.assembly.condition import Condition
from halfsplit.bench.asking import ask_dict
from halfsplit.bench.blocks import by_blocks
from halfsplit.bench.choosing import tells_enough
from halfsplit.bench.elsewhere import elsewhere
from halfsplit.bench.hazards import highest_volts
from halfsplit.bench.noting import Noter
from halfsplit.bench.report import blank_next, check_dict
from halfsplit.bench.session import Session
from halfsplit.bench.words import healthy_words
from halfsplit.circuit import compiled
from halfsplit.diagnosis.next_check import AT_DEAD, AT_POINT, Candidate, Check, rank
from halfsplit.diagnosis.posterior import Belief
from halfsplit.faults.dead_table import dead_tables
from halfsplit.faults.dictionary import predict
from halfsplit.faults.ohmmeter import Ohmmeter, ohmmeters

BY_LIMITS = "The limits are the file's; what this circuit gives as it stands follows"
BY_HEALTHY = "A first check by the healthy circuit alone: right, though perhaps not the best"
NEAR = "The best as the machine stands; other loads and feeds are still being looked through"
FOLLOWS = "Which reading comes first as the machine stands is being worked out"
ALL_READ = "Every rail and point was read as the machine stands; the best next one follows"
WHY = "the rails come first, as the file has them, until it is known which reading tells most"
AS_IT_SHOULD = "as it should be: what feeds and holds it works as it stands"
WRONG = "something that feeds, holds or loads it is wrong; the suspects follow"
NOT_KNOWN = "not yet"  # in place of a chance

Told = tuple[str, dict[str, Any], tuple[dict[str, Any], ...]]  # words, as `next`, its checks


def at_hand(bench: Session) -> bool:
    """Whether the best check is a moment away: nothing to compile, no fault to follow or solve."""
    if not compiled() or (bench.machine.self_oscillating and bench.evidence()):
        return False
    read = [e.condition for e in bench.evidence() if e.ohmmeter is None]
    if not bench.condition.energised():
        pairs, meter = dead_pairs(bench), _ohmmeter(bench)
        if pairs and not bench.dead.kept(pairs, bench.condition, meter):
            return False
    elif bench.condition not in read:
        read.append(bench.condition)
    return all(bench.dictionary.kept(c.as_drawn()) for c in read)


def near_is_early(bench: Session, near: list[Check]) -> bool:
    """Whether conditions nobody has solved yet would be looked through before the best is known."""
    if tells_enough(near[:1]):
        return False
    return any(
        not bench.dictionary.kept(c.as_drawn())
        for further in elsewhere(bench)
        for c in further
        if c.energised()
    )


def early(bench: Session) -> Iterator[Told]:
    """First checks, in order, as soon as each way of knowing what a healthy machine reads has an
    answer.

    Nothing of it is weighed against any fault, so none of it changes the suspects.
    """
    yield meanwhile(bench)
    if not bench.condition.energised():
        pairs = dead_pairs(bench)
        found = by_dead(bench, pairs) if pairs else []
    else:
        nets = unread(bench)
        found = by_healthy(bench, nets) if nets else []
    if found:
        yield _told(bench, BY_HEALTHY, found)


def meanwhile(bench: Noter, before: Told | None = None) -> Told:
    """First checks without solving anything: those told `before` in this very condition that were
    not taken yet, else the rails by the limits in the file."""
    powered = bench.condition.energised()
    nets = unread(bench) if powered else [red for red, _ in dead_pairs(bench)]
    if not nets:
        return ALL_READ, blank_next(bench), ()
    if before is not None:
        words, data, checks = before
        left = tuple(c for c in checks if c["net"] in nets)
        items = [c for c in data["checks"] if c["net"] in nets]
        if left:
            return words, blank_next(bench) | {"checks": items}, left
    limits = by_limits(bench, nets) if powered else []
    return _told(bench, BY_LIMITS, limits) if limits else (FOLLOWS, blank_next(bench), ())


def unread(bench: Noter) -> list[str]:
    """Nets of the rails, then of the points, whose direct volts to common were not read as the
    machine stands."""
    here = bench.condition
    done = {e.pos for e in bench.evidence() if e.condition == here and not e.neg}
    done |= {bench.assembly.common, *bench.machine.mains_nets()}
    done |= bench.machine.alternating_nets()
    nets = [r.net for r in bench.assembly.rails.values()]
    nets += [p.net for p in bench.assembly.points.values()]
    return [n for n in dict.fromkeys(nets) if n not in done]


def dead_pairs(bench: Noter) -> list[tuple[str, str]]:
    """Each rail to common, not read yet on the dead machine as it stands; none of blocks, which
    say nothing of resistances."""
    common, here = bench.assembly.common, bench.condition
    if by_blocks(bench.assembly):
        return []
    done = {e.pos for e in bench.evidence() if e.ohmmeter and e.condition == here}
    nets = dict.fromkeys(r.net for r in bench.assembly.rails.values())
    return [(n, common) for n in nets if n not in done | {common}]


def _ohmmeter(bench: Noter) -> Ohmmeter:
    used = [e.ohmmeter for e in bench.evidence() if e.ohmmeter]
    return used[-1] or ohmmeters()["auto"] if used else ohmmeters()["auto"]


def by_limits(bench: Noter, nets: list[str]) -> list[Check]:
    """Readings of rails by the limits in the file; none for a machine that stands otherwise than
    it should work, of which those say nothing."""
    now = bench.condition
    if now != Condition(now.feed, now.load, ambient=now.ambient):
        return []
    known = {r.net: (r.limits.low, r.limits.high) for r in bench.assembly.rails.values()}
    return [
        _check(bench, Candidate(n, "volts", now, AT_POINT), (min(known[n]), max(known[n])))
        for n in nets
        if n in known
    ]


def by_healthy(bench: Session, nets: list[str]) -> list[Check]:
    """Readings of those of these nets that something holds, by the healthy circuit alone, each
    with the band its tolerances allow; none when that could not be solved."""
    now, two = bench.condition, bench.standard[:2]
    if bench.dictionary.kept(now.as_drawn()) and compiled():
        table = bench.book.table(now, two, bench.progress)
    else:
        laid = [h.laid(now) for h in two]
        table = predict(bench.machine, now.as_drawn(), laid, moves=bench.book.moves)
    asked = [Candidate(n, "volts", now, AT_POINT) for n in nets]
    found = {c.candidate.net: c for c in rank(_even(bench), {now: table}, asked, bench.meter)}
    held = [found[n] for n in nets if found[n].healthy is not None]
    return [_check(bench, c.candidate, c.healthy) for c in held]


def by_dead(bench: Session, pairs: list[tuple[str, str]]) -> list[Check]:
    """What an ohmmeter shows between these nets of the healthy machine, off."""
    now, meter = bench.condition, _ohmmeter(bench)
    at, moves = replace(now, feed="off").as_drawn(), bench.dead.moves
    tables = dead_tables(bench.dead.circuit, pairs, at, meter, [({}, {}), ({}, {})], moves)
    minutes = AT_POINT + AT_DEAD
    asked = [Candidate(red, meter.test, now, minutes, black, meter) for red, black in pairs]
    found = {c.candidate.net: c for c in rank(_even(bench), tables, asked, bench.meter)}
    return [replace(found[red], tell=lambda: ()) for red, _ in pairs if found[red].healthy]


def _even(bench: Session) -> Belief:
    """Belief over "no fault" and "not in this model" alone."""
    return Belief([0.5, 0.5], len(bench.book.moves), 0, 1)


def _check(bench: Noter, candidate: Candidate, healthy: tuple[float, float] | None) -> Check:
    """A check of which only the healthy reading is known. What a fault may put there is not, so
    caution goes by the most anything behind the mains is meant to supply."""
    top = highest_volts(bench.machine, mains=False)
    return Check(candidate, 0.0, lambda: (), lambda: healthy, top)


def _told(bench: Noter, words: str, checks: list[Check]) -> Told:
    items = [check_dict(bench, check, ()) for check in checks]
    asked = [
        ask_dict(bench, item)
        | {
            "range": "",  # what a fault may put there is not known yet
            "why": WHY,
            "outcomes": [
                {"reads": healthy_words(item), "chance": NOT_KNOWN, "means": AS_IT_SHOULD},
                {"reads": "anything else", "chance": NOT_KNOWN, "means": WRONG},
            ],
        }
        for item in items
    ]
    return words, blank_next(bench) | {"checks": items}, tuple(asked)
