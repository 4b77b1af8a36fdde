"""Hypotheses that nothing reachable on this bench can tell apart, taken together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.diagnosis.evidence import Meter
from halfsplit.diagnosis.noted import TELLS
from halfsplit.diagnosis.order import heaviest
from halfsplit.diagnosis.posterior import MODEL_FRACTION, MODEL_VOLTS
from halfsplit.faults.dead_table import DeadTable
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.predictions import ADRIFT, UNCLAIMED, Predictions

RARE = 0.01  # of the weight of the first of a group: two shorts for what one open lead explains
SHARPNESS = 3.0  # combined sigmas of meter and model by which two readings must differ


@dataclass(frozen=True)
class Group:
    """Hypotheses (indices) no voltage reading separates, with their joint weight."""

    members: tuple[int, ...]
    weight: float


# Logarithm of likelihood that a further fault must add to count as explaining something.
ADDS = 1.0


def fold(hypotheses: Sequence[Hypothesis], weights: np.ndarray, fits: np.ndarray) -> np.ndarray:
    """Weights with every set whose further faults explain nothing counted for the set without.

    `fits` is the logarithm of likelihood of each hypothesis (H).
    """
    found = weights.copy()
    index = {h.key: i for i, h in enumerate(hypotheses) if h.faults}
    _fold_sizes(hypotheses, fits, found)
    several = [i for i, h in enumerate(hypotheses) if len(h.faults) > 1 and weights[i] > 1e-9]
    for i in sorted(several, key=lambda i: -len(hypotheses[i].faults)):
        key = hypotheses[i].key
        for name in sorted(key):  # no weight may hang on the order of a set
            smaller = index.get(key - {name})
            if smaller is not None and fits[smaller] >= fits[i] - ADDS:
                found[smaller] += found[i]
                found[i] = 0.0
                break
    _fold_sizes(hypotheses, fits, found)  # what was folded may have gone to any size
    return found


def _fold_sizes(hypotheses: Sequence[Hypothesis], fits: np.ndarray, found: np.ndarray) -> None:
    """Count one set of faults in several sizes as one suspect: the usual one, unless another fits
    better by what counts as explaining something."""
    sizes: dict[frozenset[str], list[int]] = {}
    for i, h in enumerate(hypotheses):
        if h.faults:
            sizes.setdefault(h.plain, []).append(i)
    for same in sizes.values():
        best = max(same, key=lambda i: float(fits[i]) + (0.0 if hypotheses[i].sized else ADDS))
        total = float(found[same].sum())
        found[same] = 0.0
        found[best] = total


def as_told(group: Group, fits: np.ndarray) -> list[int]:
    """Members of a group, no fault first where nothing entered speaks for another of them, however
    much heavier by its odds; `fits` (H) as of :func:`halfsplit.diagnosis.search.fit`."""
    found = list(group.members)
    if 0 in found and fits[0] > fits[found].max() - np.log(TELLS):
        found.sort(key=bool)
    return found


# A table, what its meter shows (H) and one sigma of that [ohm or V].
Dead = tuple[DeadTable, np.ndarray, np.ndarray]


def apart(
    tables: Sequence[Predictions],
    nets: Sequence[str],
    a: int,
    b: int,
    dead: Sequence[Dead] = (),
) -> bool:
    """Whether any reading of `nets` in any of the conditions separates two hypotheses."""
    if any(_dead_apart(one, a, b) for one in dead):
        return True
    meter = Meter()
    for table in tables:
        if {int(table.status[a]), int(table.status[b])} & set(UNCLAIMED):
            return True  # no claim of sameness about a case that was not solved
        for net in nets:
            i = table.column(net)
            if max(table.ohms[a, i], table.ohms[b, i]) > ADRIFT:
                if (table.ohms[a, i] > ADRIFT) != (table.ohms[b, i] > ADRIFT):
                    return True
                continue
            u, v = table.mean[a, i], table.mean[b, i]
            level = max(abs(u), abs(v))
            limit = np.hypot(meter.sigma(level, 0.01), MODEL_FRACTION * level + MODEL_VOLTS)
            if abs(u - v) > SHARPNESS * limit:
                return True
            s, t = table.ripple[a, i], table.ripple[b, i]
            if abs(s - t) > 0.5 * max(s, t) + 0.02:
                return True
    return False


def _dead_apart(one: Dead, a: int, b: int) -> bool:
    table, shown, sigma = one
    if not (table.ok[a] and table.ok[b]):
        return True
    if table.over[a] and table.over[b]:
        return False
    return bool(abs(shown[a] - shown[b]) > SHARPNESS * np.hypot(sigma[a], sigma[b]))


def group(
    weights: np.ndarray,
    tables: Sequence[Predictions],
    nets: Sequence[str],
    most: int = 40,
    dead: Sequence[Dead] = (),
    sizes: Sequence[int] | None = None,
) -> list[Group]:
    """Group the heaviest hypotheses; groups are ordered by joint weight.

    With `sizes`, the number of faults of each (H), a set that only says in more faults what the
    first of its group says, and is RARE beside it, counts and is not named.
    """
    order = [int(i) for i in heaviest(weights)[:most] if weights[i] > 1e-6]
    groups: list[list[int]] = []
    weight: list[float] = []
    for i in order:
        for at, members in enumerate(groups):
            first = members[0]
            if not apart(tables, nets, first, i, dead):
                larger = sizes is not None and sizes[i] > sizes[first]
                if not larger or weights[i] > RARE * weights[first]:
                    members.append(i)
                weight[at] += float(weights[i])
                break
        else:
            groups.append([i])
            weight.append(float(weights[i]))
    made = [Group(tuple(g), w) for g, w in zip(groups, weight, strict=True)]
    return sorted(made, key=lambda g: -g.weight)
