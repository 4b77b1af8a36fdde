"""How many faults a machine is taken to have before anything is read, as the odds of parts say."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from halfsplit.faults.hypotheses import PRIOR_NONE, PRIOR_UNMODELLED, Hypothesis

MOST = 4  # faults of the largest set the search grows to


class HowMany(NamedTuple):
    """Shares of machines before any reading, summing to 1."""

    none: float
    one: float
    two: float
    more: float
    unmodelled: float


def how_many(listed: Sequence[Hypothesis]) -> HowMany:
    """Shares that follow from single faults among `listed`, parts failing each by itself; what one
    fault takes along comes on top."""
    odds: dict[str, float] = {}
    for h in listed:
        if len(h.faults) == 1:
            odds[h.faults[0].part] = odds.get(h.faults[0].part, 0.0) + h.faults[0].odds
    # Products of so many different parts, summed: coefficients of the product of (1 + odds x).
    sums = np.zeros(MOST + 1)
    sums[0] = 1.0
    for value in odds.values():
        sums[1:] += value * sums[:-1]
    parts = [PRIOR_NONE, sums[1], sums[2], float(sums[3:].sum()), PRIOR_UNMODELLED]
    whole = float(sum(parts))
    return HowMany(*(float(p) / whole for p in parts))
