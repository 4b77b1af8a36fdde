"""What sets of faults not looked at would weigh: one more fault that has not shown yet."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np

from halfsplit.diagnosis.search import fit
from halfsplit.faults.predictions import Floats

if TYPE_CHECKING:
    from halfsplit.bench.reasoning import Reasoner

LIGHT = 1e-6  # weight below which what goes with a set is nothing


def uncounted(bench: Reasoner, among: Collection[str]) -> Floats:
    """For every hypothesis (H), the weight of sets that are it and one more of the faults named and
    are not in the list, as a share of its own.

    The search keeps the sets that explain most, and of two faults one of which shows nowhere so far
    hundreds explain as much. A further fault is taken to cost nothing where alone it would read as
    the machine without any, and what it costs beside that one where it would not.
    """
    listed, belief = bench.hypotheses, bench.belief
    weights, fits = belief.weights(), fit(belief)
    usual = enumerate(bench.standard)  # the list begins with them
    singles = [i for i, h in usual if len(h.faults) == 1 and h.name in among]
    costs = np.minimum(fits[singles] - fits[belief.none], 0.0)
    odds = belief.prior[singles] * np.exp(costs)
    known = {h.plain for h in listed}
    found = np.zeros(len(listed))
    for i, h in enumerate(listed):
        if not h.faults or weights[i] < LIGHT:
            continue
        for j, share in zip(singles, odds, strict=True):
            more = listed[j]
            if more.parts[0] not in h.parts and h.plain | more.plain not in known:
                found[i] += share
    return found
