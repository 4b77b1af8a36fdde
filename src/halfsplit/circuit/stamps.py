"""What each nonlinear element adds to the currents and the matrix, compiled.

`p` holds the row's parameters from offset `o`; `n` the nets of element `e`; `jac` where its entries
stand in the flat matrix `a`; `vj` what its junctions were limited to in the last step; `hq` the
history its stored charge is measured from in a time step of effective length `h` [s].
"""

from __future__ import annotations

import math

from halfsplit.circuit.apart import jit_within
from halfsplit.circuit.devices import bends, clamp, grow, land, limit_step, soft
from halfsplit.circuit.elements import THERMAL_VOLTAGE as VT
from halfsplit.circuit.example import ARRAYS, INDEX, REAL, VECTOR
from halfsplit.circuit.jit import jit_inner


@jit_within(VECTOR, VECTOR, ARRAYS.jac, INDEX, INDEX, INDEX, INDEX, INDEX, REAL, REAL)
def stamp_two(f, a, jac, e, i, j, ni, nj, current, slope):  # type: ignore[no-untyped-def]
    """Stamp a current from terminal i to j that depends on the voltage between them."""
    f[ni] += current
    f[nj] -= current
    a[jac[e, i, i]] += slope
    a[jac[e, j, j]] += slope
    a[jac[e, i, j]] -= slope
    a[jac[e, j, i]] -= slope


@jit_inner
def stamp_source(f, a, jac, e, p, o, x, n, t):  # type: ignore[no-untyped-def]
    """Bench supply that slides into its current limit, of whichever polarity it is."""
    emf = p[o + 1] + p[o + 2] * math.sin(2.0 * math.pi * p[o + 3] * t + p[o + 4])
    g, top = p[o], p[o + 5]
    way = -1.0 if emf < 0.0 else 1.0
    give = way * (emf - x[n[e, 0]] + x[n[e, 1]]) * g
    if give > 0.9 * top:
        over = math.exp(-(give - 0.9 * top) / (0.1 * top))
        g = g * over + 1e-9
        give = top - 0.1 * top * over
    stamp_two(f, a, jac, e, 0, 1, n[e, 0], n[e, 1], -way * give, g)


@jit_inner
def stamp_sink(f, a, jac, e, p, o, x, n):  # type: ignore[no-untyped-def]
    """Constant-current load."""
    if p[o] == 0.0 and p[o + 2] == 0.0:
        return
    v = x[n[e, 0]] - x[n[e, 1]]
    th = math.tanh(v / p[o + 1])
    slope = p[o] * (1.0 - th * th) / p[o + 1] + p[o + 2]
    stamp_two(f, a, jac, e, 0, 1, n[e, 0], n[e, 1], p[o] * th + p[o + 2] * v, slope)


@jit_inner
def stamp_lamp(f, a, jac, e, p, o, x, n):  # type: ignore[no-untyped-def]
    """Filament, hotter with voltage."""
    v = x[n[e, 0]] - x[n[e, 1]]
    hot, cold = p[o] / max(p[o + 1], 1e-15), p[o + 2]
    root = (1.0 - cold) * math.sqrt(abs(v) / p[o])
    r = hot * (cold + root)
    slope = (1.0 - 0.5 * hot * root / r) / r + p[o + 3]
    stamp_two(f, a, jac, e, 0, 1, n[e, 0], n[e, 1], v / r + p[o + 3] * v, slope)


@jit_inner
def stamp_diode(f, a, jac, e, p, o, x, n, vj, hq, h, limiting):  # type: ignore[no-untyped-def]
    """Junction with breakdown, stored charge and a parallel path. True if its step was limited."""
    na, nk = n[e, 0], n[e, 1]
    v = x[na] - x[nk]
    sat, nvt, g, bv, ibv, nbv = p[o], p[o + 1], p[o + 2], p[o + 3], p[o + 4], p[o + 5]
    held = v
    if limiting:
        old = vj[e, 0]
        if sat > 0.0 and v > 0.0:
            held = limit_step(v, old, nvt, sat)
        elif ibv > 0.0 and v < -bv:
            held = -bv - limit_step(-v - bv, -old - bv, nbv, ibv)
    vj[e, 0] = held
    up, slope = grow(held / nvt)
    i = sat * (up - 1.0)
    s = sat * slope / nvt
    if h > 0.0 and p[o + 6] > 0.0:  # charge tt * i must be brought in or carried out
        k = p[o + 6] / h
        i += k * (i - hq[e, 0])
        s *= 1.0 + k
    if ibv > 0.0:
        up, slope = grow((-held - bv) / nbv)
        i -= ibv * up
        s += ibv * slope / nbv
    stamp_two(f, a, jac, e, 0, 1, na, nk, i + s * (v - held) + g * v, s + g)
    return abs(v - held) > 1e-9 + 1e-6 * abs(v)


@jit_inner
def _floating_base(f, a, jac, e, p, o, x, nc, ne):  # type: ignore[no-untyped-def]
    """Collector to emitter with the base lead off: its own leakage times its gain.

    The base floats to where its two junction currents cancel, which leaves a law of two terminals.
    """
    pol, ist, isf, isr = p[o], p[o + 1], p[o + 2], p[o + 3]
    i, s = 0.0, 0.0
    if isf + isr > 0.0:
        up = math.exp(min(max(-pol * (x[nc] - x[ne]) / VT, -40.0), 40.0))
        base = (isf + isr) / (isf + isr * up)  # exp(vbe / VT)
        slope = -base * isr / (isf + isr * up)
        i = ist * base * (1.0 - up) - isr * (base * up - 1.0)
        by_up = ist * (slope * (1.0 - up) - base) - isr * (slope * up + base)
        s = -by_up * up / VT
    s += p[o + 5]
    stamp_two(f, a, jac, e, 0, 2, nc, ne, pol * i + p[o + 5] * (x[nc] - x[ne]), s)


@jit_inner
def stamp_bjt(f, a, jac, e, p, o, x, n, vj, hq, h, limiting):  # type: ignore[no-untyped-def]
    """Ebers-Moll transistor, gain falling at high current, stored charge. True if limited."""
    nc, nb_, ne = n[e, 0], n[e, 1], n[e, 2]
    pol, ist, isf, isr, ivaf = p[o], p[o + 1], p[o + 2], p[o + 3], p[o + 4]
    if p[o + 11] > 0.0:
        _floating_base(f, a, jac, e, p, o, x, nc, ne)
        return False
    vbe, vbc = pol * (x[nb_] - x[ne]), pol * (x[nb_] - x[nc])
    ube, ubc = vbe, vbc
    if limiting:
        ube = limit_step(vbe, vj[e, 0], VT, max(ist, isf))
        ubc = limit_step(vbc, vj[e, 1], VT, max(ist, isr))
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
    ibe, ibc = isf * (ef - 1.0), isr * (er - 1.0)
    db_be, db_bc = isf * gf, isr * gr
    ic = it - ibc + dc_be * (vbe - ube) + dc_bc * (vbc - ubc)
    if h > 0.0 and (p[o + 9] > 0.0 or p[o + 10] > 0.0):
        # Charge of the forward and the reverse transport current, held on the two junctions; the
        # forward one falls behind with the gain and grows with the Early effect, as the current
        # does (Gummel and Poon: the charge is tf times the current over their q_b).
        rate = p[o + 9] / h
        ibe += rate * (ist * ef * q / k - hq[e, 0])
        db_be += rate * ist * gf * q / k * (1.0 - ist * ef * p[o + 8] / (k * root))
        db_bc -= rate * ist * ef * ivaf / k
        rate = p[o + 10] / h
        extra, slope = rate * (ist * er - hq[e, 1]), rate * ist * gr
        ibc += extra
        db_bc += slope
        ic -= extra + slope * (vbc - ubc)
        dc_bc -= slope
    ib = ibe + ibc + db_be * (vbe - ube) + db_bc * (vbc - ubc)
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
    if gce != 0.0 or gbe != 0.0 or gcb != 0.0:
        stamp_two(f, a, jac, e, 0, 2, nc, ne, gce * (x[nc] - x[ne]), gce)
        stamp_two(f, a, jac, e, 1, 2, nb_, ne, gbe * (x[nb_] - x[ne]), gbe)
        stamp_two(f, a, jac, e, 0, 1, nc, nb_, gcb * (x[nc] - x[nb_]), gcb)
    return abs(vbe - ube) > 1e-9 + 1e-6 * abs(vbe) or abs(vbc - ubc) > 1e-9 + 1e-6 * abs(vbc)


@jit_inner
def stamp_scr(f, a, jac, e, p, o, x, n, vj, latch, limiting):  # type: ignore[no-untyped-def]
    """Thyristor in the state it is latched in. True if its step was limited."""
    na, nk, ng = n[e, 0], n[e, 1], n[e, 2]
    sat, nvt = p[o], p[o + 1]
    v = x[ng] - x[nk]
    held = v
    if limiting and sat > 0.0 and v > 0.0:
        held = limit_step(v, vj[e, 0], nvt, sat)
    vj[e, 0] = held
    up, slope = grow(held / nvt)
    s = sat * slope / nvt
    stamp_two(
        f, a, jac, e, 2, 1, ng, nk, sat * (up - 1.0) + s * (v - held) + p[o + 7] * v, s + p[o + 7]
    )
    vak = x[na] - x[nk]
    i, g = p[o + 6] * vak, p[o + 6]
    if latch[e] == 1:
        w = 0.03  # V, rounding of the on-state knee
        up, slope = soft((vak - p[o + 4]) / w)
        i += w * up / p[o + 5]
        g += slope / p[o + 5]
    stamp_two(f, a, jac, e, 0, 1, na, nk, i, g)
    return abs(v - held) > 1e-9 + 1e-6 * abs(v)


@jit_inner
def stamp_amplifier(f, a, jac, e, p, o, x, n, vj, limiting):  # type: ignore[no-untyped-def]
    """Op-amp or comparator between its supplies. True if its step was limited."""
    np_, nm, no, nh, nl = n[e, 0], n[e, 1], n[e, 2], n[e, 3], n[e, 4]
    gain, gout, lim = p[o], p[o + 1], p[o + 4]
    high, low = x[nh] - p[o + 2], x[nl] + p[o + 3]
    half = 0.5 * (high - low)
    dhalf = 0.5
    if half < 0.05:
        half, dhalf = 0.05, 0.0
    u = gain * (x[np_] - x[nm] + p[o + 5]) / half
    held = u
    moved = False
    if limiting:
        held = land(u, vj[e, 0], -1.0, 1.0)
        moved = abs(u - held) > 1e-3 or bends(held, vj[e, 0])
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
        # The current limit is flat too: without this stop a step taken in limit one way lands in
        # limit the other way, thousands of volts off.
        over = gout * (x[no] - target) / lim
        kept = over
        if limiting:
            kept = land(over, vj[e, 1], -1.0, 1.0)
            moved |= abs(over - kept) > 1e-3 or bends(kept, vj[e, 1])
        vj[e, 1] = kept
        th = math.tanh(kept)
        i = lim * (th + (1.0 - th * th) * (over - kept))
        g = gout * (1.0 - th * th)
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
    stamp_two(f, a, jac, e, 0, 1, np_, nm, p[o + 7] * (x[np_] - x[nm]), p[o + 7])
    stamp_two(f, a, jac, e, 3, 4, nh, nl, p[o + 8] * (x[nh] - x[nl]), p[o + 8])
    return moved


@jit_inner
def stamp_regulator(f, a, jac, e, p, o, x, n, vj, limiting):  # type: ignore[no-untyped-def]
    """Three-terminal regulator with drop-out and current limit. True if its step was limited."""
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
    stamp_two(f, a, jac, e, 0, 1, ni, nc, pol * iq, p[o + 5] * (1.0 - math.tanh(vin) ** 2))
    stamp_two(f, a, jac, e, 0, 2, ni, no, p[o + 6] * (x[ni] - x[no]), p[o + 6])
    return abs(d - held) > 1e-6 * lim + 1e-3 * abs(d)
