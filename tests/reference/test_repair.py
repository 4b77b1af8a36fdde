"""Order of repair against going through every order (repair.yaml)."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest

from halfsplit.diagnosis.repair import expected_cost, repair_order
from tests.reference.oracle import entries

PAGES = entries("repair.yaml")
THREE, TWO = PAGES["three parts"], PAGES["two causes"]
P, C = THREE["probability"], THREE["cost"]


def walk(order: tuple[int, ...], p: list[float], c: list[float]) -> float:
    """Expected cost told the other way round: for each possible culprit, all paid up to it."""
    return sum(p[bad] * sum(c[i] for i in order[: order.index(bad) + 1]) for bad in order)


def test_best_order_of_three() -> None:
    order = repair_order(P, C)
    assert order == THREE["best"]
    every = {o: walk(o, P, C) for o in permutations(range(3))}
    assert expected_cost(order, P, C) == pytest.approx(min(every.values()), abs=1e-12)


@pytest.mark.parametrize("order", THREE["costs"])
def test_cost_of_every_order(order: str) -> None:
    found = expected_cost([int(k) - 1 for k in order], P, C)
    assert found == pytest.approx(THREE["costs"][order], abs=1e-9)


def test_likeliest_first_is_the_trap() -> None:
    trap = sorted(range(3), key=lambda i: -P[i])
    worst = max(expected_cost(o, P, C) for o in permutations(range(3)))
    assert expected_cost(trap, P, C) == pytest.approx(worst)
    assert repair_order(P, C) != trap


def test_no_order_beats_ours() -> None:
    """Two hundred seeded lists of up to six parts, all orders of each."""
    random = np.random.default_rng(5)
    for _ in range(200):
        n = int(random.integers(2, 7))
        p = [float(v) for v in random.dirichlet(np.ones(n))]
        c = [float(v) for v in random.uniform(0.2, 30.0, n)]
        best = min(walk(o, p, c) for o in permutations(range(n)))
        assert expected_cost(repair_order(p, c), p, c) == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize("repairs", list(product(TWO["grid"]["repairs"], repeat=2)))
def test_two_causes(repairs: tuple[int, int]) -> None:
    """Check one cause; if it is not that, the other one it is, which still has to be checked.

    Repair costs are paid whichever comes first, so they never change the order.
    """
    for p, c1, c2 in product(TWO["grid"]["p"], TWO["grid"]["checks"], TWO["grid"]["checks"]):
        first = p * (c1 + repairs[0]) + (1 - p) * (c1 + c2 + repairs[1])
        second = (1 - p) * (c2 + repairs[1]) + p * (c2 + c1 + repairs[0])
        rule = (1 - p) * c1 <= p * c2
        assert (first <= second + 1e-12) == rule
        if abs((1 - p) * c1 - p * c2) > 1e-12:
            assert (repair_order([p, 1 - p], [c1, c2])[0] == 0) == rule


def test_free_or_missing_costs_are_refused() -> None:
    with pytest.raises(ValueError, match="above zero"):
        repair_order([0.5, 0.5], [1.0, 0.0])
    with pytest.raises(ValueError, match="one cost"):
        repair_order([0.5, 0.5], [1.0])
