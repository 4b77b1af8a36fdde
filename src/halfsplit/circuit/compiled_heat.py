"""Watts and terminal currents of every element, compiled, from the solver's own equations."""

from __future__ import annotations

from halfsplit.circuit.jit import NO, jit
from halfsplit.circuit.kernel import LEAK, assemble, assemble_straight
from halfsplit.circuit.room import fill, fill2, put
from halfsplit.circuit.topology import Arrays


@jit
def watts_rows(ar, rows, xs, latched, out, amps, one_each, s, w):  # type: ignore[no-untyped-def]
    """Fill `amps` (B, E, T) with the current into each terminal and `out` (B, E) with its sum times
    the voltages; terminals on one net share what flows into it.

    `one_each` (2, 1) is room for one element's number, `s` and `w` for one row.
    """
    n, x, hq = ar.n, s.x, s.hq
    # The same circuit with but one element in it, straight or curved.
    line, curve = one_each[0], one_each[1]
    for r in range(rows.shape[0]):
        put(x, xs[r])
        fill(out[r], 0.0)
        fill2(amps[r], 0.0)
        p = rows[r]
        for k in range(ar.straight.size + ar.curved.size):
            straight = k < ar.straight.size
            e = ar.straight[k] if straight else ar.curved[k - ar.straight.size]
            line[0] = e
            curve[0] = e
            one = Arrays(
                ar.code,
                ar.nodes,
                ar.offset,
                ar.jac,
                ar.lu,
                ar.n,
                ar.self_pos,
                line[: 1 if straight else 0],
                curve[: 0 if straight else 1],
                ar.store,
            )
            assemble_straight(one, p, x, hq, latched[r], 0.0, 0.0, 0.0, w)
            assemble(one, p, x, hq, latched[r], 0.0, 0.0, NO, w)
            total = 0.0
            for i in range(n):
                total += (w.f[i] - LEAK * x[i]) * x[i]
            out[r, e] += total  # a source is in both lists, in one of them with nothing
            for t in range(ar.nodes.shape[1]):
                at = ar.nodes[e, t]
                amps[r, e, t] += w.f[at] - (LEAK * x[at] if at < n else 0.0)
