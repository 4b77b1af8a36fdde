"""How far each net moves when a part value moves, and how stiff each net is, at a solved point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.solution import Floats, plain
from halfsplit.circuit.threads import AT_ONCE, spread
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


def owners(moves: Sequence[Move]) -> dict[str, frozenset[int]]:
    """Which of the moves are of which part, whose elements are named after it."""
    found: dict[str, set[int]] = {}
    for k, move in enumerate(moves):
        for element, _ in move.changes:
            found.setdefault(element.partition(":")[0], set()).add(k)
    return {part: frozenset(at) for part, at in found.items()}


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
    # These load the compiler: only when needed.
    from halfsplit.circuit.compiled_sensitivity import sensitivity_rows
    from halfsplit.circuit.kernel import make_rest, make_work

    rows, voltages, latched = plain(rows), plain(voltages), plain(latched)
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
        sensitivity_rows(
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
            np.zeros(rows.shape[1]),
            make_rest(topology.arrays),
            make_work(topology.arrays),
            make_work(topology.arrays),
        )

    spread(work, count, chunk=AT_ONCE)
    out[ok == 0] = np.nan
    stiff[ok == 0] = np.nan
    return out, stiff
