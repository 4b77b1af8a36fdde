"""Sensitivities, compiled: one factored matrix a row, one solve an uncertainty and a net."""

from __future__ import annotations

import numba as nb
import numpy as np

from halfsplit.circuit.kernel import assemble, backsolve, factor


@nb.njit(cache=True, nogil=True)
def sensitivity_rows(ar, rows, xs, latched, ptr, slots, shift, eps, out, stiff, ok):  # type: ignore[no-untyped-def]
    """Fill `out` (B, K, N) and `stiff` (B, N); `ok` says which rows could be factored."""
    elements, n = ar.code.size, ar.n
    vj = np.zeros((elements, 2))
    hist = np.zeros(elements)
    for r in range(rows.shape[0]):
        x = np.zeros(n + 1)
        x[:n] = xs[r]
        if not np.isfinite(x).all():
            ok[r] = 0
            continue
        a = np.zeros(ar.lu.nnz + 1)
        spare = np.zeros(ar.lu.nnz + 1)
        f0 = np.zeros(n + 1)
        f1 = np.zeros(n + 1)
        p = rows[r].copy()
        assemble(ar, p, x, x, vj, latched[r], hist, 0.0, 0.0, 0.0, False, a, f0)
        if not factor(ar.lu, a):
            ok[r] = 0
            continue
        ok[r] = 1
        for k in range(ptr.size - 1):
            for s in range(ptr[k], ptr[k + 1]):
                p[slots[s]] += eps * shift[r, s]
            assemble(ar, p, x, x, vj, latched[r], hist, 0.0, 0.0, 0.0, False, spare, f1)
            for s in range(ptr[k], ptr[k + 1]):
                p[slots[s]] = rows[r, slots[s]]
            f1 -= f0
            f1[n] = 0.0
            backsolve(ar.lu, a, f1)
            for i in range(n):
                out[r, k, i] = -f1[i] / eps
        for i in range(n):
            f1[:] = 0.0
            f1[i] = 1.0
            backsolve(ar.lu, a, f1)
            stiff[r, i] = f1[i]
