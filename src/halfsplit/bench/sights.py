"""Which pairs, and which sizes of single faults, fit the powered readings at first sight."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.diagnosis.sight import Sight
from halfsplit.faults.hypotheses import Hypothesis, together
from halfsplit.faults.pairs import PairMeans, pair_means, pair_rows, size_means

if TYPE_CHECKING:
    from halfsplit.bench.reasoning import Reasoner


def best_sizes(bench: Reasoner, most: int) -> list[Hypothesis]:
    """Standard faults of other sizes that fit the powered readings best at first sight."""
    score: np.ndarray | None = None
    which: list[tuple[int, float]] = []
    for item in bench.evidence():
        if item.ohmmeter is not None or item.quantity not in ("volts", "ripple"):
            continue
        at = item.condition.as_drawn()
        found = _size_means(bench, at)
        if found is None:
            return []
        which, means = found
        gone = [bool(h.faults) and not h.left(item.condition) for h in bench.standard]
        seen = Sight(bench.dictionary.get(at), item, gone).pairs(means)
        score = seen if score is None else score + seen
    if score is None:
        return []
    prior = np.log(np.array([bench.standard[i].prior for i, _ in which]))
    order = np.argsort(-(score + prior), kind="stable")[:most]
    chosen = [which[int(k)] for k in order]
    return [together([bench.standard[i].faults[0].at(scale)]) for i, scale in chosen]


def _size_means(
    bench: Reasoner, condition: Condition
) -> tuple[list[tuple[int, float]], PairMeans] | None:
    if condition not in bench.size_tables:
        bench.size_tables[condition] = size_means(bench.dictionary, bench.standard, condition)
    return bench.size_tables[condition]


def best_pairs(bench: Reasoner, most: int) -> tuple[list[tuple[Hypothesis, Hypothesis]], int]:
    """Pairs of standard faults that fit the powered readings best at first sight."""
    listed = bench.standard
    prior = np.log(np.array([h.prior for h in listed]))
    first, second = pair_rows(listed, 2)
    score = prior[first] + prior[second]
    alone = np.zeros(len(listed))
    for item in bench.evidence():
        if item.ohmmeter is None:
            at = item.condition.as_drawn()
            gone = [bool(h.faults) and not h.left(item.condition) for h in listed]
            sight = Sight(bench.dictionary.get(at), item, gone)
            score += sight.pairs(_pair_means(bench, at))
            alone += sight.singles()
    order = np.argsort(-score, kind="stable")[:most]
    made = []
    for k in order:
        a, b = int(first[k]), int(second[k])
        raised = bench.boost(listed[a], listed[b].faults[0])
        raised = max(raised, bench.boost(listed[b], listed[a].faults[0]))
        better = a if alone[a] >= alone[b] else b
        made.append((together([*listed[a].faults, *listed[b].faults], raised), listed[better]))
    count = sum(len(h.faults) == 1 for h in listed)
    return made, max(0, count * (count - 1) // 2 - len(first) - _same_part(listed))


def _pair_means(bench: Reasoner, condition: Condition) -> PairMeans:
    if condition not in bench.pair_tables:
        bench.pair_tables[condition] = pair_means(
            bench.dictionary, bench.standard, condition, bench.progress
        )
    return bench.pair_tables[condition]


def _same_part(listed: Sequence[Hypothesis]) -> int:
    """Pairs of single faults of one and the same part, which exclude each other."""
    counts = Counter(h.parts[0] for h in listed if len(h.faults) == 1)
    return sum(n * (n - 1) // 2 for n in counts.values())
