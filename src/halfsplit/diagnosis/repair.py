"""In what order to change suspected parts.

D. Heckerman, J. S. Breese and K. Rommelse, "Decision-theoretic troubleshooting", CACM 38(3), 1995:
with one fault and independent costs, in decreasing probability over cost (rule from memory).
"""

from __future__ import annotations

from collections.abc import Sequence


def repair_order(probability: Sequence[float], cost: Sequence[float]) -> list[int]:
    """Indices in the order to try. Costs must be above zero; raises ValueError otherwise."""
    if len(probability) != len(cost) or any(c <= 0 for c in cost):
        raise ValueError("give one cost above zero for each probability")
    return sorted(range(len(cost)), key=lambda i: (-probability[i] / cost[i], i))


def expected_cost(
    order: Sequence[int], probability: Sequence[float], cost: Sequence[float]
) -> float:
    """Expected cost of trying in `order` until the fault is gone."""
    left, total = 1.0, 0.0
    for i in order:
        total += left * cost[i]
        left -= probability[i]
    return total
