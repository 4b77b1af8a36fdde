"""Compiled: fill and copy plain arrays by loops.

Assigning one array to another by slices does the same, but brings the compiler's text handling
with it (for a message about shapes), which takes it seconds.
"""

from __future__ import annotations

from halfsplit.circuit.jit import jit_inner


@jit_inner
def fill(a, value):  # type: ignore[no-untyped-def]
    """Every entry of a vector to `value`."""
    for i in range(a.size):
        a[i] = value


@jit_inner
def put(a, b):  # type: ignore[no-untyped-def]
    """Vector `a` becomes a copy of `b`, as far as the shorter of them goes."""
    for i in range(min(a.size, b.size)):
        a[i] = b[i]


@jit_inner
def fill2(a, value):  # type: ignore[no-untyped-def]
    """Every entry of a matrix to `value`."""
    for i in range(a.shape[0]):
        for j in range(a.shape[1]):
            a[i, j] = value


@jit_inner
def put2(a, b):  # type: ignore[no-untyped-def]
    """Matrix `a` becomes a copy of `b`, of the same shape."""
    for i in range(a.shape[0]):
        for j in range(a.shape[1]):
            a[i, j] = b[i, j]


@jit_inner
def largest(v, n):  # type: ignore[no-untyped-def]
    """Largest magnitude of the first `n` entries; not a number if any is none."""
    most = 0.0
    for i in range(n):
        size = abs(v[i])
        if size > most or size != size:
            most = size
    return most


@jit_inner
def furthest(v, w, n):  # type: ignore[no-untyped-def]
    """Largest difference of the first `n` entries of two vectors."""
    most = 0.0
    for i in range(n):
        most = max(most, abs(v[i] - w[i]))
    return most
