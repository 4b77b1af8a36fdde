"""The compiled core: assemble the nodal equations of one row, factor, solve, iterate.

Everything here works on one row of parameters `p` and one vector of net voltages `x` whose last
entry is common (always 0). Currents in `f` leave the net. A time step of effective length `h` [s]
measures stored quantities from their history `hq` and net voltages from `xh`; `h` <= 0 means direct
current. A capacitor's history is its inner voltage, an inductor's its current, a junction's the
current its charge belongs to.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from halfsplit.circuit import elements as el
from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.example import ARRAYS, COUNT, FLAG, LATCH, REAL, STORES, VECTOR
from halfsplit.circuit.jit import NO, YES, jit_inner
from halfsplit.circuit.room import fill, largest, put
from halfsplit.circuit.stamps import (
    stamp_amplifier,
    stamp_bjt,
    stamp_diode,
    stamp_lamp,
    stamp_regulator,
    stamp_scr,
    stamp_sink,
    stamp_source,
    stamp_two,
)
from halfsplit.circuit.topology import Arrays
from halfsplit.circuit.valve_stamps import (
    stamp_gas,
    stamp_pentode,
    stamp_triode,
    stamp_vacuum,
)

LEAK = 1e-12  # S from every net to common, so that no net is wholly adrift
STRAY = 30e-12  # F from every net to common in the time domain: wiring, as measured on such boards
# A, what rounding leaves in ampere-sized branches. A group of nets that only a leak holds is moved
# by volts by it, so steps alone cannot tell whether such a group has converged.
ROUNDING = 1e-12
FAR = 1e7  # V, where iterations that run away are given up
# Steps of an iteration taken whole, and the least share of a later one. Of five ways to shorten
# steps tried on 1,729 single faults of drawn and made machines this took the fewest, 18,700; eight
# halved in every twenty-four took 20,600.
FREE, SHORTEST = 5, 0.25
LIMITED = 1e8  # A, a source that may give less than this has a curved law

Room = npt.NDArray[np.float64]


class Work(NamedTuple):
    """Room one row is solved in: matrix, straight part, currents, what the junctions were at."""

    a: Room
    straight: Room
    given: Room
    slope: Room
    ground: Room
    f: Room
    vj: Room
    fence: Room  # (1) V, what no net may pass during the iterations
    last: Room  # the step before


def make_work(ar: Arrays) -> Work:
    """Zeroed room for one row of a topology."""
    size = ar.lu.nnz + 1
    return Work(
        np.zeros(size),
        np.zeros(size),
        np.zeros(ar.n + 1),
        np.zeros(ar.code.size),
        np.zeros(1),
        np.zeros(ar.n + 1),
        np.zeros((ar.code.size, 2)),
        np.full(1, np.inf),
        np.zeros(ar.n + 1),
    )


class Rest(NamedTuple):
    """Where a row is looked for at rest: net voltages [V] (N+1), stores (E, 2), latches (E), and
    room to step back to: net voltages and what the junctions were at."""

    x: Room
    hq: Room
    latch: npt.NDArray[np.int8]
    before: Room
    keep: Room


def make_rest(ar: Arrays) -> Rest:
    """Everything discharged and off."""
    n, e = ar.n + 1, ar.code.size
    latch = np.zeros(e, dtype=np.int8)
    return Rest(np.zeros(n), np.zeros((e, 2)), latch, np.zeros(n), np.zeros((e, 2)))


WORK, REST = make_work(ARRAYS), make_rest(ARRAYS)


@jit_apart(ARRAYS, VECTOR, VECTOR, STORES, LATCH, REAL, REAL, REAL, WORK)
def assemble_straight(ar, p, xh, hq, latch, t, h, stray, w):  # type: ignore[no-untyped-def]
    """Slopes and constant currents of everything that is a straight line in x."""
    a, given, slope = w.straight, w.given, w.slope
    fill(a, 0.0)
    fill(given, 0.0)
    jac, n = ar.jac, ar.nodes
    hold, i, g = 0.0, 0.0, 0.0
    if h > 0.0:
        hold = stray / h
    w.ground[0] = LEAK + hold
    for k in range(ar.n):
        given[k] = -hold * xh[k]
        a[ar.self_pos[k]] = LEAK + hold
    for e in ar.straight:
        o, c = ar.offset[e], ar.code[e]
        n0, n1 = n[e, 0], n[e, 1]
        if c == el.RESISTOR:
            slope[e] = p[o]
            stamp_two(given, a, jac, e, 0, 1, n0, n1, 0.0, slope[e])
        elif c == el.CAPACITOR:
            i = 0.0
            g = p[o + 2]
            if h > 0.0 and p[o] > 0.0:
                pull = 1.0 / (p[o + 1] + h / p[o])
                g, i = g + pull, -pull * hq[e, 0]
            elif h <= 0.0:
                g, i = g + p[o + 3], -p[o + 3] * p[o + 4]
            slope[e] = g
            stamp_two(given, a, jac, e, 0, 1, n0, n1, i, g)
        elif c == el.INDUCTOR:
            series, lift = p[o + 1], 0.0
            if h > 0.0:
                series += p[o] / h
                lift = p[o] / h * hq[e, 0]
            slope[e] = 1.0 / series + p[o + 2]
            stamp_two(given, a, jac, e, 0, 1, n0, n1, lift / series, slope[e])
        elif c == el.SOURCE:
            slope[e] = 0.0
            if p[o + 5] >= LIMITED:
                emf = p[o + 1]
                if p[o + 2] != 0.0:
                    emf += p[o + 2] * math.sin(2.0 * math.pi * p[o + 3] * t + p[o + 4])
                slope[e] = p[o]
                stamp_two(given, a, jac, e, 0, 1, n0, n1, -p[o] * emf, p[o])
        elif c == el.WINDING:
            g, turns = p[o], p[o + 1]
            for side, at in ((1.0, 0), (-1.0, 1), (-turns, 2)):
                a[jac[e, at, 0]] += side * g
                a[jac[e, at, 1]] -= side * g
                a[jac[e, at, 2]] -= side * turns * g
        else:  # contact, in the state it is in
            g = p[o] if latch[e] == 1 else p[o + 1]
            slope[e] = g
            stamp_two(given, a, jac, e, 0, 1, n0, n1, 0.0, g)


@jit_apart(ARRAYS, VECTOR, VECTOR, STORES, LATCH, REAL, REAL, FLAG, WORK)
def assemble(ar, p, x, hq, latch, t, h, limiting, w):  # type: ignore[no-untyped-def]
    """Fill `w.a` and `w.f` at `x` from the straight part. Returns True if any step was limited."""
    a, f, vj = w.a, w.f, w.vj
    put(a, w.straight)
    put(f, w.given)
    # Element by element, never row by row: the sum of a row's large slopes times large volts would
    # leave rounding that throws a net nothing but a leak holds by volts.
    for i in range(ar.n):
        f[i] += w.ground[0] * x[i]
    for e in ar.straight:
        n0, n1 = ar.nodes[e, 0], ar.nodes[e, 1]
        if ar.code[e] == el.WINDING:
            core, turns = ar.nodes[e, 2], p[ar.offset[e] + 1]
            i_e = p[ar.offset[e]] * (x[n0] - x[n1] - turns * x[core])
            f[core] -= turns * i_e
        else:
            i_e = w.slope[e] * (x[n0] - x[n1])
        f[n0] += i_e
        f[n1] -= i_e
    jac, n = ar.jac, ar.nodes
    limited = False
    for e in ar.curved:
        o, c = ar.offset[e], ar.code[e]
        if c == el.SOURCE:
            if p[o + 5] < LIMITED:
                stamp_source(f, a, jac, e, p, o, x, n, t)
        elif c == el.SINK:
            stamp_sink(f, a, jac, e, p, o, x, n)
        elif c == el.LAMP:
            stamp_lamp(f, a, jac, e, p, o, x, n)
        elif c == el.DIODE:
            limited |= stamp_diode(f, a, jac, e, p, o, x, n, vj, hq, h, limiting)
        elif c == el.BJT:
            limited |= stamp_bjt(f, a, jac, e, p, o, x, n, vj, hq, h, limiting)
        elif c == el.SCR:
            limited |= stamp_scr(f, a, jac, e, p, o, x, n, vj, latch, limiting)
        elif c == el.AMPLIFIER:
            limited |= stamp_amplifier(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.REGULATOR:
            limited |= stamp_regulator(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.TRIODE:
            limited |= stamp_triode(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.PENTODE:
            limited |= stamp_pentode(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.VACUUM:
            stamp_vacuum(f, a, jac, e, p, o, x, n)
        elif c == el.GAS:
            stamp_gas(f, a, jac, e, p, o, x, n, latch)
    return limited


@jit_apart(ARRAYS.lu, VECTOR)
def factor(lu, a):  # type: ignore[no-untyped-def]
    """Factor in place. Returns False on a zero pivot."""
    at = 0
    for k in range(lu.order.size):
        pivot = a[lu.diag[k]]
        if pivot == 0.0 or not math.isfinite(pivot):
            return False
        for i in range(lu.lptr[k], lu.lptr[k + 1]):
            # Divided, not multiplied by an inverse: where both are equal and opposite the answer
            # must be -1 exactly, or a floating group is tied to common by rounding.
            m = a[lu.lpos[i]] / pivot
            a[lu.lpos[i]] = m
            for j in range(lu.uptr[k], lu.uptr[k + 1]):
                a[lu.target[at]] -= m * a[lu.upos[j]]
                at += 1
    return True


@jit_apart(ARRAYS.lu, VECTOR, VECTOR)
def backsolve(lu, a, b):  # type: ignore[no-untyped-def]
    """Solve with the factors in `a`; `b` (N+1, last entry ignored) becomes the solution."""
    for k in range(lu.order.size):
        bk = b[lu.order[k]]
        if bk != 0.0:
            for i in range(lu.lptr[k], lu.lptr[k + 1]):
                b[lu.lrow[i]] -= a[lu.lpos[i]] * bk
    for back in range(lu.order.size):
        k = lu.order.size - 1 - back
        r = lu.order[k]
        acc = b[r]
        for j in range(lu.uptr[k], lu.uptr[k + 1]):
            acc -= a[lu.upos[j]] * b[lu.ucol[j]]
        b[r] = acc / a[lu.diag[k]]


@jit_inner
def _reach(step, last, n, it, before):  # type: ignore[no-untyped-def]
    """Share of a step to be taken, given the share of the one before; keeps the step in `last`."""
    back, size = 0.0, 0.0
    for i in range(n):
        back += step[i] * last[i]
        size += last[i] * last[i]
        last[i] = step[i]
    if it >= FREE and back < -0.5 * size:
        return max(0.5 * before, SHORTEST)
    return min(2.0 * before, 1.0)


@jit_apart(ARRAYS, VECTOR, VECTOR, VECTOR, STORES, LATCH, REAL, REAL, REAL, COUNT, REAL, WORK)
def newton(ar, p, x, xh, hq, latch, t, h, stray, most, tol, w):  # type: ignore[no-untyped-def]
    """Iterate to a solution of one row in place. Returns iterations used, or -1.

    `tol` is the last step allowed, as a share of each voltage and in volts. A step that takes back
    more than half of the one before is shortened, and the next ones grow again: full steps go to
    and fro for ever between the two ends of an amplifier's range. In real time, with no more than
    stray capacitance, eight in every twenty-four are halved after sixteen instead: from switch-on
    there are circuits that come up so and not the other way. No net is let past `w.fence`: an
    amplifier of high gain asks for thousands of volts on the way, and everything it drives follows.
    """
    assemble_straight(ar, p, xh, hq, latch, t, h, stray, w)
    f, fence, last = w.f, w.fence[0], w.last
    fill(last, 0.0)
    reach = 1.0
    for it in range(most):
        limited = assemble(ar, p, x, hq, latch, t, h, YES, w)
        if not factor(ar.lu, w.a):
            return -1
        f[ar.n] = 0.0
        left = largest(f, ar.n)
        backsolve(ar.lu, w.a, f)
        if h > 0.0 and stray <= STRAY:
            reach = 0.5 if it % 24 >= 16 else 1.0
        else:
            reach = _reach(f, last, ar.n, it, reach)
        worst = 0.0
        for i in range(ar.n):
            step = f[i]
            if not math.isfinite(step) or abs(x[i]) > FAR:
                return -1
            x[i] -= reach * step
            if abs(x[i]) > fence:
                x[i] = math.copysign(fence, x[i])
                limited = True
            worst = max(worst, abs(step) / (tol + tol * abs(x[i])))
        if (worst < 1.0 or left < ROUNDING) and not limited and reach == 1.0:
            return it + 1
    return -1


@jit_apart(ARRAYS, VECTOR, VECTOR, STORES, LATCH, WORK)
def seat(ar, p, x, hq, latch, w):  # type: ignore[no-untyped-def]
    """Set every junction's limiting memory to where `x` puts it, for a start from known volts."""
    assemble_straight(ar, p, x, hq, latch, 0.0, 0.0, 0.0, w)
    assemble(ar, p, x, hq, latch, 0.0, 0.0, NO, w)


@jit_apart(ARRAYS, VECTOR, VECTOR, VECTOR, STORES, LATCH, REAL, REAL, REAL, WORK)
def residual(ar, p, x, xh, hq, latch, t, h, stray, w):  # type: ignore[no-untyped-def]
    """Largest unbalanced current [A] of any net at `x`, assembled afresh without step limiting."""
    assemble_straight(ar, p, xh, hq, latch, t, h, stray, w)
    assemble(ar, p, x, hq, latch, t, h, NO, w)
    return largest(w.f, ar.n)
