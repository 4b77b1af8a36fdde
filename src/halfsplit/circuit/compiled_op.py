"""Operating point, compiled: rows from a start given, from zero, or along a power-up.

Where plain iterations fail, it is nearly always an amplifier of high gain that asks for kilovolts
on the way: first they are fenced in, then the change is followed in time from the start given.
"""

from __future__ import annotations

import numpy as np

from halfsplit.circuit import elements as el
from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.example import ARRAYS, COUNT, LATCH, STORES, VECTOR
from halfsplit.circuit.jit import jit, jit_inner
from halfsplit.circuit.kernel import REST, STRAY, WORK, newton, residual, seat
from halfsplit.circuit.room import fill, fill2, furthest, largest, put, put2
from halfsplit.circuit.solution import Status
from halfsplit.circuit.states import content, switch
from halfsplit.circuit.valve_stamps import holds_gas

# A row counts as solved when no net is unbalanced by more than this [A]: far below what any
# meter sees, far above rounding in ampere-sized branches.
BALANCE = 1e-6
# Newton steps allowed: from a start near the end, from zero, within a time step. What comes at all
# from the start given or fenced in comes early: of 1,200 single faults of made machines two took
# over 50 steps free, one over 60 fenced, and each step more is lost on those that never come.
WARM, COLD, STEP = np.int64(60), np.int64(100), np.int64(30)
GIVEN, FENCED, RIDDEN = np.int64(40), np.int64(60), np.int64(20)
FENCE = 1.5  # times the highest voltage of the start given
# F from every net to common while a change is followed only for where it ends: easier steps.
BALLAST = 1e-6
LOOSE = 1e-3  # last Newton step allowed, relative, while it is
TIGHT = 1e-7  # last Newton step allowed, of each voltage and in volts
_WARM, _UP, _FAILED = int(Status.SOLVED), int(Status.POWERED_UP), int(Status.UNSOLVED)


@jit_apart(ARRAYS, VECTOR, VECTOR, STORES, LATCH, COUNT, WORK)
def settle(ar, p, x, hq, latch, most, w):  # type: ignore[no-untyped-def]
    """Newton at direct current, then let thyristors and relays switch until nothing moves."""
    for _ in range(24):
        if newton(ar, p, x, x, hq, latch, 0.0, 0.0, 0.0, most, TIGHT, w) < 0:
            return False
        if switch(ar, p, x, latch) == 0:
            return True
    return False


@jit_apart(ARRAYS, VECTOR, REST, WORK)
def power_up(ar, p, s, w):  # type: ignore[no-untyped-def]
    """Follow the circuit from all-discharged with a growing time step until nothing moves."""
    x, hq, latch, before, keep = s.x, s.hq, s.latch, s.before, s.keep
    fill(x, 0.0)
    fill2(w.vj, 0.0)
    fill(latch, 0)
    fill2(hq, 0.0)
    h, t = 1e-6, 0.0
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


@jit_inner
def charge(ar, p, x, hq):  # type: ignore[no-untyped-def]
    """Fill `hq` with what every capacitor and inductor holds at rest at `x`."""
    fill2(hq, 0.0)
    for e in ar.store:
        v = x[ar.nodes[e, 0]] - x[ar.nodes[e, 1]]
        if ar.code[e] == el.CAPACITOR:
            hq[e, 0] = v
        elif ar.code[e] == el.INDUCTOR:
            hq[e, 0] = v / p[ar.offset[e] + 1]


@jit_apart(ARRAYS, VECTOR, REST, WORK)
def ride(ar, p, s, w):  # type: ignore[no-untyped-def]
    """Follow the circuit from rest at `x` to where a fault that sets in now takes it.

    Gives up where anything latches on the way: then only a power-up may say where it ends.
    """
    x, hq, latch, before, keep = s.x, s.hq, s.latch, s.before, s.keep
    seat(ar, p, x, hq, latch, w)
    charge(ar, p, x, hq)
    h, t, grow = 1e-4, 0.0, 10.0
    for _ in range(300):
        put(before, x)
        put2(keep, w.vj)
        tol = LOOSE if h < 1e3 else TIGHT
        used = newton(ar, p, x, before, hq, latch, t, h, BALLAST, RIDDEN, tol, w)
        if used < 0:
            put(x, before)
            put2(w.vj, keep)
            h *= 0.1
            grow = 2.0  # and then with care, or it fails at the same place again
            if h < 1e-13:
                return False
            continue
        t += h
        content(ar, p, x, hq, h, hq)
        if switch(ar, p, x, latch) > 0:
            return False
        if h > 1e4 and furthest(x, before, ar.n) < LOOSE:
            return newton(ar, p, x, x, hq, latch, 0.0, 0.0, 0.0, WARM, TIGHT, w) > 0 and (
                switch(ar, p, x, latch) == 0
            )
        h = min(h * (grow if used <= 8 else 2.0), 1e6)
        grow = min(1.2 * grow, 10.0)
    return False


@jit_inner
def stands(ar, w):  # type: ignore[no-untyped-def]
    """Whether the state last factored does not run away from itself (see stability.py)."""
    up = True
    for k in range(ar.n):
        if w.a[ar.lu.diag[k]] < 0.0:
            up = not up
    return up


@jit
def solve_rows(ar, rows, start, first, out, status, res, latched, s, w):  # type: ignore[no-untyped-def]
    """Solve every row: from the start given, then from zero, then by following a power-up.

    `first` is the attempt to begin with (0 start given, 1 the same fenced in, 2 followed from it,
    3 zero, 4 power-up). With gas tubes in it a circuit can rest in several states, and which of
    them lit depends on the way up: those are always followed from switch-on, and on failing that
    claimed as nothing.
    """
    x, hq, latch = s.x, s.hq, s.latch
    if holds_gas(ar):
        first = 4
    for r in range(rows.shape[0]):
        p = rows[r]
        how = _WARM
        ok = False
        for attempt in range(first, 5):
            w.fence[0] = np.inf
            if attempt < 3:
                put(x, start[r])
                fill2(hq, 0.0)
                fill(latch, 0)
            if attempt == 0:
                seat(ar, p, x, hq, latch, w)
                ok = settle(ar, p, x, hq, latch, GIVEN, w)
            elif attempt == 1:
                w.fence[0] = FENCE * largest(x, ar.n)
                seat(ar, p, x, hq, latch, w)
                ok = settle(ar, p, x, hq, latch, FENCED, w) and stands(ar, w)
            elif attempt == 2:
                w.fence[0] = FENCE * largest(x, ar.n)
                ok = ride(ar, p, s, w)
            elif attempt == 3:
                fill(x, 0.0)
                fill2(hq, 0.0)
                fill2(w.vj, 0.0)
                fill(latch, 0)
                ok = settle(ar, p, x, hq, latch, COLD, w)
            else:
                how = _UP
                ok = power_up(ar, p, s, w)
            if ok:
                res[r] = residual(ar, p, x, x, hq, latch, 0.0, 0.0, 0.0, w)
                ok = res[r] < BALANCE
            if ok:
                break
        status[r] = how if ok else _FAILED
        put(out[r], x)
        put(latched[r], latch)
