"""Operating point, compiled: rows from a start given, from zero, or along a power-up."""

from __future__ import annotations

import numpy as np

from halfsplit.circuit.jit import jit, jit_inner
from halfsplit.circuit.kernel import STRAY, make_work, newton, residual, seat
from halfsplit.circuit.room import fill, fill2, furthest, put, put2
from halfsplit.circuit.solution import Status
from halfsplit.circuit.states import content, switch
from halfsplit.circuit.valve_stamps import holds_gas

# A row counts as solved when no net is unbalanced by more than this [A]: far below what any
# meter sees, far above rounding in ampere-sized branches.
BALANCE = 1e-6
# Newton steps allowed: from a start near the end, from zero, within a time step.
WARM, COLD, STEP = np.int64(60), np.int64(100), np.int64(30)
TIGHT = 1e-7  # last Newton step allowed, of each voltage and in volts
_WARM, _UP, _FAILED = int(Status.SOLVED), int(Status.POWERED_UP), int(Status.UNSOLVED)


@jit_inner
def settle(ar, p, x, hq, latch, most, w):  # type: ignore[no-untyped-def]
    """Newton at direct current, then let thyristors and relays switch until nothing moves."""
    for _ in range(24):
        if newton(ar, p, x, x, hq, latch, 0.0, 0.0, 0.0, most, TIGHT, w) < 0:
            return False
        if switch(ar, p, x, latch) == 0:
            return True
    return False


@jit_inner
def power_up(ar, p, x, hq, latch, w):  # type: ignore[no-untyped-def]
    """Follow the circuit from all-discharged with a growing time step until nothing moves."""
    fill(x, 0.0)
    fill2(w.vj, 0.0)
    fill(latch, 0)
    fill2(hq, 0.0)
    h, t = 1e-6, 0.0
    before = np.empty(x.size)
    keep = np.empty(w.vj.shape)
    for _ in range(3000):
        put(before, x)
        put2(keep, w.vj)
        if newton(ar, p, x, before, hq, latch, t, h, STRAY, STEP, TIGHT, w) < 0:
            put(x, before)
            put2(w.vj, keep)
            h *= 0.2
            if h < 1e-13:
                return False
            continue
        t += h
        content(ar, p, x, hq, h, hq)
        moved = furthest(x, before, ar.n)
        if switch(ar, p, x, latch) > 0:
            h = 1e-6
            continue
        if h > 1e4 and moved < 1e-7:
            return settle(ar, p, x, hq, latch, WARM, w)
        h = min(h * (2.0 if moved < 0.3 else 1.1), 1e6)
    return False


@jit
def solve_rows(ar, rows, start, first, out, status, res, latched):  # type: ignore[no-untyped-def]
    """Solve every row: from the start given, then from zero, then by following a power-up.

    `first` is the attempt to begin with (0 start given, 1 zero, 2 power-up). With gas tubes in it
    a circuit can rest in several states, and which of them lit depends on the way up: those are
    always followed from switch-on, and on failing that claimed as nothing.
    """
    elements = ar.code.size
    if holds_gas(ar):
        first = 2
    w = make_work(ar)
    x = np.zeros(ar.n + 1)
    hq = np.zeros((elements, 2))
    latch = np.zeros(elements, dtype=np.int8)
    for r in range(rows.shape[0]):
        p = rows[r]
        put(x, start[r])
        fill2(hq, 0.0)
        fill(latch, 0)
        how = _WARM
        ok = False
        for attempt in range(first, 3):
            if attempt == 0:
                seat(ar, p, x, hq, latch, w)
                ok = settle(ar, p, x, hq, latch, WARM, w)
            elif attempt == 1:
                fill(x, 0.0)
                fill2(w.vj, 0.0)
                fill(latch, 0)
                ok = settle(ar, p, x, hq, latch, COLD, w)
            else:
                how = _UP
                ok = power_up(ar, p, x, hq, latch, w)
            if ok:
                res[r] = residual(ar, p, x, x, hq, latch, 0.0, 0.0, 0.0, w)
                ok = res[r] < BALANCE
            if ok:
                break
        status[r] = how if ok else _FAILED
        put(out[r], x)
        put(latched[r], latch)
