"""How far each net moves when a part value moves, and how stiff each net is, at a solved point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numba as nb
import numpy as np
import numpy.typing as npt

from halfsplit.circuit.kernel import assemble, backsolve, factor
from halfsplit.circuit.solution import Floats
from halfsplit.circuit.threads import spread
from halfsplit.circuit.topology import Topology


@dataclass(frozen=True)
class Move:
    """One independent uncertainty: parameter changes that happen together, at one sigma.

    Attributes
    ----------
    name: what varies, for explanations ("R12 value").
    changes: (element, parameter) -> value at plus one sigma, or, when `relative`, the fraction by
        which the row's own value moves.
    """

    name: str
    changes: Mapping[tuple[str, str], float]
    relative: bool = False


@nb.njit(cache=True, nogil=True)
def _rows(ar, rows, xs, latched, ptr, slots, shift, eps, out, stiff, ok):  # type: ignore[no-untyped-def]
    elements, n = ar.code.size, ar.n
    vj = np.zeros((elements, 2))
    hist = np.zeros(elements)
    for r in range(rows.shape[0]):
        x = np.zeros(n + 1)
        x[:n] = xs[r]
        if not np.isfinite(x).all():
            ok[r] = 0
            continue
        a = np.zeros(ar.lu.nnz + 1)
        spare = np.zeros(ar.lu.nnz + 1)
        f0 = np.zeros(n + 1)
        f1 = np.zeros(n + 1)
        p = rows[r].copy()
        assemble(ar, p, x, x, vj, latched[r], hist, 0.0, 0.0, 0.0, False, a, f0)
        if not factor(ar.lu, a):
            ok[r] = 0
            continue
        ok[r] = 1
        for k in range(ptr.size - 1):
            for s in range(ptr[k], ptr[k + 1]):
                p[slots[s]] += eps * shift[r, s]
            assemble(ar, p, x, x, vj, latched[r], hist, 0.0, 0.0, 0.0, False, spare, f1)
            for s in range(ptr[k], ptr[k + 1]):
                p[slots[s]] = rows[r, slots[s]]
            f1 -= f0
            f1[n] = 0.0
            backsolve(ar.lu, a, f1)
            for i in range(n):
                out[r, k, i] = -f1[i] / eps
        for i in range(n):
            f1[:] = 0.0
            f1[i] = 1.0
            backsolve(ar.lu, a, f1)
            stiff[r, i] = f1[i]


def sensitivities(
    topology: Topology,
    rows: Floats,
    voltages: Floats,
    latched: npt.NDArray[np.int8],
    moves: Sequence[Move],
) -> tuple[Floats, Floats]:
    """First-order effect of each move, and the resistance seen into each net.

    Parameters
    ----------
    rows, voltages, latched: the solved rows (B, P), (B, N), (B, E).
    moves: K uncertainties. A parameter that a row has overridden (a fault, a lifted part) is not
        moved in that row: an open resistor has no tolerance.

    Returns
    -------
    Net voltage change at one sigma [V] (B, K, N) and resistance to common [ohm] (B, N);
    rows that were not solved hold NaN.
    """
    count, n = rows.shape[0], topology.arrays.n
    ptr, slots, target, relative = [0], [], [], []
    for move in moves:
        for key, value in move.changes.items():
            slots.append(topology.slot[key])
            target.append(value)
            relative.append(move.relative)
        ptr.append(len(slots))
    index = np.array(slots, dtype=np.int64)
    shift = np.zeros((count, len(slots)))
    if slots:
        same = rows[:, index] == topology.base[index]
        goal = np.array(target)
        shift = np.where(same, goal - topology.base[index], 0.0)
        shift = np.where(np.array(relative), rows[:, index] * goal, shift)
    out = np.zeros((count, len(moves), n))
    stiff = np.zeros((count, n))
    ok = np.zeros(count, dtype=np.int8)
    points = np.array(ptr, dtype=np.int64)

    def work(part: slice) -> None:
        _rows(
            topology.arrays,
            rows[part],
            voltages[part],
            latched[part],
            points,
            index,
            shift[part],
            1e-3,
            out[part],
            stiff[part],
            ok[part],
        )

    spread(work, count, chunk=16)
    out[ok == 0] = np.nan
    stiff[ok == 0] = np.nan
    return out, stiff
