"""Follow every row from switch-on: to a standstill, a limit cycle, or a restart that repeats.

A self-oscillating supply has no meaningful direct-current point, so each row is marched from all
discharged. Once its beats come evenly, stores that only drift are carried many beats at a time
(their drift measured over a few whole beats, the leap limited and checked by further plain beats).
A standstill is believed only if a small kick dies away.
"""

from __future__ import annotations

import numpy as np

from halfsplit.circuit import needs
from halfsplit.circuit.solution import SAMPLES, Floats, Rhythm, Solution, Status, plain
from halfsplit.circuit.threads import Progress, spread
from halfsplit.circuit.topology import Topology

_FAILED = int(Status.UNSOLVED)


def follow(
    topology: Topology,
    rows: Floats,
    *,
    stop: float = 100.0,
    most: int = 1_000_000,
    kick: bool = True,
    error: float = 1.0,
    progress: Progress | None = None,
) -> tuple[Solution, Rhythm]:
    """Where each row of parameters ends up after switch-on, with direct-current feeds.

    Parameters
    ----------
    rows: parameter matrix from :meth:`Topology.rows` (B, P).
    stop: simulated seconds after which a row is given up as not settled.
    most: time steps after which it is.
    kick: whether a standstill is tried for stability.
    error: times the usual error of a step, to see how much of an answer is the steps' doing.
    """
    needs("compiled_follow.follow_to_end")
    # These load the compiler: only when needed.
    from halfsplit.circuit.compiled_follow import follow_to_end, make_follow

    ar, rows = topology.arrays, plain(rows)
    count, n, e = rows.shape[0], ar.n, ar.code.size
    out = np.full((count, 3, n), np.nan)
    wave = np.zeros((count, n, SAMPLES), dtype=np.float32)
    times = np.zeros((count, 6))
    stores = np.full((count, 3, e), np.nan)
    latched = np.zeros((count, e), dtype=np.int8)

    def work(part: slice) -> None:
        for r in range(part.start, part.stop):
            follow_to_end(
                ar,
                rows[r],
                stop,
                float(most),
                kick,
                out[r],
                wave[r],
                times[r],
                stores[r],
                latched[r],
                *make_follow(ar, error),
            )

    spread(work, count, chunk=1, progress=progress)
    status, res = times[:, 4].astype(np.int8), times[:, 5].copy()
    out[status == _FAILED] = np.nan
    wave[status == _FAILED] = np.nan
    mean, low, high = (np.ascontiguousarray(out[:, k]) for k in range(3))
    cycles = np.zeros(count, dtype=np.int64)
    solution = Solution(mean, low, high, status, res, latched, cycles, wave)
    rhythm = Rhythm(
        period=times[:, 0],
        duty=times[:, 1],
        held_mean=stores[:, 0],
        held_low=stores[:, 1],
        held_high=stores[:, 2],
        elapsed=times[:, 2],
        steps=times[:, 3].astype(np.int64),
    )
    return solution, rhythm
