"""Compiled: what a meter and a scope would show over a stretch of time, kept as it goes by."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.jit import jit

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


@jit
def make_tally(ar):  # type: ignore[no-untyped-def]
    """An empty tally."""
    n, e = ar.n, ar.code.size
    found = Tally(
        np.zeros(2),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros(e),
        np.zeros(e),
        np.zeros(e),
    )
    clear(found)
    return found


@jit
def clear(y):  # type: ignore[no-untyped-def]
    """Begin anew."""
    y.span[:] = 0.0
    y.total[:] = 0.0
    y.held[:] = 0.0
    y.low[:] = 1e300
    y.high[:] = -1e300
    y.bottom[:] = 1e300
    y.top[:] = -1e300


@jit
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


@jit
def copy(a, b):  # type: ignore[no-untyped-def]
    """Make tally `b` equal to `a`."""
    b.span[:] = a.span
    b.total[:] = a.total
    b.low[:] = a.low
    b.high[:] = a.high
    b.held[:] = a.held
    b.bottom[:] = a.bottom
    b.top[:] = a.top
