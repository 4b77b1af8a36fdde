"""Steady mains cycle of every row: what a meter averages and a scope sees behind a rectifier.

Each row starts discharged at switch-on and is stepped through whole mains cycles until the stored
state repeats, so the state reported is the one power-up reaches. Slowly creeping stores are helped
along by Aitken extrapolation, then checked by further plain cycles.
"""

from __future__ import annotations

import numpy as np

from halfsplit.circuit.solution import Floats, Solution, Status
from halfsplit.circuit.threads import Progress, spread
from halfsplit.circuit.topology import Topology

STEPS = 40  # fewest steps a mains cycle; the error estimate asks for more where the waveform bends
_FAILED = int(Status.UNSOLVED)


def mains_cycle(
    topology: Topology,
    rows: Floats,
    hertz: float,
    *,
    steps: int = STEPS,
    most: int = 150,
    progress: Progress | None = None,
) -> Solution:
    """Steady cycle of each row of parameters at mains frequency `hertz` [Hz].

    Parameters
    ----------
    rows: parameter matrix from :meth:`Topology.rows` (B, P).
    steps: fewest time steps a cycle.
    most: cycles after which a row is given up as not settled.
    """
    from halfsplit.circuit.compiled_cycle import cycle_rows  # loads the compiler: only when needed

    count, n = rows.shape[0], topology.arrays.n
    mean, low, high = (np.zeros((count, n)) for _ in range(3))
    status = np.zeros(count, dtype=np.int8)
    res = np.full(count, np.inf)
    latched = np.zeros((count, topology.arrays.code.size), dtype=np.int8)
    used = np.zeros(count, dtype=np.int64)

    def work(part: slice) -> None:
        cycle_rows(
            topology.arrays,
            rows[part],
            hertz,
            steps,
            most,
            mean[part],
            low[part],
            high[part],
            status[part],
            res[part],
            latched[part],
            used[part],
        )

    spread(work, count, chunk=2, progress=progress)
    for values in (mean, low, high):
        values[status == _FAILED] = np.nan
    return Solution(mean, low, high, status, res, latched, used)
