"""One accepted time step, compiled: second-order backward difference with its error kept in bounds.

Backward differences do not ring after a switch as the trapezoidal rule does, and need only what the
stores held at the last points, never a derivative, so a comparator may flip within a step: the
error estimate then cuts the step until the flip is placed well enough. Variable-step formula and
error constant: C. W. Gear, "Numerical Initial Value Problems in ODEs", 1971.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from halfsplit.circuit import elements as el
from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.example import ARRAYS, REAL, VECTOR
from halfsplit.circuit.jit import jit_inner
from halfsplit.circuit.kernel import STRAY, WORK, newton, residual
from halfsplit.circuit.room import put, put2
from halfsplit.circuit.states import content, switch
from halfsplit.circuit.topology import Arrays

# Error a step may make: a share of the largest value its store has held (set by the caller), and a
# floor: capacitor [V], inductor [A].
FLOOR_VOLTS, FLOOR_AMPS = 3e-5, 1e-5
# Times the error of an inductor that the current of a stored charge may have. Unbounded, the charge
# of a saturated switch was carried out in steps that moved the fastest frequencies by a tenth.
CHARGE = 20.0
STEP_TOL = (
    1e-7  # last Newton step allowed within a time step; a comparator multiplies it by its gain
)
STEP = np.int64(24)  # Newton steps allowed within a time step
LEAST = 1e-12  # s, below which a step is taken as it is
# A gas tube that went dark needs this long to lose its ions, one that lit to build its glow [s];
# order of magnitude from memory, unconfirmed. Without it one short of current would flicker with
# the strays of its wiring at megahertz.
GLOW = 1e-4
# Places in `ctl`: step to try next, last step, the one before, points known, time, steps taken,
# error shares of capacitors and of inductors, effective length of the last step, last Newton step
# allowed.
NEXT, LAST, BEFORE, KNOWN, TIME, COUNT, VOLTS, AMPS, EFFECTIVE, TOL = range(10)

Room = npt.NDArray[np.float64]


class March(NamedTuple):
    """Where a row stands in time: net voltages and stores at this and the last points."""

    x: Room
    x0: Room
    x1: Room
    xh: Room
    q0: Room
    q1: Room
    q2: Room
    qn: Room
    hq: Room
    scale: Room
    vj: Room
    latch: npt.NDArray[np.int8]
    was: npt.NDArray[np.int8]  # latch during the last step, before anything switched at its end
    since: Room  # time each gas tube last lit or went dark
    ctl: Room


def make_march(ar: Arrays, volts: float, amps: float) -> March:
    """Everything discharged at time 0, first step a nanosecond; error shares as given."""
    n, e = ar.n + 1, ar.code.size
    ctl = np.zeros(10)
    ctl[TOL] = STEP_TOL
    ctl[VOLTS], ctl[AMPS] = volts, amps
    ctl[NEXT] = 1e-9
    ctl[KNOWN] = 1.0
    return March(
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros((e, 2)),
        np.zeros((e, 2)),
        np.zeros((e, 2)),
        np.zeros((e, 2)),
        np.zeros((e, 2)),
        np.zeros(e),
        np.zeros((e, 2)),
        np.zeros(e, dtype=np.int8),
        np.zeros(e, dtype=np.int8),
        np.full(e, -1.0),
        ctl,
    )


MARCH = make_march(ARRAYS, REAL, REAL)


@jit_inner
def restart(m, h):  # type: ignore[no-untyped-def]
    """Forget the past points, after a jump; go on with step `h` [s]."""
    m.ctl[KNOWN] = 1.0
    m.ctl[NEXT] = h


@jit_inner
def _weights(ar, p, e):  # type: ignore[no-untyped-def]
    """What the two contents of a store count for in its error: a transistor's by their times."""
    o = ar.offset[e]
    if ar.code[e] != el.BJT:
        return 1.0, 0.0
    longer = max(p[o + 9], p[o + 10], 1e-30)
    return p[o + 9] / longer, p[o + 10] / longer


@jit_inner
def _error(ar, p, m, h, h1, h2, known):  # type: ignore[no-untyped-def]
    """Largest step error of any store in units of what is allowed."""
    worst = 0.0
    for e in ar.store:
        c = ar.code[e]
        share, floor = CHARGE * m.ctl[AMPS], FLOOR_AMPS
        if c == el.CAPACITOR:
            share, floor = m.ctl[VOLTS], FLOOR_VOLTS
        elif c == el.INDUCTOR:
            share = m.ctl[AMPS]
        u, v = _weights(ar, p, e)
        new, now = u * m.qn[e, 0] + v * m.qn[e, 1], u * m.q0[e, 0] + v * m.q0[e, 1]
        if known == 1:
            miss = 0.1 * abs(new - now)
        else:
            last = u * m.q1[e, 0] + v * m.q1[e, 1]
            d1 = (now - last) / h1
            guess = now + h * d1
            if known == 2:
                miss = abs(new - guess) * h / (h + h1)
            else:
                d2 = (d1 - (last - u * m.q2[e, 0] - v * m.q2[e, 1]) / h2) / (h1 + h2)
                miss = 2.0 / 11.0 * abs(new - guess - h * (h + h1) * d2)
        allowed = floor + share * max(m.scale[e], abs(new))
        worst = max(worst, miss / allowed)
    return worst


@jit_inner
def _settled(ar, m):  # type: ignore[no-untyped-def]
    """Undo what a gas tube did too soon after it last changed. Whether any change is left."""
    changed = False
    for e in range(ar.code.size):
        if m.latch[e] == m.was[e]:
            continue
        if ar.code[e] == el.GAS:
            if m.ctl[TIME] - m.since[e] < GLOW:
                m.latch[e] = m.was[e]
                continue
            m.since[e] = m.ctl[TIME]
        changed = True
    return changed


@jit_apart(ARRAYS, VECTOR, MARCH, WORK, REAL)
def advance(ar, p, m, w, most):  # type: ignore[no-untyped-def]
    """Take one step of at most `most` [s]; returns its length, or -1 when even tiny ones fail."""
    ctl = m.ctl
    h = min(ctl[NEXT], most)
    put(m.x0, m.x)
    put2(m.vj, w.vj)
    h1, h2 = ctl[LAST], ctl[BEFORE]
    err = np.inf
    taken = False
    for _ in range(60):
        known = int(ctl[KNOWN])
        alpha, b0, b1, r = 1.0, 1.0, 0.0, 0.0
        if known >= 2:
            r = h / h1
            alpha = (1.0 + 2.0 * r) / (1.0 + r)
            b0, b1 = (1.0 + r) / alpha, r * r / (1.0 + r) / alpha
        heff = h / alpha
        for e in ar.store:
            m.hq[e, 0] = b0 * m.q0[e, 0] - b1 * m.q1[e, 0]
            m.hq[e, 1] = b0 * m.q0[e, 1] - b1 * m.q1[e, 1]
        ahead = r if known >= 3 and r <= 2.0 else 0.0
        for i in range(ar.n):
            m.xh[i] = b0 * m.x0[i] - b1 * m.x1[i]
            m.x[i] = m.x0[i] + ahead * (m.x0[i] - m.x1[i])
        used = newton(
            ar, p, m.x, m.xh, m.hq, m.latch, ctl[TIME] + h, heff, STRAY, STEP, ctl[TOL], w
        )
        if used < 0:
            put2(w.vj, m.vj)
            ctl[KNOWN] = 1.0
            h *= 0.2
            if h < 1e-16:
                put(m.x, m.x0)
                return -1.0
            continue
        content(ar, p, m.x, m.hq, heff, m.qn)
        err = _error(ar, p, m, h, h1, h2, known)
        if err > 1.0 and h > LEAST:
            put2(w.vj, m.vj)
            root = err ** (-1.0 / 3.0) if known >= 3 else err**-0.5
            h *= max(0.08, 0.8 * root)
            continue
        taken = True
        break
    if not taken:
        put(m.x, m.x0)
        return -1.0
    ctl[TIME] += h
    ctl[EFFECTIVE] = heff
    ctl[COUNT] += 1.0
    root = 2.0
    if err > 0.0:
        root = min(2.0, 0.85 * (err ** (-1.0 / 3.0) if known >= 3 else err**-0.5))
    for e in ar.store:
        m.q2[e, 0], m.q2[e, 1] = m.q1[e, 0], m.q1[e, 1]
        m.q1[e, 0], m.q1[e, 1] = m.q0[e, 0], m.q0[e, 1]
        m.q0[e, 0], m.q0[e, 1] = m.qn[e, 0], m.qn[e, 1]
        u, v = _weights(ar, p, e)
        m.scale[e] = max(m.scale[e], abs(u * m.qn[e, 0] + v * m.qn[e, 1]))
    put(m.x1, m.x0)
    ctl[BEFORE], ctl[LAST] = h1, h
    ctl[KNOWN] = min(known + 1.0, 3.0)
    ctl[NEXT] = h * max(root, 0.3)
    put(m.was, m.latch)
    if switch(ar, p, m.x, m.latch) > 0 and _settled(ar, m):
        restart(m, max(1e-3 * h, 1e-9))
    return h


@jit_apart(ARRAYS, VECTOR, MARCH, WORK)
def unbalanced(ar, p, m, w):  # type: ignore[no-untyped-def]
    """Largest current [A] left over at the end of the last step, by that step's own equations."""
    t, h = m.ctl[TIME], m.ctl[EFFECTIVE]
    return residual(ar, p, m.x, m.xh, m.hq, m.was, t, h, STRAY, w)
