"""Sensitivities, compiled: one factored matrix a row, one solve an uncertainty and a net."""

from __future__ import annotations

import numpy as np

from halfsplit.circuit.jit import NO, jit
from halfsplit.circuit.kernel import assemble, assemble_straight, backsolve, factor, make_work
from halfsplit.circuit.room import fill


@jit
def currents(ar, p, x, hq, latch, w):  # type: ignore[no-untyped-def]
    """Unbalanced currents at direct current left in `w.f`, slopes in `w.a`."""
    assemble_straight(ar, p, x, hq, latch, 0.0, 0.0, 0.0, w)
    assemble(ar, p, x, hq, latch, 0.0, 0.0, NO, w)


@jit
def sensitivity_rows(ar, rows, xs, latched, ptr, slots, shift, eps, out, stiff, ok):  # type: ignore[no-untyped-def]
    """Fill `out` (B, K, N) and `stiff` (B, N); `ok` says which rows could be factored."""
    elements, n = ar.code.size, ar.n
    hq = np.zeros((elements, 2))
    for r in range(rows.shape[0]):
        x = np.zeros(n + 1)
        x[:n] = xs[r]
        if not np.isfinite(x).all():
            ok[r] = 0
            continue
        w, spare = make_work(ar), make_work(ar)
        p = rows[r].copy()
        currents(ar, p, x, hq, latched[r], w)
        f0 = w.f.copy()
        if not factor(ar.lu, w.a):
            ok[r] = 0
            continue
        ok[r] = 1
        for k in range(ptr.size - 1):
            for s in range(ptr[k], ptr[k + 1]):
                p[slots[s]] += eps * shift[r, s]
            currents(ar, p, x, hq, latched[r], spare)
            for s in range(ptr[k], ptr[k + 1]):
                p[slots[s]] = rows[r, slots[s]]
            f1 = spare.f
            for i in range(n):
                f1[i] -= f0[i]
            f1[n] = 0.0
            backsolve(ar.lu, w.a, f1)
            for i in range(n):
                out[r, k, i] = -f1[i] / eps
        f1 = spare.f
        for i in range(n):
            fill(f1, 0.0)
            f1[i] = 1.0
            backsolve(ar.lu, w.a, f1)
            stiff[r, i] = f1[i]
