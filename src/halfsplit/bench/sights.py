"""Which pairs fit the readings at first sight, and which sizes of single faults."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.diagnosis.evidence import Evidence
from halfsplit.diagnosis.posterior import Belief, span_of
from halfsplit.diagnosis.search import fit
from halfsplit.diagnosis.sight import Sight
from halfsplit.faults.dead_table import DeadTable
from halfsplit.faults.hypotheses import Hypothesis, together
from halfsplit.faults.pairs import PairMeans, pair_means, pair_rows, size_means

# Quantities a first sight can be had of.
SEEN = ("volts", "ripple")
# Logarithm of weight by which a pair may trail at first sight and still be solved: that sight knows
# nothing of what readings have in common, and takes sizes as straight.
FAR = 16.0
# Sizes of one fault that are looked at; sizes of all that a reading of the dead machine is held
# against, those of the likeliest faults; and the logarithm of ohms by which a fault moves such a
# reading at least.
OF_ONE, MOST_SIZES, MOVED = 4, 400, 0.05

if TYPE_CHECKING:
    from halfsplit.bench.reasoning import Reasoner


class Pairing:
    """Pairs of standard faults, and what was solved of them, of sizes too, by condition."""

    def __init__(self, standard: Sequence[Hypothesis]) -> None:
        self.rows = pair_rows(standard, 2)
        prior, (first, second) = np.array([h.prior for h in standard]), self.rows
        self.likeliest = float((prior[first] * prior[second]).max(initial=0.0))
        self.means: dict[Condition, PairMeans] = {}
        self.sizes: dict[Condition, tuple[list[tuple[int, float]], PairMeans] | None] = {}
        self.dead_sizes: dict[Evidence, DeadSizes] = {}
        self._raised: dict[str, np.ndarray] = {}

    def raised(self, bench: Reasoner) -> np.ndarray:
        """By how much the odds of each pair rise because one of the two takes the other along
        in a machine run on the feed now used."""
        if bench.fed not in self._raised:
            listed, (first, second) = bench.standard, self.rows
            found = np.ones(len(first))
            by_part: dict[str, list[int]] = {}
            for i, h in enumerate(listed):
                if len(h.faults) == 1:
                    by_part.setdefault(h.parts[0], []).append(i)
            at = {(int(a), int(b)): k for k, (a, b) in enumerate(zip(first, second, strict=True))}
            for i, h in enumerate(listed):
                taken = bench.taken_along(h.name) if len(h.faults) == 1 else []
                for j in {j for t in taken for j in by_part.get(t.part, ())}:
                    k = at.get((min(i, j), max(i, j)))
                    if k is not None:
                        found[k] = max(found[k], bench.boost(h, listed[j].faults[0]))
            self._raised[bench.fed] = found
        return self._raised[bench.fed]


def best_sizes(bench: Reasoner, most: int) -> list[Hypothesis]:
    """Standard faults of other sizes that fit the readings best at first sight, few of each."""
    read = bench.evidence()
    powered = [e for e in read if e.ohmmeter is None and e.quantity in SEEN]
    score: dict[tuple[int, float], float] = {}
    for item in powered:
        at = item.condition.as_drawn()
        found = _size_means(bench, at)
        if found is None:
            return []
        gone = [bool(h.faults) and not h.left(item.condition) for h in bench.standard]
        seen = Sight(bench.dictionary.get(at), item, gone).sizes(*found)
        score = {k: score.get(k, 0.0) + float(s) for k, s in zip(found[0], seen, strict=True)}
    dead = [_dead_sizes(bench, e) for e in read if e.ohmmeter is not None]
    if not powered:
        score = dict.fromkeys((k for d in dead for k in d.sized), 0.0)
    for told in dead:
        score = {k: s + told.sized.get(k, told.usual[k[0]]) for k, s in score.items()}
    ranked = sorted(score, key=lambda k: -score[k] - math.log(bench.standard[k[0]].prior))
    chosen, of_one = [], Counter[int]()
    for row, scale in ranked:
        of_one[row] += 1
        if of_one[row] <= OF_ONE:
            chosen.append(together([bench.standard[row].faults[0].at(scale)]))
    return chosen[:most]


@dataclass(frozen=True)
class DeadSizes:
    """First sight of a reading of the dead machine, as logarithms of likelihood.

    Attributes
    ----------
    usual: under each standard hypothesis (H), as it is.
    sized: under single faults, by row and size, that this reading may tell the size of.
    """

    usual: np.ndarray
    sized: dict[tuple[int, float], float]


def _dead_sizes(bench: Reasoner, item: Evidence) -> DeadSizes:
    """What a reading of the dead machine says of the sizes of faults that move it.

    The reading goes one way as a fault grows, so only those are looked at that move it the way it
    is off, be it too far or not far enough.
    """
    if item not in bench.pairing.dead_sizes:
        listed = bench.standard
        table = bench.lookup(item, listed)
        assert isinstance(table, DeadTable)
        _, usual = _dead_sight(bench, item)
        read = min(item.scaled, table.top)
        x = np.where(table.over, table.top, table.x)
        moved, off = x - x[0], read - x[0]
        likely = sorted(range(len(listed)), key=lambda i: -listed[i].prior)
        asked = [
            (i, scale)
            for i in likely
            if listed[i].faults and moved[i] * off > 0.0 and abs(moved[i]) > MOVED
            for scale in listed[i].faults[0].scales
        ][:MOST_SIZES]
        made = [*listed[:2], *(together([listed[i].faults[0].at(s)]) for i, s in asked)]
        belief = Belief([h.prior for h in made], len(bench.book.moves), 0, 1)
        shown = bench.lookup(item, made)
        belief.learn(shown, item, span_of(shown, item.quantity))
        found = fit(belief)[2:]
        sized = {k: float(s) for k, s in zip(asked, found, strict=True)}
        bench.pairing.dead_sizes[item] = DeadSizes(usual, sized)
    return bench.pairing.dead_sizes[item]


def _size_means(
    bench: Reasoner, condition: Condition
) -> tuple[list[tuple[int, float]], PairMeans] | None:
    if condition not in bench.pairing.sizes:
        bench.pairing.sizes[condition] = size_means(bench.dictionary, bench.standard, condition)
    return bench.pairing.sizes[condition]


def best_pairs(bench: Reasoner, most: int) -> tuple[list[tuple[Hypothesis, Hypothesis]], int]:
    """Pairs of standard faults that fit the readings best at first sight."""
    listed = bench.standard
    prior = np.log(np.array([h.prior for h in listed]))
    first, second = bench.pairing.rows
    score = prior[first] + prior[second]
    alone = np.zeros(len(listed))
    for item in bench.evidence():
        if item not in bench.seen:
            if item.ohmmeter is not None:
                bench.seen[item] = _dead_sight(bench, item)
            elif item.quantity in SEEN:
                at = item.condition.as_drawn()
                gone = [bool(h.faults) and not h.left(item.condition) for h in listed]
                sight = Sight(bench.dictionary.get(at), item, gone)
                bench.seen[item] = (sight.pairs(_pair_means(bench, at)), sight.singles())
        if item in bench.seen:
            pairs, singles = bench.seen[item]
            score = score + pairs
            alone += singles
    raised = bench.pairing.raised(bench)
    score = score + np.log(raised)
    top = max(float(score.max(initial=-np.inf)), float((alone + prior).max()))
    order = np.argsort(-score, kind="stable")
    # One that takes another along is what a first sight knows least of: it is solved in any case.
    near = np.zeros(len(score), dtype=bool)
    near[order[:most]] = True
    near &= score > top - FAR
    made = []
    for k in order[(near | (raised > 1.0))[order]]:
        a, b = int(first[k]), int(second[k])
        better = a if alone[a] >= alone[b] else b
        made.append(
            (together([*listed[a].faults, *listed[b].faults], float(raised[k])), listed[better])
        )
    count = sum(len(h.faults) == 1 for h in listed)
    return made, max(0, count * (count - 1) // 2 - len(first) - _same_part(listed))


def _dead_sight(bench: Reasoner, item: Evidence) -> tuple[np.ndarray, np.ndarray]:
    """Of a reading of the dead machine: every pair as whichever of the two explains it better, and
    every single fault; as logarithms of likelihood."""
    listed, (first, second) = bench.standard, bench.pairing.rows
    belief = Belief([h.prior for h in listed], len(bench.book.moves), 0, 1)
    table = bench.lookup(item, listed)
    belief.learn(table, item, span_of(table, item.quantity))
    alone = fit(belief)
    return np.maximum(alone[first], alone[second]), alone


def _pair_means(bench: Reasoner, condition: Condition) -> PairMeans:
    if condition not in bench.pairing.means:
        bench.pairing.means[condition] = pair_means(
            bench.dictionary, bench.standard, condition, bench.progress
        )
    return bench.pairing.means[condition]


def _same_part(listed: Sequence[Hypothesis]) -> int:
    """Pairs of single faults of one and the same part, which exclude each other."""
    counts = Counter(h.parts[0] for h in listed if len(h.faults) == 1)
    return sum(n * (n - 1) // 2 for n in counts.values())
