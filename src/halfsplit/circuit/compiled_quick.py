"""Operating point of rows that may well have none, compiled: a few tries, then given up.

For looking through thousands of circuits of which nearly all are wrong; a row that only a power-up
would solve is told as unsolved here.
"""

from __future__ import annotations

import numpy as np

from halfsplit.circuit.compiled_op import BALANCE, FENCE, power_up, settle
from halfsplit.circuit.jit import jit
from halfsplit.circuit.kernel import residual, seat
from halfsplit.circuit.room import fill, fill2, largest, put
from halfsplit.circuit.solution import Status
from halfsplit.circuit.valve_stamps import holds_gas

# Newton steps allowed from the start given, fenced in, from zero: wrong circuits use them all up.
NEAR, WITHIN, FAR = np.int64(25), np.int64(40), np.int64(40)
_FINE, _FAILED = int(Status.SOLVED), int(Status.UNSOLVED)


@jit
def try_rows(ar, rows, start, out, status, latched, s, w):  # type: ignore[no-untyped-def]
    """Try every row from the start given, then fenced in, then from zero; with gas tubes, along a
    power-up alone, for which of them lit depends on the way up."""
    x, hq, latch = s.x, s.hq, s.latch
    gas = holds_gas(ar)
    for r in range(rows.shape[0]):
        p = rows[r]
        ok = False
        for attempt in range(3):
            w.fence[0] = np.inf
            fill2(hq, 0.0)
            fill(latch, 0)
            if gas:
                ok = power_up(ar, p, s, w)
            elif attempt == 2:
                fill(x, 0.0)
                fill2(w.vj, 0.0)
                ok = settle(ar, p, x, hq, latch, FAR, w)
            else:
                put(x, start[r])
                most = NEAR
                if attempt == 1:
                    w.fence[0] = FENCE * largest(x, ar.n)
                    most = WITHIN
                seat(ar, p, x, hq, latch, w)
                ok = settle(ar, p, x, hq, latch, most, w)
            if ok:
                ok = residual(ar, p, x, x, hq, latch, 0.0, 0.0, 0.0, w) < BALANCE
            if ok or gas:
                break
        status[r] = _FINE if ok else _FAILED
        put(out[r], x)
        put(latched[r], latch)
