"""Compiled: what changes between solves. Latched devices switch, stores take new content."""

from __future__ import annotations

import math

from halfsplit.circuit import elements as el
from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.devices import grow, soft
from halfsplit.circuit.elements import THERMAL_VOLTAGE as VT
from halfsplit.circuit.example import ARRAYS, LATCH, REAL, STORES, VECTOR
from halfsplit.circuit.jit import jit_inner
from halfsplit.circuit.valve_stamps import gas_moves


@jit_inner
def _thyristor(ar, p, x, latch, e):  # type: ignore[no-untyped-def]
    o = ar.offset[e]
    va = x[ar.nodes[e, 0]] - x[ar.nodes[e, 1]]
    vg = x[ar.nodes[e, 2]] - x[ar.nodes[e, 1]]
    up, _ = grow(vg / p[o + 1])
    fired = p[o] * (up - 1.0) >= p[o + 2] and p[o + 8] > 0.5
    if latch[e] == 0 and fired and va > p[o + 4]:
        latch[e] = 1
        return 1
    if latch[e] == 1 and not fired:
        up, _ = soft((va - p[o + 4]) / 0.03)
        if 0.03 * up / p[o + 5] < p[o + 3]:
            latch[e] = 0
            return 1
    return 0


@jit_inner
def _contact(ar, p, x, latch, e):  # type: ignore[no-untyped-def]
    o = ar.offset[e]
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
        return 1
    return 0


@jit_apart(ARRAYS, VECTOR, VECTOR, LATCH)
def switch(ar, p, x, latch):  # type: ignore[no-untyped-def]
    """Let thyristors and gas tubes, then relays, change state at `x`. Returns how many did.

    A thyristor or a gas tube fires in microseconds, a relay moves in milliseconds: relays wait
    until neither wants to change, or a relay would pull on volts that never last that long.
    """
    changed = 0
    for e in ar.curved:
        if ar.code[e] == el.SCR:
            changed += _thyristor(ar, p, x, latch, e)
        elif ar.code[e] == el.GAS and gas_moves(p, ar.offset[e], x, ar.nodes, e, latch):
            latch[e] = 1 - latch[e]
            changed += 1
    if changed > 0:
        return changed
    for e in ar.straight:
        if ar.code[e] == el.CONTACT:
            changed += _contact(ar, p, x, latch, e)
    return changed


@jit_apart(ARRAYS, VECTOR, VECTOR, STORES, REAL, STORES)
def content(ar, p, x, hq, h, q):  # type: ignore[no-untyped-def]
    """Fill `q` (E, 2) with what every store holds at `x`, the end of a step of effective length h.

    Capacitors: inner voltage [V]; inductors: current [A]; junctions: the current [A] that their
    charge belongs to.
    """
    for e in ar.store:
        c, o = ar.code[e], ar.offset[e]
        v = x[ar.nodes[e, 0]] - x[ar.nodes[e, 1]]
        if c == el.CAPACITOR:
            if p[o] > 0.0:
                q[e, 0] = hq[e, 0] + h / p[o] * (v - hq[e, 0]) / (p[o + 1] + h / p[o])
        elif c == el.INDUCTOR:
            q[e, 0] = (v + p[o] / h * hq[e, 0]) / (p[o + 1] + p[o] / h)
        elif c == el.DIODE:
            if p[o + 6] > 0.0:
                up, _ = grow(v / p[o + 1])
                q[e, 0] = p[o] * (up - 1.0)
        elif (p[o + 9] > 0.0 or p[o + 10] > 0.0) and p[o + 11] == 0.0:
            pol = p[o]
            up, _ = grow(pol * (x[ar.nodes[e, 1]] - x[ar.nodes[e, 2]]) / VT)
            flow = p[o + 1] * up
            back = pol * (x[ar.nodes[e, 1]] - x[ar.nodes[e, 0]])
            early = max(1.0 - back * p[o + 4], 0.05)  # as in stamp_bjt
            q[e, 0] = flow * early / (0.5 * (1.0 + math.sqrt(1.0 + 4.0 * flow * p[o + 8])))
            up, _ = grow(back / VT)
            q[e, 1] = p[o + 1] * up
