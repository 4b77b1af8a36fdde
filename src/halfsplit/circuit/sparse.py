"""Sparse LU with a pattern fixed once: symbolic work in Python, numbers in the compiled kernel.

Nodal matrices of these circuits are nearly symmetric in pattern and keep a usable diagonal, so a
minimum-degree order with diagonal pivots is enough; there is no pivoting at run time.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.uint32]


class Pattern(NamedTuple):
    """Elimination order and the flat index lists that factor and solve without any searching.

    Positions index a flat value array in which slot `nnz` is a bin for anything touching common.
    """

    order: Ints  # (N) order[k] = unknown eliminated in step k
    diag: Ints  # (N) position of pivot k
    lptr: Ints  # (N+1) ranges in lpos/lrow of the column below pivot k
    lpos: Ints
    lrow: Ints  # unknown index of that row
    uptr: Ints  # (N+1) ranges in upos/ucol of the row right of pivot k
    upos: Ints
    ucol: Ints
    target: Ints  # positions updated, in the order the loops visit them
    nnz: int


def analyse(n: int, entries: set[tuple[int, int]]) -> tuple[Pattern, dict[tuple[int, int], int]]:
    """Find order, fill and update lists for an n x n matrix with the given (row, column) entries.

    Returns the pattern and the position of every entry, fill included.
    """
    neighbours: list[set[int]] = [set() for _ in range(n)]
    for i, j in entries:
        if i != j:
            neighbours[i].add(j)
            neighbours[j].add(i)
    working = [set(s) for s in neighbours]
    left = set(range(n))
    order: list[int] = []
    upper: list[list[int]] = []
    while left:
        k = min(left, key=lambda i: (len(working[i]), i))
        left.remove(k)
        around = sorted(working[k])
        order.append(k)
        upper.append(around)
        for i in around:
            working[i].discard(k)
            working[i].update(j for j in around if j != i)

    position: dict[tuple[int, int], int] = {}
    for k, around in zip(order, upper, strict=True):
        for pair in [(k, k), *((k, j) for j in around), *((j, k) for j in around)]:
            position.setdefault(pair, len(position))
    lptr, uptr = [0], [0]
    lpos: list[int] = []
    lrow: list[int] = []
    upos: list[int] = []
    ucol: list[int] = []
    target: list[int] = []
    for k, around in zip(order, upper, strict=True):
        for i in around:
            lpos.append(position[i, k])
            lrow.append(i)
            target.extend(position[i, j] for j in around)
        for j in around:
            upos.append(position[k, j])
            ucol.append(j)
        lptr.append(len(lpos))
        uptr.append(len(upos))

    def ints(values: list[int]) -> Ints:
        return np.array(values, dtype=np.uint32)

    pattern = Pattern(
        ints(order),
        ints([position[k, k] for k in order]),
        ints(lptr),
        ints(lpos),
        ints(lrow),
        ints(uptr),
        ints(upos),
        ints(ucol),
        ints(target),
        len(position),
    )
    return pattern, position
