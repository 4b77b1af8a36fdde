"""The compiled core: assemble the nodal equations of one row, factor, solve, iterate.

Everything here works on one row of parameters `p` and one vector of net voltages `x` whose last
entry is common (always 0). Currents in `f` leave the net. Time step `h` <= 0 means direct current.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

from halfsplit.circuit import elements as el
from halfsplit.circuit.devices import grow, soft
from halfsplit.circuit.stamps import (
    stamp_amplifier,
    stamp_bjt,
    stamp_diode,
    stamp_regulator,
    stamp_scr,
    stamp_two,
)
from halfsplit.circuit.valve_stamps import (
    gas_moves,
    stamp_gas,
    stamp_pentode,
    stamp_triode,
    stamp_vacuum,
)

LEAK = 1e-12  # S from every net to common, so that no net is wholly adrift
STRAY = 30e-12  # F from every net to common in the time domain: wiring, as measured on such boards


@nb.njit(cache=True)
def assemble(ar, p, x, xprev, vj, latch, hist, t, h, stray, limiting, a, f):  # type: ignore[no-untyped-def]
    """Fill matrix values `a` and currents `f` at `x`. Returns True if any step was limited."""
    a[:] = 0.0
    f[:] = 0.0
    jac, n = ar.jac, ar.nodes
    limited = False
    for i in range(ar.n):
        g = LEAK
        f[i] += LEAK * x[i]
        if h > 0.0:
            g += stray / h
            f[i] += stray / h * (x[i] - xprev[i])
        a[ar.self_pos[i]] += g
    for e in range(ar.code.size):
        o, c = ar.offset[e], ar.code[e]
        n0, n1 = n[e, 0], n[e, 1]
        v = x[n0] - x[n1]
        if c == el.RESISTOR:
            stamp_two(f, a, jac, e, 0, 1, n0, n1, p[o] * v, p[o])
        elif c == el.CAPACITOR:
            g = p[o + 2]
            i = g * v
            if h > 0.0 and p[o] > 0.0:
                k = 1.0 / (p[o + 1] + h / p[o])
                i += k * (v - hist[e])
                g += k
            elif h <= 0.0:
                i += p[o + 3] * (v - p[o + 4])
                g += p[o + 3]
            stamp_two(f, a, jac, e, 0, 1, n0, n1, i, g)
        elif c == el.INDUCTOR:
            series = p[o + 1]
            lift = 0.0
            if h > 0.0:
                series += p[o] / h
                lift = p[o] / h * hist[e]
            stamp_two(
                f,
                a,
                jac,
                e,
                0,
                1,
                n0,
                n1,
                (v + lift) / series + p[o + 2] * v,
                1.0 / series + p[o + 2],
            )
        elif c == el.SOURCE:
            emf = p[o + 1] + p[o + 2] * math.sin(2.0 * math.pi * p[o + 3] * t + p[o + 4])
            give = (emf - v) * p[o]
            g = p[o]
            top = p[o + 5]
            if give > 0.9 * top:  # bench supply sliding into current limit
                over = math.exp(-(give - 0.9 * top) / (0.1 * top))
                g = g * over + 1e-9
                give = top - 0.1 * top * over
            stamp_two(f, a, jac, e, 0, 1, n0, n1, -give, g)
        elif c == el.SINK:
            th = math.tanh(v / p[o + 1])
            stamp_two(
                f,
                a,
                jac,
                e,
                0,
                1,
                n0,
                n1,
                p[o] * th + p[o + 2] * v,
                p[o] * (1.0 - th * th) / p[o + 1] + p[o + 2],
            )
        elif c == el.LAMP:
            hot, cold = p[o] / max(p[o + 1], 1e-15), p[o + 2]
            root = (1.0 - cold) * math.sqrt(abs(v) / p[o])
            r = hot * (cold + root)
            stamp_two(
                f,
                a,
                jac,
                e,
                0,
                1,
                n0,
                n1,
                v / r + p[o + 3] * v,
                (1.0 - 0.5 * hot * root / r) / r + p[o + 3],
            )
        elif c == el.DIODE:
            limited |= stamp_diode(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.BJT:
            limited |= stamp_bjt(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.SCR:
            limited |= stamp_scr(f, a, jac, e, p, o, x, n, vj, latch, limiting)
        elif c == el.WINDING:
            g, turns = p[o], p[o + 1]
            core = n[e, 2]
            i = g * (v - turns * x[core])
            f[n0] += i
            f[n1] -= i
            f[core] -= turns * i
            for side, at in ((1.0, 0), (-1.0, 1), (-turns, 2)):
                a[jac[e, at, 0]] += side * g
                a[jac[e, at, 1]] -= side * g
                a[jac[e, at, 2]] -= side * turns * g
        elif c == el.AMPLIFIER:
            limited |= stamp_amplifier(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.REGULATOR:
            limited |= stamp_regulator(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.CONTACT:
            g = p[o] if latch[e] == 1 else p[o + 1]
            stamp_two(f, a, jac, e, 0, 1, n0, n1, g * v, g)
        elif c == el.TRIODE:
            limited |= stamp_triode(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.PENTODE:
            limited |= stamp_pentode(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.VACUUM:
            stamp_vacuum(f, a, jac, e, p, o, x, n)
        elif c == el.GAS:
            stamp_gas(f, a, jac, e, p, o, x, n, latch)
    return limited


@nb.njit(cache=True)
def factor(lu, a):  # type: ignore[no-untyped-def]
    """Factor in place. Returns False on a zero pivot."""
    at = 0
    for k in range(lu.order.size):
        pivot = a[lu.diag[k]]
        if pivot == 0.0 or not math.isfinite(pivot):
            return False
        for i in range(lu.lptr[k], lu.lptr[k + 1]):
            m = a[lu.lpos[i]] / pivot
            a[lu.lpos[i]] = m
            for j in range(lu.uptr[k], lu.uptr[k + 1]):
                a[lu.target[at]] -= m * a[lu.upos[j]]
                at += 1
    return True


@nb.njit(cache=True)
def backsolve(lu, a, b):  # type: ignore[no-untyped-def]
    """Solve with the factors in `a`; `b` (N+1, last entry ignored) becomes the solution."""
    for k in range(lu.order.size):
        bk = b[lu.order[k]]
        for i in range(lu.lptr[k], lu.lptr[k + 1]):
            b[lu.lrow[i]] -= a[lu.lpos[i]] * bk
    for k in range(lu.order.size - 1, -1, -1):
        r = lu.order[k]
        acc = b[r]
        for j in range(lu.uptr[k], lu.uptr[k + 1]):
            acc -= a[lu.upos[j]] * b[lu.ucol[j]]
        b[r] = acc / a[lu.diag[k]]


@nb.njit(cache=True)
def newton(ar, p, x, xprev, vj, latch, hist, t, h, stray, most, a, f):  # type: ignore[no-untyped-def]
    """Iterate to a solution of one row in place. Returns iterations used, or -1.

    Eight in every twenty-four steps are halved, which breaks the loops of two that full steps fall
    into between the two ends of an amplifier's range.
    """
    for it in range(most):
        reach = 0.5 if it % 24 >= 16 else 1.0
        limited = assemble(ar, p, x, xprev, vj, latch, hist, t, h, stray, True, a, f)
        if not factor(ar.lu, a):
            return -1
        f[ar.n] = 0.0
        backsolve(ar.lu, a, f)
        worst = 0.0
        for i in range(ar.n):
            step = f[i]
            if not math.isfinite(step) or abs(x[i]) > 1e7:
                return -1
            x[i] -= reach * step
            worst = max(worst, abs(step) / (1e-7 + 1e-7 * abs(x[i])))
        if worst < 1.0 and not limited and reach == 1.0:
            return it + 1
    return -1


@nb.njit(cache=True)
def switch(ar, p, x, latch):  # type: ignore[no-untyped-def]
    """Let thyristors and gas tubes, then relays, change state at `x`. Returns how many did.

    A thyristor or a gas tube fires in microseconds, a relay moves in milliseconds: relays wait
    until neither wants to change, or a relay would pull on volts that never last that long.
    """
    changed = 0
    for e in range(ar.code.size):
        o = ar.offset[e]
        if ar.code[e] == el.SCR:
            va = x[ar.nodes[e, 0]] - x[ar.nodes[e, 1]]
            vg = x[ar.nodes[e, 2]] - x[ar.nodes[e, 1]]
            up, _ = grow(vg / p[o + 1])
            fired = p[o] * (up - 1.0) >= p[o + 2] and p[o + 8] > 0.5
            if latch[e] == 0 and fired and va > p[o + 4]:
                latch[e] = 1
                changed += 1
            elif latch[e] == 1 and not fired:
                up, _ = soft((va - p[o + 4]) / 0.03)
                if 0.03 * up / p[o + 5] < p[o + 3]:
                    latch[e] = 0
                    changed += 1
        elif ar.code[e] == el.GAS and gas_moves(p, o, x, ar.nodes, e, latch):
            latch[e] = 1 - latch[e]
            changed += 1
    if changed > 0:
        return changed
    for e in range(ar.code.size):
        o = ar.offset[e]
        if ar.code[e] == el.CONTACT:
            coil = abs(x[ar.nodes[e, 2]] - x[ar.nodes[e, 3]])
            closed = latch[e] == 1
            on = closed != (p[o + 4] > 0.5)  # coil energised
            if not on and coil >= p[o + 2]:
                on = True
            elif on and coil < p[o + 3]:
                on = False
            now = on != (p[o + 4] > 0.5)
            if p[o + 5] > 0.5:
                now = True
            elif p[o + 5] < -0.5:
                now = False
            if now != closed:
                latch[e] = 1 if now else 0
                changed += 1
    return changed


@nb.njit(cache=True)
def remember(ar, p, x, hist, h):  # type: ignore[no-untyped-def]
    """After an accepted time step, store capacitor voltages and inductor currents."""
    for e in range(ar.code.size):
        c = ar.code[e]
        if c != el.CAPACITOR and c != el.INDUCTOR:
            continue
        o = ar.offset[e]
        v = x[ar.nodes[e, 0]] - x[ar.nodes[e, 1]]
        if c == el.CAPACITOR:
            if p[o] > 0.0:
                hist[e] += h / p[o] * (v - hist[e]) / (p[o + 1] + h / p[o])
        else:
            hist[e] = (v + p[o] / h * hist[e]) / (p[o + 1] + p[o] / h)


@nb.njit(cache=True)
def residual(ar, p, x, latch, f, a, hist, vj):  # type: ignore[no-untyped-def]
    """Largest unbalanced current [A] of any net at direct current, without step limiting."""
    assemble(ar, p, x, x, vj, latch, hist, 0.0, 0.0, 0.0, False, a, f)
    return np.abs(f[: ar.n]).max() if ar.n else 0.0
