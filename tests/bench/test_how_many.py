"""How many faults a machine is taken to have before anything is read."""

from __future__ import annotations

from itertools import combinations

import pytest

from halfsplit.bench.prior_words import shares_said
from halfsplit.faults.how_many import how_many
from halfsplit.faults.hypotheses import Fault, Hypothesis, together, without_faults


def test_shares_are_those_of_every_set_added_up() -> None:
    """Five parts, one with two modes that exclude each other: every set written out here."""
    odds = {"R1 open": 0.3, "R1 short": 0.1, "R2 open": 0.2, "R3 open": 0.2, "R4 open": 0.1}
    odds["R5 open"] = 0.04
    faults = [Fault(n.split()[0], n.split()[1], o, {}) for n, o in odds.items()]
    listed: list[Hypothesis] = [*without_faults(), *(together([f]) for f in faults)]
    sums = [0.0] * 5
    for size in range(1, 5):
        for some in combinations(faults, size):
            if len({f.part for f in some}) == size:
                sums[size] += together(some).prior
    bare = listed[0].prior + listed[1].prior
    whole = bare + sum(sums)
    found = how_many(listed)
    assert found.one == pytest.approx(sums[1] / whole)
    assert found.two == pytest.approx(sums[2] / whole)
    assert found.more == pytest.approx((sums[3] + sums[4]) / whole)
    assert found.none + found.unmodelled == pytest.approx(bare / whole)
    assert f"{100 * found.two:.0f} % two" in shares_said(listed)
