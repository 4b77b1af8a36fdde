"""Sensitivities, compiled: one factored matrix a row, one solve an uncertainty and a net."""

from __future__ import annotations

import math

from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.example import ARRAYS, LATCH, STORES, VECTOR
from halfsplit.circuit.jit import NO, jit
from halfsplit.circuit.kernel import WORK, assemble, assemble_straight, backsolve, factor
from halfsplit.circuit.room import fill, largest, put


@jit_apart(ARRAYS, VECTOR, VECTOR, STORES, LATCH, WORK)
def currents(ar, p, x, hq, latch, w):  # type: ignore[no-untyped-def]
    """Unbalanced currents at direct current left in `w.f`, slopes in `w.a`."""
    assemble_straight(ar, p, x, hq, latch, 0.0, 0.0, 0.0, w)
    assemble(ar, p, x, hq, latch, 0.0, 0.0, NO, w)


@jit
def sensitivity_rows(  # type: ignore[no-untyped-def]
    ar, rows, xs, latched, ptr, slots, shift, eps, out, stiff, ok, p, s, w, spare
):
    """Fill `out` (B, K, N) and `stiff` (B, N); `ok` says which rows could be factored.

    `p` (P), `s`, `w` and `spare` are room for one row.
    """
    n = ar.n
    x, hq, f0 = s.x, s.hq, s.before
    for r in range(rows.shape[0]):
        put(x, xs[r])
        if not math.isfinite(largest(x, n)):
            ok[r] = 0
            continue
        put(p, rows[r])
        currents(ar, p, x, hq, latched[r], w)
        put(f0, w.f)
        if not factor(ar.lu, w.a):
            ok[r] = 0
            continue
        ok[r] = 1
        for k in range(ptr.size - 1):
            for j in range(ptr[k], ptr[k + 1]):
                p[slots[j]] += eps * shift[r, j]
            currents(ar, p, x, hq, latched[r], spare)
            for j in range(ptr[k], ptr[k + 1]):
                p[slots[j]] = rows[r, slots[j]]
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
