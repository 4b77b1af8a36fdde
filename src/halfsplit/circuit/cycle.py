"""Steady mains cycle of every row: what a meter averages and a scope sees behind a rectifier.

Each row starts discharged at switch-on and is stepped through whole mains cycles until the stored
state repeats, so the state reported is the one power-up reaches. Slowly creeping stores are helped
along by Aitken extrapolation, then checked by further plain cycles.
"""

from __future__ import annotations

import numba as nb
import numpy as np

from halfsplit.circuit.kernel import STRAY, newton, remember, switch
from halfsplit.circuit.solution import Floats, Solution, Status
from halfsplit.circuit.threads import Progress, spread
from halfsplit.circuit.topology import Topology

STEPS = 200  # per mains cycle: 1.8 degrees; halving it moved demo ripple by under 1 %
REPEAT = 2e-4  # relative change of any stored voltage or current over a cycle that counts as none
REPEAT_FLOOR = 5e-4  # V or A added to the above
_OK, _FAILED, _MOVING = int(Status.SOLVED), int(Status.UNSOLVED), int(Status.NOT_SETTLED)


@nb.njit(cache=True)
def advance(ar, p, x, vj, latch, hist, t, h, a, f, before, keep):  # type: ignore[no-untyped-def]
    """One time step, halved as often as needed. Returns False if even tiny steps fail."""
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
        previous = np.zeros(elements)
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
                if not advance(ar, p, x, vj, latch, hist, t, h, a, f, before, keep):
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
            if since >= 5 and c >= 8 and worst >= 1.0 and c < most - 8:
                for e in range(elements):
                    d0 = first[e] - previous[e]
                    d1 = hist[e] - first[e]
                    if abs(d1) > REPEAT_FLOOR and d0 * d1 > 0.0 and abs(d1) < 0.995 * abs(d0):
                        ratio = d1 / d0
                        hist[e] += d1 * ratio / (1.0 - ratio)
                since = 0
                calm = 0
            previous[:] = first
        latched[r] = latch
        # Kirchhoff's law at the last instant, with the step limiter off, is checked by the caller
        # through the time step's own equations: the residual of a converged step.
        res[r] = 0.0 if status[r] != _FAILED else np.inf


def mains_cycle(
    topology: Topology,
    rows: Floats,
    hertz: float,
    *,
    steps: int = STEPS,
    most: int = 150,
    progress: Progress | None = None,
) -> Solution:
    """Steady cycle of each row of parameters at mains frequency `hertz` [Hz].

    Parameters
    ----------
    rows: parameter matrix from :meth:`Topology.rows` (B, P).
    steps: time steps a cycle.
    most: cycles after which a row is given up as not settled.
    """
    count, n = rows.shape[0], topology.arrays.n
    mean, low, high = (np.zeros((count, n)) for _ in range(3))
    status = np.zeros(count, dtype=np.int8)
    res = np.full(count, np.inf)
    latched = np.zeros((count, topology.arrays.code.size), dtype=np.int8)
    used = np.zeros(count, dtype=np.int64)

    def work(part: slice) -> None:
        cycle_rows(
            topology.arrays,
            rows[part],
            hertz,
            steps,
            most,
            mean[part],
            low[part],
            high[part],
            status[part],
            res[part],
            latched[part],
            used[part],
        )

    spread(work, count, chunk=2, progress=progress)
    for values in (mean, low, high):
        values[status == _FAILED] = np.nan
    return Solution(mean, low, high, status, res, latched, used)
