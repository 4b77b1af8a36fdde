"""Operating point, compiled: rows from a start given, from zero, or along a power-up."""

from __future__ import annotations

import numba as nb
import numpy as np

from halfsplit.circuit.kernel import STRAY, newton, remember, residual, switch
from halfsplit.circuit.solution import Status
from halfsplit.circuit.valve_stamps import holds_gas

# A row counts as solved when no net is unbalanced by more than this [A]: far below what any
# meter sees, far above rounding in ampere-sized branches.
BALANCE = 1e-6
_WARM, _UP, _FAILED = int(Status.SOLVED), int(Status.POWERED_UP), int(Status.UNSOLVED)


@nb.njit(cache=True)
def settle(ar, p, x, vj, latch, hist, most, a, f):  # type: ignore[no-untyped-def]
    """Newton at direct current, then let thyristors and relays switch until nothing moves."""
    for _ in range(24):
        if newton(ar, p, x, x, vj, latch, hist, 0.0, 0.0, 0.0, most, a, f) < 0:
            return False
        if switch(ar, p, x, latch) == 0:
            return True
    return False


@nb.njit(cache=True)
def power_up(ar, p, x, vj, latch, hist, a, f):  # type: ignore[no-untyped-def]
    """Follow the circuit from all-discharged with a growing time step until nothing moves."""
    x[:] = 0.0
    vj[:] = 0.0
    latch[:] = 0
    hist[:] = 0.0
    h, t = 1e-6, 0.0
    before = x.copy()
    keep = vj.copy()
    for _ in range(3000):
        before[:] = x
        keep[:] = vj
        if newton(ar, p, x, before, vj, latch, hist, t, h, STRAY, 30, a, f) < 0:
            x[:] = before
            vj[:] = keep
            h *= 0.2
            if h < 1e-13:
                return False
            continue
        t += h
        remember(ar, p, x, hist, h)
        moved = np.abs(x - before).max()
        if switch(ar, p, x, latch) > 0:
            h = 1e-6
            continue
        if h > 1e4 and moved < 1e-7:
            return settle(ar, p, x, vj, latch, hist, 50, a, f)
        h = min(h * (2.0 if moved < 0.3 else 1.1), 1e6)
    return False


@nb.njit(cache=True, nogil=True)
def solve_rows(ar, rows, start, out, status, res, latched):  # type: ignore[no-untyped-def]
    """Solve every row: from the start given, then from zero, then by following a power-up.

    With gas tubes in it a circuit can rest in several states, and which of them lit depends on the
    way up: those are always followed from switch-on, and on failing that claimed as nothing.
    """
    elements = ar.code.size
    first = 2 if holds_gas(ar) else 0
    for r in range(rows.shape[0]):
        p = rows[r]
        a = np.zeros(ar.lu.nnz + 1)
        f = np.zeros(ar.n + 1)
        x = np.zeros(ar.n + 1)
        vj = np.zeros((elements, 2))
        hist = np.zeros(elements)
        latch = np.zeros(elements, dtype=np.int8)
        x[: ar.n] = start[r]
        how = _WARM
        for attempt in range(first, 3):
            if attempt == 0:
                ok = settle(ar, p, x, vj, latch, hist, 60, a, f)
            elif attempt == 1:
                x[:] = 0.0
                vj[:] = 0.0
                latch[:] = 0
                ok = settle(ar, p, x, vj, latch, hist, 100, a, f)
            else:
                how = _UP
                ok = power_up(ar, p, x, vj, latch, hist, a, f)
            if ok:
                res[r] = residual(ar, p, x, latch, f, a, hist, vj)
                ok = res[r] < BALANCE
            if ok:
                break
        status[r] = how if ok else _FAILED
        out[r] = x[: ar.n]
        latched[r] = latch
