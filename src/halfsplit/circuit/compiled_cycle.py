"""Steady mains cycle, compiled: each row stepped from switch-on until it repeats."""

from __future__ import annotations

import numpy as np

from halfsplit.circuit.compiled_op import BALANCE, TIGHT
from halfsplit.circuit.jit import jit
from halfsplit.circuit.kernel import STRAY, make_work, newton, residual
from halfsplit.circuit.solution import Status
from halfsplit.circuit.states import content, switch

REPEAT = 2e-4  # relative change of any stored voltage or current over a cycle that counts as none
REPEAT_FLOOR = 5e-4  # V or A added to the above
_OK, _FAILED, _MOVING = int(Status.SOLVED), int(Status.UNSOLVED), int(Status.NOT_SETTLED)


@jit
def advance(ar, p, x, latch, hist, t, h, w, before, keep, probe):  # type: ignore[no-untyped-def]
    """One time step, cut as often as needed. Returns False if even tiny steps fail.

    `probe[0]` asks for, `probe[1]` receives the largest current [A] left over at any net, from the
    step's own equations without limiting.
    """
    done = 0.0
    part = h
    while done < h * (1.0 - 1e-9):
        before[:] = x
        keep[:] = w.vj
        if newton(ar, p, x, before, hist, latch, t + done + part, part, STRAY, 25, TIGHT, w) < 0:
            x[:] = before
            w.vj[:] = keep
            part *= 0.25
            if part < h * 1e-7:
                return False
            continue
        if probe[0] > 0.0:
            now = t + done + part
            probe[1] = residual(ar, p, x, before, hist, latch, now, part, STRAY, w)
        content(ar, p, x, hist, part, hist)
        done += part
        switch(ar, p, x, latch)
        part = min(part * 2.0, h - done)
    return True


@jit
def cycle_rows(ar, rows, hertz, steps, most, mean, low, high, status, res, latched, used):  # type: ignore[no-untyped-def]
    """Step each row to a repeating cycle; the last cycle's mean, lowest and highest are kept."""
    elements = ar.code.size
    h = 1.0 / hertz / steps
    for r in range(rows.shape[0]):
        p = rows[r]
        w = make_work(ar)
        x = np.zeros(ar.n + 1)
        before = np.zeros(ar.n + 1)
        keep = np.zeros((elements, 2))
        latch = np.zeros(elements, dtype=np.int8)
        hist = np.zeros((elements, 2))
        first = np.zeros(elements)
        probe = np.zeros(2)
        previous = np.zeros(elements)
        status[r] = _MOVING
        calm = 0
        since = 0
        for c in range(most):
            first[:] = hist[:, 0]
            mean[r, :] = 0.0
            low[r, :] = 1e300
            high[r, :] = -1e300
            ok = True
            for k in range(steps):
                t = (c * steps + k) * h
                probe[0] = 1.0 if k == steps - 1 else 0.0
                if not advance(ar, p, x, latch, hist, t, h, w, before, keep, probe):
                    ok = False
                    break
                for i in range(ar.n):
                    v = x[i]
                    mean[r, i] += v / steps
                    low[r, i] = min(low[r, i], v)
                    high[r, i] = max(high[r, i], v)
            used[r] = c + 1
            if not ok:
                status[r] = _FAILED
                break
            worst = 0.0
            for e in range(elements):
                moved = abs(hist[e, 0] - first[e])
                worst = max(worst, moved / (REPEAT_FLOOR + REPEAT * abs(hist[e, 0])))
            calm = calm + 1 if worst < 1.0 else 0
            if calm >= 2 and c >= 4:
                status[r] = _OK
                break
            since += 1
            if since >= 5 and c >= 8 and worst >= 1.0 and c < most - 8:
                for e in range(elements):
                    d0 = first[e] - previous[e]
                    d1 = hist[e, 0] - first[e]
                    if abs(d1) > REPEAT_FLOOR and d0 * d1 > 0.0 and abs(d1) < 0.995 * abs(d0):
                        ratio = d1 / d0
                        hist[e, 0] += d1 * ratio / (1.0 - ratio)
                since = 0
                calm = 0
            previous[:] = first
        latched[r] = latch
        res[r] = probe[1] if status[r] != _FAILED else np.inf
        if res[r] > BALANCE:
            status[r] = _FAILED
