"""From what a memory test printed to ranked causes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import lgamma, log

import numpy as np

from halfsplit.boards.memory_causes import STRAY, Hypothesis, hypotheses
from halfsplit.boards.memory_log import Log, Run
from halfsplit.boards.memory_seen import Floats, Seen, seen
from halfsplit.boards.organisation import Memory

# Leftover failures are ranked again for a second fault when they are at least this many and this
# share of all: fewer are more likely strays.
LEFT_LEAST, LEFT_SHARE = 2, 0.03


@dataclass(frozen=True)
class Cause:
    """One thing to blame.

    Attributes
    ----------
    key: ``("chip", bank, bit)``, ``("data", bit)``, ``("buffer", name)``, ``("bank", bank)``,
        ``("common",)``, ``("counter", bit)``, ``("refresh",)``, ``("line", k)``,
        ``("lines", "k-l")``, ``("bank bit", b)`` or ``("none",)``.
    share: weight among all causes, 0 to 1. form: the likeliest way it fails, such as ``row``.
    row, column: of the likeliest way, or None. explains: failures it accounts for, of `of`.
    """

    key: tuple[str, ...]
    share: float
    form: str
    row: int | None
    column: int | None
    explains: int
    of: int


@dataclass(frozen=True)
class Ranking:
    """Causes, likeliest first; and of the failures the first leaves over, a ranking of their own.

    `outside`: failing addresses that lie outside the range tested, left out. `clear`: the tests
    found nothing at all.
    """

    causes: tuple[Cause, ...]
    second: tuple[Cause, ...]
    outside: tuple[int, ...]
    clear: bool


def rank(memory: Memory, printed: Log, first: int, last: int, *, swapped: bool = False) -> Ranking:
    """Weigh every cause against every run of `printed`.

    `first`, `last`: addresses the board answers to; a range printed in the log narrows them.
    """
    low = max(first, printed.first) if printed.first is not None else first
    high = min(last, printed.last) if printed.last is not None else last
    outside = sorted({a for r in printed.runs for a, _, _ in r.fails if not low <= a <= high})
    runs = [_inside(r, low, high) for r in printed.runs]
    if not runs or all(r.passed for r in runs):
        return Ranking((), (), tuple(outside), bool(runs))
    items = [seen(memory, r, low, high, swapped) for r in runs]
    tried = hypotheses(memory, items, low, high)
    causes = _weigh(tried, items)
    best = _best(tried, items, causes[0].key)
    rest = [_left(best, seen(memory, r, low, high, swapped, len(r.fails))) for r in runs]
    count = sum(len(r.fails) for r in rest)
    total = sum(len(r.fails) for r in runs)
    second: tuple[Cause, ...] = ()
    if count >= LEFT_LEAST and count >= LEFT_SHARE * total and causes[0].key != ("none",):
        left = [seen(memory, r, low, high, swapped) for r in rest if r.fails]
        second = tuple(_weigh(hypotheses(memory, left, low, high), left))
    return Ranking(tuple(causes), second, tuple(outside), False)


def _inside(run: Run, low: int, high: int) -> Run:
    fails = tuple(f for f in run.fails if low <= f[0] <= high)
    return Run(run.kind, fails, run.pairs, run.cut, run.warm)


def _log_chance(one: Hypothesis, s: Seen) -> float:
    """Logarithm of the chance of a run under one hypothesis."""
    chance = one.shown(s.run)
    if s.run.passed:
        return log(1.0 - chance)
    found = log(chance)
    if s.a.size:
        read = one.read(s)
        size = one.size(s)
        stray = STRAY * s.stray()
        mine = (1 - STRAY) * read > stray * max(size, 1)
        count = min(s.counted(mine), max(size, 1))
        where = _density(count, size, one.dense) - _ways(size, count)
        # Failures beyond those kept would only repeat them, and no formula is that exact.
        found += float(np.log(np.where(mine, (1 - STRAY) * read, stray)).sum()) + where / s.scale
    for _, across in s.run.pairs:
        found += log((1 - STRAY) * one.pair(across) + STRAY * 0.5**16)
    return found


def _ways(size: int, count: int) -> float:
    """Logarithm of the ways to choose `count` of `size`."""
    return lgamma(size + 1) - lgamma(count + 1) - lgamma(max(size - count, 0) + 1)


def _density(count: int, size: int, dense: tuple[float, float, float]) -> float:
    """Logarithm of the chance that `count` of the addresses a fault can spoil do fail."""
    a, b, broad = dense
    if not count:
        return log(broad / 2)
    left = max(size - count, 0)
    law = _ways(size, count) + lgamma(count + a) + lgamma(left + b) - lgamma(size + a + b)
    law += lgamma(a + b) - lgamma(a) - lgamma(b)
    return float(np.logaddexp(log(1 - broad) + law, log(broad / count / (1 + log(max(size, 1))))))


def _weigh(tried: Sequence[Hypothesis], items: Sequence[Seen]) -> list[Cause]:
    logs = np.array([np.log(h.prior) + sum(_log_chance(h, s) for s in items) for h in tried])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    groups: dict[tuple[str, ...], list[int]] = {}
    for k, one in enumerate(tried):
        groups.setdefault(one.cause, []).append(k)
    total = sum(s.a.size for s in items)
    causes = []
    for key, members in groups.items():
        share = float(weights[members].sum())
        if share < 1e-4 and len(groups) > 1:
            continue
        form = _forms(tried, weights, members)
        top = tried[max((k for k in members if tried[k].form == form), key=lambda k: weights[k])]
        covered = sum(int(_covers(top, s).sum()) for s in items)
        causes.append(
            Cause(
                key,
                share,
                form,
                getattr(top, "row", None),
                getattr(top, "column", None),
                covered,
                total,
            )
        )
    return sorted(causes, key=lambda c: -c.share)


def _forms(tried: Sequence[Hypothesis], weights: Floats, members: Sequence[int]) -> str:
    """The way of failing that carries most weight within one cause."""
    found: dict[str, float] = {}
    for k in members:
        found[tried[k].form] = found.get(tried[k].form, 0.0) + float(weights[k])
    return max(found, key=lambda f: found[f])


def _covers(one: Hypothesis, s: Seen) -> Floats:
    """Failures a hypothesis explains better than chance does."""
    return ((1 - STRAY) * one.read(s) > STRAY * s.stray() * max(one.size(s), 1)).astype(float)


def _best(tried: Sequence[Hypothesis], items: Sequence[Seen], key: tuple[str, ...]) -> Hypothesis:
    mine = [h for h in tried if h.cause == key]
    return max(mine, key=lambda h: np.log(h.prior) + sum(_log_chance(h, s) for s in items))


def _left(one: Hypothesis, s: Seen) -> Run:
    """The failures of a run that a hypothesis does not explain."""
    kept = ~_covers(one, s).astype(bool)
    fails = tuple(f for f, k in zip(s.run.fails, kept, strict=True) if k)
    return Run(s.run.kind, fails, (), s.run.cut, s.run.warm)


def address_first(printed: Log) -> str:
    """Why an address test comes first, when none was run; else ""."""
    if any(r.kind == "address" for r in printed.runs):
        return ""
    return (
        "Run an address test first (each word its own address, then the complement; write all, "
        "then read all). With an address line dead, a data test reads another word than it wrote, "
        "and its prints then point at chips that are good."
    )
