"""Which addresses a broken address line makes one, and what a test then reads there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from halfsplit.boards.organisation import Memory

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Alias:
    """One way in which addresses can run together, over the addresses `first` and up.

    Attributes
    ----------
    key: cause it belongs to, such as ``line 3`` or ``lines 3-4``.
    mask: address bits that no longer count, or count together.
    owner: (2, N) address whose word is found at each address after a test wrote all of them, going
        upward and downward.
    earlier: (2, N) True where an earlier address of the pass, upward and downward, reaches the
        same word.
    """

    key: str
    mask: int
    first: int
    owner: Ints
    earlier: npt.NDArray[np.bool_]
    differences: Mapping[int, float]

    def loses(self, down: int) -> npt.NDArray[np.bool_]:
        """Addresses whose own word is overwritten by another's."""
        found: npt.NDArray[np.bool_] = self.owner[down] != self.first + np.arange(
            self.owner.shape[1]
        )
        return found

    def meets(self, across: int) -> float:
        """Chance of this exclusive-or of two addresses that reach one word."""
        return self.differences.get(across, 0.0)


def aliases(memory: Memory, first: int, last: int) -> tuple[Alias, ...]:
    """Every single address fault: a line dead, two neighbouring lines joined, a bank bit dead.

    `first`, `last`: addresses the test wrote.
    """
    bits = tuple(memory.line_bits(k) for k in range(memory.lines.count))
    return _aliases(bits, memory.bank_from, first, last)


@lru_cache(maxsize=8)
def _aliases(
    lines: tuple[tuple[int, ...], ...], bank_bit: int, first: int, last: int
) -> tuple[Alias, ...]:
    at = np.arange(first, last + 1, dtype=np.int64)
    found = []
    for line, bits in enumerate(lines):
        mask = sum(1 << b for b in bits)
        found.append(_alias(f"line {line}", mask, first, at & ~mask))
    for line, (one, two) in enumerate(pairwise(lines)):
        for how in ("and", "or"):
            reached, mask = at.copy(), 0
            for low, high in zip(one, two, strict=True):
                a, b = at >> low & 1, at >> high & 1
                both = a & b if how == "and" else a | b
                reached = reached & ~(1 << low | 1 << high) | both << low | both << high
                mask |= 1 << low | 1 << high
            found.append(_alias(f"lines {line}-{line + 1}", mask, first, reached))
    bit = bank_bit
    while 1 << bit <= last:
        found.append(_alias(f"bank bit {bit}", 1 << bit, first, at & ~(1 << bit)))
        bit += 1
    return tuple(found)


def _alias(key: str, mask: int, start: int, reached: Ints) -> Alias:
    at = np.arange(start, start + reached.size)
    most = int(max(reached.max(), at[-1])) + 1
    top = np.full(most, -1, dtype=np.int64)
    np.maximum.at(top, reached, at)
    bottom = np.full(most, most, dtype=np.int64)
    np.minimum.at(bottom, reached, at)
    last, first = top[reached], bottom[reached]
    owner = np.stack([last, first])
    return Alias(
        key, mask, start, owner, np.stack([first != at, last != at]), _differences(owner, at, mask)
    )


def _differences(owner: Ints, at: Ints, mask: int) -> Mapping[int, float]:
    """Exclusive-or of an address and the one whose word it reads -> share.

    A test may print each pair, or all bits that ever differed, so the whole mask counts too.
    """
    everywhere = np.concatenate([a ^ at for a in owner])
    values, counts = np.unique(everywhere[everywhere != 0], return_counts=True)
    found = {int(v): 0.5 * float(c / counts.sum()) for v, c in zip(values, counts, strict=True)}
    found[mask] = found.get(mask, 0.0) + 0.5
    return found
