"""Compiled: what a meter and a scope would show over a stretch of time, kept as it goes by."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.compiled_step import MARCH, TIME
from halfsplit.circuit.example import ARRAYS, COUNT, REAL, WAVE
from halfsplit.circuit.room import fill, put
from halfsplit.circuit.topology import Arrays

Room = npt.NDArray[np.float64]


class Tally(NamedTuple):
    """Sums and extremes of net voltages (N) and of what stores hold (E) since `span` 0."""

    span: Room  # (2) seconds gone, seconds the clock rose
    total: Room
    low: Room
    high: Room
    held: Room  # (E) sum of a store's content
    bottom: Room
    top: Room


def make_tally(ar: Arrays) -> Tally:
    """An empty tally."""
    n, e = ar.n, ar.code.size
    return Tally(
        np.zeros(2),
        np.zeros(n),
        np.full(n, 1e300),
        np.full(n, -1e300),
        np.zeros(e),
        np.full(e, 1e300),
        np.full(e, -1e300),
    )


TALLY = make_tally(ARRAYS)


@jit_apart(TALLY)
def clear(y):  # type: ignore[no-untyped-def]
    """Begin anew."""
    fill(y.span, 0.0)
    fill(y.total, 0.0)
    fill(y.held, 0.0)
    fill(y.low, 1e300)
    fill(y.high, -1e300)
    fill(y.bottom, 1e300)
    fill(y.top, -1e300)


@jit_apart(ARRAYS, MARCH, REAL, COUNT, TALLY)
def note(ar, m, h, clock, y):  # type: ignore[no-untyped-def]
    """Add the step of length `h` [s] just taken; `clock` is the store whose rise is timed or -1."""
    y.span[0] += h
    if clock >= 0 and m.q0[clock, 0] > m.q1[clock, 0]:
        y.span[1] += h
    for i in range(ar.n):
        a, b = m.x0[i], m.x[i]
        y.total[i] += 0.5 * h * (a + b)
        y.low[i] = min(y.low[i], b)
        y.high[i] = max(y.high[i], b)
    for e in ar.store:
        q = m.q0[e, 0]
        y.held[e] += 0.5 * h * (q + m.q1[e, 0])
        y.bottom[e] = min(y.bottom[e], q)
        y.top[e] = max(y.top[e], q)


@jit_apart(TALLY, TALLY)
def copy(a, b):  # type: ignore[no-untyped-def]
    """Make tally `b` equal to `a`."""
    put(b.span, a.span)
    put(b.total, a.total)
    put(b.low, a.low)
    put(b.high, a.high)
    put(b.held, a.held)
    put(b.bottom, a.bottom)
    put(b.top, a.top)


@jit_apart(ARRAYS, MARCH, REAL, REAL, REAL, WAVE)
def trace(ar, m, h, start, span, wave):  # type: ignore[no-untyped-def]
    """Samples (N, K) of the stretch of `span` [s] from `start` that lie in the step just taken.

    Sample k stands at (k + 1/2) / K of the stretch, on a straight line between two steps.
    """
    count = wave.shape[1]
    now = m.ctl[TIME] - start
    # A sample that falls on a step's end may round out of both steps: the earlier end is widened.
    first = max(int(np.ceil((now - h) / span * count - 0.5 - 1e-6)), 0)
    last = min(int(np.floor(now / span * count - 0.5)), count - 1)
    for k in range(first, last + 1):
        part = min(max((now - (k + 0.5) * span / count) / h, 0.0), 1.0)
        for i in range(ar.n):
            wave[i, k] = m.x[i] + part * (m.x0[i] - m.x[i])
