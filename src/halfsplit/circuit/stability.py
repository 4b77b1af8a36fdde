"""Whether a direct-current solution is one a real circuit can rest in."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.solution import Floats
from halfsplit.circuit.topology import Topology


def can_rest(
    topology: Topology, rows: Floats, voltages: Floats, latched: npt.NDArray[np.int8]
) -> npt.NDArray[np.bool_]:
    """False for each solved row (B) whose state runs away from itself, as a flip-flop's middle.

    The determinant of the conductance matrix is the product of the pivots of its elimination;
    where it is negative the state is unstable with any capacitances. Source: M. Green and
    A. Willson, "How to identify unstable dc operating points", IEEE Trans. Circuits and Systems I
    39 (1992), from memory, unconfirmed. The converse does not hold: what oscillates may pass.
    """
    from halfsplit.circuit.compiled_sensitivity import currents  # loads the compiler
    from halfsplit.circuit.kernel import factor, make_work

    arrays = topology.arrays
    empty = np.zeros((arrays.code.size, 2))
    found = np.zeros(len(rows), dtype=bool)
    for r, row in enumerate(rows):
        x = np.append(voltages[r], 0.0)
        if not np.isfinite(x).all():
            continue
        work = make_work(arrays)
        currents(arrays, row, x, empty, latched[r], work)
        if factor(arrays.lu, work.a):
            found[r] = (work.a[arrays.lu.diag] < 0.0).sum() % 2 == 0
    return found
