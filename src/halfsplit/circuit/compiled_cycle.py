"""Steady mains cycle, compiled: each row stepped from switch-on until it repeats."""

from __future__ import annotations

import numpy as np

from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.compiled_op import BALANCE
from halfsplit.circuit.compiled_step import (
    AMPS,
    KNOWN,
    LAST,
    MARCH,
    NEXT,
    TIME,
    TOL,
    VOLTS,
    advance,
    restart,
    unbalanced,
)
from halfsplit.circuit.compiled_tally import TALLY, clear, note, trace
from halfsplit.circuit.example import ARRAYS, REAL, VECTOR, WAVE
from halfsplit.circuit.jit import jit
from halfsplit.circuit.kernel import WORK
from halfsplit.circuit.room import put
from halfsplit.circuit.solution import Status

REPEAT = 2e-4  # relative change of any stored voltage or current over a cycle that counts as none
# Error of a step as a share of a store's largest value; ripple is a few per cent of that.
SHARE = 1e-4
# So many cycles after switch-on are stepped as loosely as a circuit that is followed: nothing of
# them is shown, they only lead to the state whose cycle is.
INRUSH, INRUSH_SHARE = 3, 2e-3
CYCLE_TOL = 1e-6  # last Newton step allowed; a tenth of it moved no store of the tray by 1e-8 of it
REPEAT_FLOOR = 5e-4  # V or A added to the above
_OK, _FAILED, _MOVING = int(Status.SOLVED), int(Status.UNSOLVED), int(Status.NOT_SETTLED)


@jit_apart(ARRAYS, VECTOR, MARCH, WORK, TALLY, REAL, REAL, WAVE)
def one_period(ar, p, m, w, y, end, coarsest, wave):  # type: ignore[no-untyped-def]
    """Step to time `end` [s] exactly, tallying, its samples in `wave` (N, K).

    False when the steps fail or grow too many.
    """
    clear(y)
    start = m.ctl[TIME]
    # The same first step every period: a step length carried over would make cycles alternate.
    m.ctl[NEXT] = min(m.ctl[NEXT], 0.5 * coarsest)
    if m.ctl[KNOWN] >= 2.0:
        m.ctl[NEXT] = 0.5 * coarsest
    for _ in range(20000):
        left = end - m.ctl[TIME]
        if left <= 1e-12:
            return True
        # Two steps rather than a long one and a sliver.
        most = left if left <= coarsest else min(coarsest, 0.5 * left)
        h = advance(ar, p, m, w, most)
        if h < 0.0:
            return False
        note(ar, m, h, -1, y)
        trace(ar, m, h, start, end - start, wave)
    return False


@jit
def cycle_row(  # type: ignore[no-untyped-def]
    ar, p, hertz, steps, most, mean, low, high, wave, latched, told, past, y, m, w
):
    """Step a row to a repeating cycle; the last one's mean, lowest, highest and samples stay.

    `told` (3) becomes its status, largest unbalanced current [A] and cycles; `past` (3, E), `y`,
    `m` and `w` are room for one row, as made.
    """
    first, previous, rate = past[0], past[1], past[2]
    period = 1.0 / hertz
    m.ctl[TOL] = CYCLE_TOL
    how = _MOVING
    calm = 0
    since = 0
    c = 0
    for c in range(most):
        for e in ar.store:
            first[e] = m.q0[e, 0]
        share = INRUSH_SHARE if c < INRUSH else SHARE
        m.ctl[VOLTS], m.ctl[AMPS] = share, share
        if not one_period(ar, p, m, w, y, (c + 1) * period, period / steps, wave):
            how = _FAILED
            break
        worst = 0.0
        for e in ar.store:
            moved = abs(m.q0[e, 0] - first[e])
            if (m.q0[e, 0] - first[e]) * (first[e] - previous[e]) < 0.0:
                # Step lengths may alternate between two ways round: look two cycles back.
                moved = min(moved, abs(m.q0[e, 0] - previous[e]))
            worst = max(worst, moved / (REPEAT_FLOOR + REPEAT * abs(m.q0[e, 0])))
        calm = calm + 1 if worst < 1.0 else 0
        if calm >= 2 and c >= 4:
            how = _OK
            break
        since += 1
        help_on = since >= 5 and c >= 8 and worst >= 1.0 and c < most - 8
        for e in ar.store:
            d0 = first[e] - previous[e]
            d1 = m.q0[e, 0] - first[e]
            ratio = d1 / d0 if d0 != 0.0 else 0.0
            # Only what creeps by a steady ratio may be helped along: what rings between a choke
            # and its capacitors would be thrown far off, and take minutes to bleed down.
            even = abs(ratio - rate[e]) < 0.1 * (1.0 - ratio)
            rate[e] = ratio
            if help_on and even and abs(d1) > REPEAT_FLOOR and 0.0 < ratio < 0.995:
                m.q0[e, 0] += d1 * ratio / (1.0 - ratio)
        if help_on:
            restart(m, 1e-2 * m.ctl[LAST])
            since = 0
            calm = 0
        put(previous, first)
    put(latched, m.latch)
    for i in range(ar.n):
        mean[i] = y.total[i] / max(y.span[0], 1e-300)
        low[i] = y.low[i]
        high[i] = y.high[i]
    left = unbalanced(ar, p, m, w) if how != _FAILED else np.inf
    told[0] = how if left <= BALANCE else _FAILED
    told[1], told[2] = left, c + 1
