"""In what order to change suspected parts, and whether to measure first.

D. Heckerman, J. S. Breese and K. Rommelse, "Decision-theoretic troubleshooting", CACM 38(3), 1995:
with one fault and independent costs, in decreasing probability over cost (rule from memory). A
check is worth its cost if what it leaves is cheaper to mend by at least as much.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

Parts = frozenset[str]

# Minutes lost when every suspect was changed and it was none of them; common practice.
NONE_OF_THEM = 120.0


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


def mending(weights: Mapping[Parts, float], minutes: Mapping[str, float]) -> tuple[float, Parts]:
    """Expected minutes of changing sets of parts in the best order, and the set to begin with.

    `weights` is the chance that just these parts are bad, of what is left after it nobody knows
    the cause; sets below a thousandth are left out.
    """
    sets = [s for s, w in weights.items() if s and w > 1e-3]
    if not sets:
        return NONE_OF_THEM, frozenset()
    chance = [weights[s] for s in sets]
    cost = [sum(minutes[p] for p in s) for s in sets]
    order = repair_order(chance, cost)
    # Whether a set is worth trying at all: not when it costs more than the chance saves.
    worth = [i for i in order if chance[i] * NONE_OF_THEM > cost[i]] or order[:1]
    left = 1.0 - sum(chance[i] for i in worth)
    return expected_cost(worth, chance, cost) + max(left, 0.0) * NONE_OF_THEM, sets[worth[0]]


def measuring(
    cost: float,
    outcomes: Iterable[tuple[float, Mapping[Parts, float]]],
    minutes: Mapping[str, float],
) -> float:
    """Expected minutes of a check of so many, and of mending what each outcome leaves.

    `outcomes` give the chance of each and the weights it leaves, summing to 1.
    """
    return cost + sum(chance * mending(left, minutes)[0] for chance, left in outcomes)
