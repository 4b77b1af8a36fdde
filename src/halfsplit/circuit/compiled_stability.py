"""Whether each row rests in its state, compiled: the sign of its determinant."""

from __future__ import annotations

import math

from halfsplit.circuit.compiled_op import stands
from halfsplit.circuit.compiled_sensitivity import currents
from halfsplit.circuit.jit import jit
from halfsplit.circuit.kernel import factor
from halfsplit.circuit.room import largest, put


@jit
def rests_rows(ar, rows, xs, latched, found, s, w):  # type: ignore[no-untyped-def]
    """Fill `found` (B); `s` and `w` are room for one row. See stability.py."""
    for r in range(rows.shape[0]):
        put(s.x, xs[r])
        found[r] = False
        if math.isfinite(largest(s.x, ar.n)):
            currents(ar, rows[r], s.x, s.hq, latched[r], w)
            found[r] = factor(ar.lu, w.a) and stands(ar, w)
