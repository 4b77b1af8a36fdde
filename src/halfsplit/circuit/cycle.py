"""Steady mains cycle of every row: what a meter averages and a scope sees behind a rectifier.

Each row starts discharged at switch-on and is stepped through whole mains cycles until the stored
state repeats, so the state reported is the one power-up reaches. Slowly creeping stores are helped
along by Aitken extrapolation, then checked by further plain cycles.
"""

from __future__ import annotations

import numpy as np

from halfsplit.circuit import needs
from halfsplit.circuit.solution import SAMPLES, Floats, Solution, Status, plain
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
    needs("compiled_cycle.cycle_row")
    # These load the compiler: only when needed.
    from halfsplit.circuit.compiled_cycle import SHARE, cycle_row
    from halfsplit.circuit.compiled_step import make_march
    from halfsplit.circuit.compiled_tally import make_tally
    from halfsplit.circuit.kernel import make_work

    ar, rows = topology.arrays, plain(rows)
    count, n, e = rows.shape[0], ar.n, ar.code.size
    mean, low, high = (np.zeros((count, n)) for _ in range(3))
    wave = np.zeros((count, n, SAMPLES), dtype=np.float32)
    latched = np.zeros((count, e), dtype=np.int8)
    told = np.zeros((count, 3))

    def work(part: slice) -> None:
        for r in range(part.start, part.stop):
            cycle_row(
                ar,
                rows[r],
                hertz,
                steps,
                most,
                mean[r],
                low[r],
                high[r],
                wave[r],
                latched[r],
                told[r],
                np.zeros((3, e)),
                make_tally(ar),
                make_march(ar, SHARE, SHARE),
                make_work(ar),
            )

    spread(work, count, chunk=2, progress=progress)
    status, res, used = told[:, 0].astype(np.int8), told[:, 1].copy(), told[:, 2].astype(np.int64)
    for values in (mean, low, high, wave):
        values[status == _FAILED] = np.nan
    return Solution(mean, low, high, status, res, latched, used, wave)
