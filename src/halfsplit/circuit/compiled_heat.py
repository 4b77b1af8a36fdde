"""Watts in every element of a solved row, compiled: from the solver's own element equations."""

from __future__ import annotations

import numba as nb
import numpy as np

from halfsplit.circuit.kernel import LEAK, assemble
from halfsplit.circuit.topology import Arrays

NOTHING = -1  # an element code the dispatch does not know: the element adds nothing


@nb.njit(cache=True, nogil=True)
def watts_rows(ar, rows, xs, latched, out):  # type: ignore[no-untyped-def]
    """Fill `out` (B, E): current into each terminal times its voltage, element by element."""
    elements, n = ar.code.size, ar.n
    vj = np.zeros((elements, 2))
    hist = np.zeros(elements)
    a = np.zeros(ar.lu.nnz + 1)
    f = np.zeros(n + 1)
    x = np.zeros(n + 1)
    code = np.full_like(ar.code, NOTHING)
    one = Arrays(code, ar.nodes, ar.offset, ar.jac, ar.lu, ar.n, ar.self_pos)
    for r in range(rows.shape[0]):
        x[:n] = xs[r]
        p = rows[r]
        for e in range(elements):
            code[e] = ar.code[e]
            assemble(one, p, x, x, vj, latched[r], hist, 0.0, 0.0, 0.0, False, a, f)
            total = 0.0
            for i in range(n):
                total += (f[i] - LEAK * x[i]) * x[i]
            out[r, e] = total
            code[e] = NOTHING
