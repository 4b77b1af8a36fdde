"""Which parts cannot all be good together, and the smallest sets whose badness explains that.

After J. de Kleer and B. C. Williams, "Diagnosing multiple faults", Artificial Intelligence 32(1),
1987. The caller supplies the test of consistency; this module only searches.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import combinations

Parts = frozenset[str]


def minimal_conflicts(parts: Sequence[str], consistent: Callable[[Parts], bool]) -> list[Parts]:
    """Smallest sets of parts that cannot all be good.

    `consistent(good)` says whether the readings allow every part of `good` to work at once. Exact
    and exponential: for blocks of up to about twenty parts.
    """
    found: list[Parts] = []
    for size in range(1, len(parts) + 1):
        for group in combinations(parts, size):
            good = frozenset(group)
            if not any(c <= good for c in found) and not consistent(good):
                found.append(good)
    return found


def minimal_candidates(conflicts: Iterable[Parts]) -> list[Parts]:
    """Smallest sets of bad parts that touch every conflict (minimal hitting sets)."""
    found: set[Parts] = {frozenset()}
    for conflict in conflicts:
        grown: set[Parts] = set()
        for candidate in found:
            if candidate & conflict:
                grown.add(candidate)
            else:
                grown |= {candidate | {part} for part in conflict}
        found = {c for c in grown if not any(o < c for o in grown)}
    return sorted(found, key=lambda c: (len(c), sorted(c)))
