"""Which suspects are named, and in which order."""

from __future__ import annotations

import numpy as np

from halfsplit.diagnosis.groups import group
from halfsplit.diagnosis.order import heaviest


def test_rounding_does_not_change_the_order() -> None:
    weights = np.array([0.1, 0.2 + 1e-12, 0.2, 0.2 + 2e-12, 0.0])
    assert list(heaviest(weights)) == [1, 2, 3, 0, 4]


def test_many_faults_for_what_one_explains_count_and_are_not_named() -> None:
    """No table, so nothing tells any of them apart."""
    weights = np.array([0.9, 0.02, 0.005, 0.004])
    named = group(weights, [], [], sizes=[1, 2, 2, 1])
    assert [g.members for g in named] == [(0, 1, 3)]  # the third: two faults, and under a hundredth
    assert named[0].weight == weights.sum()
    assert group(weights, [], [])[0].members == (0, 1, 2, 3)
