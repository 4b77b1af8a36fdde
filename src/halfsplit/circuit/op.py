"""Operating point of every row of a batch: the state a power-up from dead reaches, or no claim."""

from __future__ import annotations

import numpy as np

from halfsplit.circuit import needs
from halfsplit.circuit.solution import Floats, Solution, Status, plain
from halfsplit.circuit.threads import AT_ONCE, spread
from halfsplit.circuit.topology import Topology

_FAILED = int(Status.UNSOLVED)


def operating_point(topology: Topology, rows: Floats, start: Floats | None = None) -> Solution:
    """Direct-current solution of each row of parameters.

    Parameters
    ----------
    rows: parameter matrix from :meth:`Topology.rows` (B, P).
    start: net voltages to start from [V] (N) or (B, N); zero when not given.
    """
    needs("compiled_op.solve_rows")
    # These load the compiler: not for every command.
    from halfsplit.circuit.compiled_op import solve_rows
    from halfsplit.circuit.kernel import make_rest, make_work

    rows = plain(rows)
    count, n = rows.shape[0], topology.arrays.n
    begin = np.zeros((count, n))
    warm = start is not None
    if start is not None:
        begin[:] = start
    out = np.zeros((count, n))
    status = np.zeros(count, dtype=np.int8)
    res = np.full(count, np.inf)
    latched = np.zeros((count, topology.arrays.code.size), dtype=np.int8)

    def work(part: slice) -> None:
        solve_rows(
            topology.arrays,
            rows[part],
            begin[part],
            0 if warm else 3,
            out[part],
            status[part],
            res[part],
            latched[part],
            make_rest(topology.arrays),
            make_work(topology.arrays),
        )

    spread(work, count, chunk=AT_ONCE)
    out[status == _FAILED] = np.nan
    cycles, wave = np.zeros(count, dtype=np.int64), np.zeros((count, n, 0), dtype=np.float32)
    return Solution(out, out, out, status, res, latched, cycles, wave)
