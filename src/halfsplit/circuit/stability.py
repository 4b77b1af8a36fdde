"""Whether a direct-current solution is one a real circuit can rest in."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.solution import Floats, plain
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
    # These load the compiler: only when needed.
    from halfsplit.circuit.compiled_stability import rests_rows
    from halfsplit.circuit.kernel import make_rest, make_work

    ar = topology.arrays
    rows, voltages, latched = plain(rows), plain(voltages), plain(latched)
    found = np.zeros(len(rows), dtype=bool)
    rests_rows(ar, rows, voltages, latched, found, make_rest(ar), make_work(ar))
    return found
