"""The compiled core: assemble the nodal equations of one row, factor, solve, iterate.

Everything here works on one row of parameters `p` and one vector of net voltages `x` whose last
entry is common (always 0). Currents in `f` leave the net. Time step `h` <= 0 means direct current.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

from halfsplit.circuit import elements as el
from halfsplit.circuit.devices import clamp, critical, grow, land, limit_step, soft

VT = el.THERMAL_VOLTAGE
LEAK = 1e-12  # S from every net to common, so that no net is wholly adrift
STRAY = 30e-12  # F from every net to common in the time domain: wiring, as measured on such boards


@nb.njit(cache=True, inline="always")
def _two(f, a, jac, e, i, j, ni, nj, current, slope):  # type: ignore[no-untyped-def]
    """Stamp a current from terminal i to j that depends on the voltage between them."""
    f[ni] += current
    f[nj] -= current
    a[jac[e, i, i]] += slope
    a[jac[e, j, j]] += slope
    a[jac[e, i, j]] -= slope
    a[jac[e, j, i]] -= slope


@nb.njit(cache=True)
def _diode(f, a, jac, e, p, o, x, n, vj, limiting):  # type: ignore[no-untyped-def]
    na, nk = n[e, 0], n[e, 1]
    v = x[na] - x[nk]
    sat, nvt, g, bv, ibv, nbv = p[o], p[o + 1], p[o + 2], p[o + 3], p[o + 4], p[o + 5]
    held = v
    if limiting:
        old = vj[e, 0]
        if sat > 0.0 and v > 0.0:
            held = limit_step(v, old, nvt, critical(sat, nvt))
        elif ibv > 0.0 and v < -bv:
            held = -bv - limit_step(-v - bv, -old - bv, nbv, critical(ibv, nbv))
        vj[e, 0] = held
    up, slope = grow(held / nvt)
    i = sat * (up - 1.0)
    s = sat * slope / nvt
    if ibv > 0.0:
        up, slope = grow((-held - bv) / nbv)
        i -= ibv * up
        s += ibv * slope / nbv
    _two(f, a, jac, e, 0, 1, na, nk, i + s * (v - held) + g * v, s + g)
    return abs(v - held) > 1e-9 + 1e-6 * abs(v)


@nb.njit(cache=True)
def _bjt(f, a, jac, e, p, o, x, n, vj, limiting):  # type: ignore[no-untyped-def]
    nc, nb_, ne = n[e, 0], n[e, 1], n[e, 2]
    pol, ist, isf, isr, ivaf = p[o], p[o + 1], p[o + 2], p[o + 3], p[o + 4]
    vbe, vbc = pol * (x[nb_] - x[ne]), pol * (x[nb_] - x[nc])
    ube, ubc = vbe, vbc
    if limiting:
        if ist > 0.0 or isf > 0.0:
            ube = limit_step(vbe, vj[e, 0], VT, critical(max(ist, isf), VT))
        if ist > 0.0 or isr > 0.0:
            ubc = limit_step(vbc, vj[e, 1], VT, critical(max(ist, isr), VT))
        vj[e, 0], vj[e, 1] = ube, ubc
    ef, gf = grow(ube / VT)
    er, gr = grow(ubc / VT)
    gf, gr = gf / VT, gr / VT
    q = 1.0 - ubc * ivaf
    if q < 0.05:  # far outside the straight part of the Early law
        q, ivaf = 0.05, 0.0
    root = math.sqrt(1.0 + 4.0 * ist * ef * p[o + 8])  # high injection: gain falls as 1/current
    k = 0.5 * (1.0 + root)
    it = ist * (ef - er) * q / k
    dc_be = ist * gf * q / k - it / k * ist * gf * p[o + 8] / root
    dc_bc = -ist * gr * q / k - ist * (ef - er) * ivaf / k - isr * gr
    db_be, db_bc = isf * gf, isr * gr
    ic = it - isr * (er - 1.0) + dc_be * (vbe - ube) + dc_bc * (vbc - ubc)
    ib = isf * (ef - 1.0) + isr * (er - 1.0) + db_be * (vbe - ube) + db_bc * (vbc - ubc)
    f[nc] += pol * ic
    f[nb_] += pol * ib
    f[ne] -= pol * (ic + ib)
    a[jac[e, 0, 0]] -= dc_bc
    a[jac[e, 0, 1]] += dc_be + dc_bc
    a[jac[e, 0, 2]] -= dc_be
    a[jac[e, 1, 0]] -= db_bc
    a[jac[e, 1, 1]] += db_be + db_bc
    a[jac[e, 1, 2]] -= db_be
    a[jac[e, 2, 0]] += dc_bc + db_bc
    a[jac[e, 2, 1]] -= dc_be + dc_bc + db_be + db_bc
    a[jac[e, 2, 2]] += dc_be + db_be
    gce, gbe, gcb = p[o + 5], p[o + 6], p[o + 7]
    _two(f, a, jac, e, 0, 2, nc, ne, gce * (x[nc] - x[ne]), gce)
    _two(f, a, jac, e, 1, 2, nb_, ne, gbe * (x[nb_] - x[ne]), gbe)
    _two(f, a, jac, e, 0, 1, nc, nb_, gcb * (x[nc] - x[nb_]), gcb)
    return abs(vbe - ube) > 1e-9 + 1e-6 * abs(vbe) or abs(vbc - ubc) > 1e-9 + 1e-6 * abs(vbc)


@nb.njit(cache=True)
def _scr(f, a, jac, e, p, o, x, n, vj, latch, limiting):  # type: ignore[no-untyped-def]
    na, nk, ng = n[e, 0], n[e, 1], n[e, 2]
    sat, nvt = p[o], p[o + 1]
    v = x[ng] - x[nk]
    held = v
    if limiting:
        if sat > 0.0 and v > 0.0:
            held = limit_step(v, vj[e, 0], nvt, critical(sat, nvt))
        vj[e, 0] = held
    up, slope = grow(held / nvt)
    s = sat * slope / nvt
    _two(f, a, jac, e, 2, 1, ng, nk, sat * (up - 1.0) + s * (v - held) + p[o + 7] * v, s + p[o + 7])
    vak = x[na] - x[nk]
    i, g = p[o + 6] * vak, p[o + 6]
    if latch[e] == 1:
        w = 0.03  # V, rounding of the on-state knee
        up, slope = soft((vak - p[o + 4]) / w)
        i += w * up / p[o + 5]
        g += slope / p[o + 5]
    _two(f, a, jac, e, 0, 1, na, nk, i, g)
    return abs(v - held) > 1e-9 + 1e-6 * abs(v)


@nb.njit(cache=True)
def _amplifier(f, a, jac, e, p, o, x, n, vj, limiting):  # type: ignore[no-untyped-def]
    np_, nm, no, nh, nl = n[e, 0], n[e, 1], n[e, 2], n[e, 3], n[e, 4]
    gain, gout, lim = p[o], p[o + 1], p[o + 4]
    high, low = x[nh] - p[o + 2], x[nl] + p[o + 3]
    half = 0.5 * (high - low)
    dhalf = 0.5
    if half < 0.05:
        half, dhalf = 0.05, 0.0
    u = gain * (x[np_] - x[nm] + p[o + 5]) / half
    held = u
    if limiting:
        held = land(u, vj[e, 0], -1.0, 1.0)
        vj[e, 0] = held
    s = math.tanh(held)
    ds = 1.0 - s * s
    du = gain / half
    if p[o + 11] != 0.0:
        s, ds = p[o + 11], 0.0
    s_lin = s + ds * (u - held)
    if p[o + 9] > 0.5:  # open collector: sinks only, and only while the output is low
        k, dk = 0.5 * (1.0 - s_lin), -0.5 * ds
        over = x[no] - low
        if over < 0.0 or p[o + 10] < 0.5:
            k, dk = 0.0, 0.0
        want = k * gout * over
        i = lim * math.tanh(want / lim)
        g = 1.0 - (i / lim) ** 2
        d_out, d_in, d_low = g * k * gout, g * dk * gout * over * du, -g * k * gout
        f[no] += i
        f[nl] -= i
        a[jac[e, 2, 2]] += d_out
        a[jac[e, 2, 0]] += d_in
        a[jac[e, 2, 1]] -= d_in
        a[jac[e, 2, 4]] += d_low
        a[jac[e, 4, 2]] -= d_out
        a[jac[e, 4, 0]] -= d_in
        a[jac[e, 4, 1]] += d_in
        a[jac[e, 4, 4]] -= d_low
    elif p[o + 10] > 0.5:
        target = 0.5 * (high + low) + half * s_lin
        i = lim * math.tanh(gout * (x[no] - target) / lim)
        g = gout * (1.0 - (i / lim) ** 2)
        # half * s depends on the supplies both through half and through u; the two nearly cancel
        # in the linear region (gain does not depend on supply), so keep the sum exact.
        d_sup = dhalf * (s_lin - ds * u)
        d_in = half * ds * du
        rail, row = (nl, 4) if i > 0.0 else (nh, 3)
        f[no] += i
        f[rail] -= i
        for side, at in ((1.0, 2), (-1.0, row)):
            a[jac[e, at, 2]] += side * g
            a[jac[e, at, 0]] -= side * g * d_in
            a[jac[e, at, 1]] += side * g * d_in
            a[jac[e, at, 3]] -= side * g * (0.5 + d_sup)
            a[jac[e, at, 4]] -= side * g * (0.5 - d_sup)
    f[np_] += p[o + 6]
    f[nm] += p[o + 6]
    f[nl] -= 2.0 * p[o + 6]
    _two(f, a, jac, e, 0, 1, np_, nm, p[o + 7] * (x[np_] - x[nm]), p[o + 7])
    _two(f, a, jac, e, 3, 4, nh, nl, p[o + 8] * (x[nh] - x[nl]), p[o + 8])
    return abs(u - held) > 1e-3


@nb.njit(cache=True)
def _regulator(f, a, jac, e, p, o, x, n, vj, limiting):  # type: ignore[no-untyped-def]
    ni, nc, no = n[e, 0], n[e, 1], n[e, 2]
    pol, volts, gout, lim = p[o], p[o + 1], p[o + 2], p[o + 4]
    vin, vo = pol * (x[ni] - x[nc]), pol * (x[no] - x[nc])
    w = 0.02  # V, rounding between regulation and drop-out
    down, slope = soft((volts - (vin - p[o + 3])) / w)
    target = volts - w * down
    d = gout * (target - vo)
    held = d
    if limiting:
        held = land(d, vj[e, 0], 0.0, lim)
        vj[e, 0] = held
    i, g = clamp(held, lim)
    i += g * (d - held)
    if p[o + 7] < 0.5:
        i, g = 0.0, 0.0
    d_in, d_out = g * gout * slope, -g * gout
    f[ni] += pol * i
    f[no] -= pol * i
    for side, at in ((1.0, 0), (-1.0, 2)):
        a[jac[e, at, 0]] += side * d_in
        a[jac[e, at, 2]] += side * d_out
        a[jac[e, at, 1]] -= side * (d_in + d_out)
    iq = p[o + 5] * math.tanh(vin)
    _two(f, a, jac, e, 0, 1, ni, nc, pol * iq, p[o + 5] * (1.0 - math.tanh(vin) ** 2))
    _two(f, a, jac, e, 0, 2, ni, no, p[o + 6] * (x[ni] - x[no]), p[o + 6])
    return abs(d - held) > 1e-6 * lim + 1e-3 * abs(d)


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
            _two(f, a, jac, e, 0, 1, n0, n1, p[o] * v, p[o])
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
            _two(f, a, jac, e, 0, 1, n0, n1, i, g)
        elif c == el.INDUCTOR:
            series = p[o + 1]
            lift = 0.0
            if h > 0.0:
                series += p[o] / h
                lift = p[o] / h * hist[e]
            _two(
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
            _two(f, a, jac, e, 0, 1, n0, n1, -give, g)
        elif c == el.SINK:
            th = math.tanh(v / p[o + 1])
            _two(
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
            _two(
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
            limited |= _diode(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.BJT:
            limited |= _bjt(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.SCR:
            limited |= _scr(f, a, jac, e, p, o, x, n, vj, latch, limiting)
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
            limited |= _amplifier(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.REGULATOR:
            limited |= _regulator(f, a, jac, e, p, o, x, n, vj, limiting)
        elif c == el.CONTACT:
            g = p[o] if latch[e] == 1 else p[o + 1]
            _two(f, a, jac, e, 0, 1, n0, n1, g * v, g)
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
    """Iterate to a solution of one row in place. Returns iterations used, or -1."""
    for it in range(most):
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
            x[i] -= step
            worst = max(worst, abs(step) / (1e-7 + 1e-7 * abs(x[i])))
        if worst < 1.0 and not limited:
            return it + 1
    return -1


@nb.njit(cache=True)
def switch(ar, p, x, latch):  # type: ignore[no-untyped-def]
    """Let thyristors, then relays, change state at `x`. Returns how many did.

    A thyristor fires in microseconds, a relay moves in milliseconds: relays wait until no
    thyristor wants to change, or a relay would pull on volts that never last that long.
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
