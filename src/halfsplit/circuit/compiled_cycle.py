"""Steady mains cycle, compiled: each row stepped from switch-on until it repeats."""

from __future__ import annotations

import numba as nb
import numpy as np

from halfsplit.circuit.compiled_op import BALANCE
from halfsplit.circuit.kernel import STRAY, assemble, newton, remember, switch
from halfsplit.circuit.solution import Status

REPEAT = 2e-4  # relative change of any stored voltage or current over a cycle that counts as none
REPEAT_FLOOR = 5e-4  # V or A added to the above
_OK, _FAILED, _MOVING = int(Status.SOLVED), int(Status.UNSOLVED), int(Status.NOT_SETTLED)


@nb.njit(cache=True)
def advance(ar, p, x, vj, latch, hist, t, h, a, f, before, keep, probe):  # type: ignore[no-untyped-def]
    """One time step, cut as often as needed. Returns False if even tiny steps fail.

    `probe[0]` asks for, `probe[1]` receives the largest current [A] left over at any net, from the
    step's own equations without limiting.
    """
    done = 0.0
    part = h
    while done < h * (1.0 - 1e-9):
        before[:] = x
        keep[:] = vj
        if newton(ar, p, x, before, vj, latch, hist, t + done + part, part, STRAY, 25, a, f) < 0:
            x[:] = before
            vj[:] = keep
            part *= 0.25
            if part < h * 1e-7:
                return False
            continue
        if probe[0] > 0.0:
            now = t + done + part
            assemble(ar, p, x, before, vj, latch, hist, now, part, STRAY, False, a, f)
            probe[1] = np.abs(f[: ar.n]).max()
        remember(ar, p, x, hist, part)
        done += part
        switch(ar, p, x, latch)
        part = min(part * 2.0, h - done)
    return True


@nb.njit(cache=True, nogil=True)
def cycle_rows(ar, rows, hertz, steps, most, mean, low, high, status, res, latched, used):  # type: ignore[no-untyped-def]
    """Step each row to a repeating cycle; the last cycle's mean, lowest and highest are kept."""
    elements = ar.code.size
    h = 1.0 / hertz / steps
    for r in range(rows.shape[0]):
        p = rows[r]
        a = np.zeros(ar.lu.nnz + 1)
        f = np.zeros(ar.n + 1)
        x = np.zeros(ar.n + 1)
        before = np.zeros(ar.n + 1)
        vj = np.zeros((elements, 2))
        keep = np.zeros((elements, 2))
        latch = np.zeros(elements, dtype=np.int8)
        hist = np.zeros(elements)
        first = np.zeros(elements)
        probe = np.zeros(2)
        previous = np.zeros(elements)
        rate = np.zeros(elements)
        status[r] = _MOVING
        calm = 0
        since = 0
        for c in range(most):
            first[:] = hist
            mean[r, :] = 0.0
            low[r, :] = 1e300
            high[r, :] = -1e300
            ok = True
            for k in range(steps):
                t = (c * steps + k) * h
                probe[0] = 1.0 if k == steps - 1 else 0.0
                if not advance(ar, p, x, vj, latch, hist, t, h, a, f, before, keep, probe):
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
                moved = abs(hist[e] - first[e])
                worst = max(worst, moved / (REPEAT_FLOOR + REPEAT * abs(hist[e])))
            calm = calm + 1 if worst < 1.0 else 0
            if calm >= 2 and c >= 4:
                status[r] = _OK
                break
            since += 1
            help_on = since >= 5 and c >= 8 and worst >= 1.0 and c < most - 8
            for e in range(elements):
                d0 = first[e] - previous[e]
                d1 = hist[e] - first[e]
                ratio = d1 / d0 if d0 != 0.0 else 0.0
                # Only what creeps by a steady ratio may be helped along: what rings between a choke
                # and its capacitors would be thrown far off, and take minutes to bleed down.
                even = abs(ratio - rate[e]) < 0.1 * (1.0 - ratio)
                rate[e] = ratio
                if help_on and even and abs(d1) > REPEAT_FLOOR and 0.0 < ratio < 0.995:
                    hist[e] += d1 * ratio / (1.0 - ratio)
            if help_on:
                since = 0
                calm = 0
            previous[:] = first
        latched[r] = latch
        res[r] = probe[1] if status[r] != _FAILED else np.inf
        if res[r] > BALANCE:
            status[r] = _FAILED
