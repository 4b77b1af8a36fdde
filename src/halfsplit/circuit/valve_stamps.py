"""What valves and gas tubes add to the currents and the matrix, compiled.

Arguments as in :mod:`halfsplit.circuit.stamps`. The laws are powers of 1.3 to 1.5 with an
exponential only below cut-off, so from any conducting guess Newton comes down to the solution by
itself; what has to be stopped is a step that jumps over the cut-off knee, where the slope changes
a thousandfold.
"""

from __future__ import annotations

import math

from halfsplit.circuit import elements as el
from halfsplit.circuit.apart import jit_within
from halfsplit.circuit.devices import land, soft
from halfsplit.circuit.example import ARRAYS, INDEX, REAL, VECTOR
from halfsplit.circuit.jit import jit_inner
from halfsplit.circuit.stamps import stamp_two

# V, rounding of the knee of a lit gas tube; small beside any maintaining voltage.
KNEE = 0.05


@jit_inner
def drive(v, vg, mu, kp, kvb):  # type: ignore[no-untyped-def]
    """Koren's drive [V] at anode (pentode: screen) `v` and grid `vg`; slopes to v and to vg."""
    if v <= 0.0:
        return 0.0, 0.0, 0.0
    root = math.sqrt(kvb + v * v)
    up, slope = soft(kp * (1.0 / mu + vg / root))
    return v / kp * up, up / kp - slope * vg * v * v / root**3, slope * v / root


@jit_inner
def three_halves(v):  # type: ignore[no-untyped-def]
    """v^1.5 above 0 V, nothing below; and its slope.

    A hot cathode really drives some microamperes at 0 V; leaving that out keeps a machine that is
    switched off at nothing.
    """
    if v <= 0.0:
        return 0.0, 0.0
    root = math.sqrt(v)
    return root**3, 1.5 * root


@jit_inner
def hold_grid(vg, knee, vj, e, limiting):  # type: ignore[no-untyped-def]
    """Grid voltage to evaluate at: a step across cut-off stops on it."""
    if not limiting:
        return vg
    kept = land(vg - knee, vj[e, 0], 0.0, 0.0)
    vj[e, 0] = kept
    return kept + knee


@jit_inner
def _carry(f, ni, nj, current):  # type: ignore[no-untyped-def]
    """Add a current from net ni to net nj."""
    f[ni] += current
    f[nj] -= current


@jit_within(VECTOR, ARRAYS.jac, INDEX, INDEX, INDEX, INDEX, INDEX, REAL)
def _slope(a, jac, e, i, j, plus, minus, g):  # type: ignore[no-untyped-def]
    """Slope of a current from i to j with the voltage from terminal `plus` to `minus`."""
    a[jac[e, i, plus]] += g
    a[jac[e, i, minus]] -= g
    a[jac[e, j, plus]] -= g
    a[jac[e, j, minus]] += g


@jit_inner
def stamp_triode(f, a, jac, e, p, o, x, n, vj, limiting):  # type: ignore[no-untyped-def]
    """Triode with grid current. True if its step was limited."""
    na, ng, nk = n[e, 0], n[e, 1], n[e, 2]
    v, vg = x[na] - x[nk], x[ng] - x[nk]
    mu, ex, kg1, kp, kvb = p[o], p[o + 1], p[o + 2], p[o + 3], p[o + 4]
    alive = p[o + 6] * p[o + 7]
    held = vg
    if alive > 0.0:
        held = hold_grid(vg, -math.sqrt(kvb + v * v) / mu, vj, e, limiting)
        d, dv, dg = drive(v, held, mu, kp, kvb)
        if d > 0.0:
            i = 2.0 * alive / kg1 * d**ex
            s = ex * i / d
            _carry(f, na, nk, i + s * dg * (vg - held))
            _slope(a, jac, e, 0, 2, 0, 2, s * dv)
            _slope(a, jac, e, 0, 2, 1, 2, s * dg)
        i, s = three_halves(vg)
        stamp_two(f, a, jac, e, 1, 2, ng, nk, alive * p[o + 5] * i, alive * p[o + 5] * s)
    gak, ggk, gag = p[o + 8], p[o + 9], p[o + 10]
    stamp_two(f, a, jac, e, 0, 2, na, nk, gak * v, gak)
    stamp_two(f, a, jac, e, 1, 2, ng, nk, ggk * vg, ggk)
    stamp_two(f, a, jac, e, 0, 1, na, ng, gag * (v - vg), gag)
    return abs(vg - held) > 1e-9 + 1e-6 * abs(vg)


@jit_inner
def stamp_pentode(f, a, jac, e, p, o, x, n, vj, limiting):  # type: ignore[no-untyped-def]
    """Pentode with screen and grid current. True if its step was limited."""
    na, ng, ns, nk = n[e, 0], n[e, 1], n[e, 2], n[e, 3]
    v, vg, vs = x[na] - x[nk], x[ng] - x[nk], x[ns] - x[nk]
    mu, ex, kg1, kp, kvb, kg2 = p[o], p[o + 1], p[o + 2], p[o + 3], p[o + 4], p[o + 5]
    alive = p[o + 7] * p[o + 8]
    held = vg
    if alive > 0.0:
        held = hold_grid(vg, -math.sqrt(1.0 + vs * vs) / mu, vj, e, limiting)
        d, ds, dg = drive(vs, held, mu, kp, 1.0)
        if d > 0.0:
            power = alive * d**ex
            s = ex * power / d
            if v > 0.0:
                share = 2.0 / kg1 * math.atan(v / kvb)
                bend = 2.0 / kg1 * kvb / (kvb * kvb + v * v)
                i = power * share + s * share * dg * (vg - held)
                _carry(f, na, nk, i)
                _slope(a, jac, e, 0, 3, 0, 3, power * bend)
                _slope(a, jac, e, 0, 3, 1, 3, s * share * dg)
                _slope(a, jac, e, 0, 3, 2, 3, s * share * ds)
            _carry(f, ns, nk, (power + s * dg * (vg - held)) / kg2)
            _slope(a, jac, e, 2, 3, 1, 3, s * dg / kg2)
            _slope(a, jac, e, 2, 3, 2, 3, s * ds / kg2)
        i, s = three_halves(vg)
        stamp_two(f, a, jac, e, 1, 3, ng, nk, alive * p[o + 6] * i, alive * p[o + 6] * s)
    gak, ggk, gag, gsk, gas = p[o + 9], p[o + 10], p[o + 11], p[o + 12], p[o + 13]
    stamp_two(f, a, jac, e, 0, 3, na, nk, gak * v, gak)
    stamp_two(f, a, jac, e, 1, 3, ng, nk, ggk * vg, ggk)
    stamp_two(f, a, jac, e, 0, 1, na, ng, gag * (v - vg), gag)
    stamp_two(f, a, jac, e, 2, 3, ns, nk, gsk * vs, gsk)
    stamp_two(f, a, jac, e, 0, 2, na, ns, gas * (v - vs), gas)
    return abs(vg - held) > 1e-9 + 1e-6 * abs(vg)


@jit_inner
def stamp_vacuum(f, a, jac, e, p, o, x, n):  # type: ignore[no-untyped-def]
    """Vacuum diode."""
    na, nk = n[e, 0], n[e, 1]
    v = x[na] - x[nk]
    i, s = three_halves(v)
    k = p[o] * p[o + 1] * p[o + 2]
    stamp_two(f, a, jac, e, 0, 1, na, nk, k * i + p[o + 3] * v, k * s + p[o + 3])


@jit_inner
def lit_current(v, volts, r):  # type: ignore[no-untyped-def]
    """Current [A] of a lit gas tube at `v` and its slope [S]."""
    up, slope = soft((v - volts) / KNEE)
    return KNEE * up / r, slope / r


@jit_inner
def stamp_gas(f, a, jac, e, p, o, x, n, latch):  # type: ignore[no-untyped-def]
    """Gas tube in the state it is latched in."""
    na, nk = n[e, 0], n[e, 1]
    v = x[na] - x[nk]
    i, g = p[o + 4] * v, p[o + 4]
    if latch[e] == 1:
        more, slope = lit_current(v, p[o], p[o + 1])
        i += more
        g += slope
    stamp_two(f, a, jac, e, 0, 1, na, nk, i, g)


@jit_inner
def gas_moves(p, o, x, nodes, e, latch):  # type: ignore[no-untyped-def]
    """Whether a gas tube strikes or goes out at `x`."""
    v = x[nodes[e, 0]] - x[nodes[e, 1]]
    if latch[e] == 0:
        return p[o + 5] > 0.5 and v >= p[o + 2]
    i, _ = lit_current(v, p[o], p[o + 1])
    return p[o + 5] < 0.5 or i < p[o + 3]


@jit_inner
def holds_gas(ar):  # type: ignore[no-untyped-def]
    """Whether any element is a gas tube."""
    found = False
    for e in range(ar.code.size):
        found |= ar.code[e] == el.GAS
    return found
