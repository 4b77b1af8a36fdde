"""Spreads of a circuit that keeps time by itself, from the good machine followed once a part value.

A limit cycle has no slopes to solve for; each uncertain value is moved by one sigma and the good
machine followed again. A faulty machine that still beats is taken to lean on its parts as the good
one does, net by net in proportion; the further a net reads from the good one, the less that says,
and the more of a plain share stands in; more still where it beats much faster, for then it leans on
delays and strays that the good one never feels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.sensitivity import Move
from halfsplit.circuit.solution import Status
from halfsplit.circuit.threads import Progress
from halfsplit.faults.followed import followed
from halfsplit.faults.mains_beat import good_row
from halfsplit.faults.predictions import Predictions
from halfsplit.faults.sampling import Shaker
from halfsplit.faults.store import load_arrays, store_arrays

Floats = npt.NDArray[np.float64]

# One sigma of any reading, as a share of it, where its slopes could not be had.
UNKNOWN_SPREAD = 0.05
# More of it for each halving of the good machine's period, and at least so much of what the net
# swings by: from eight specimens of each of 40 faults of the switching demo that change its beat,
# all uncertain values moved at once and followed (proofs/beat_spreads.py).
FASTER, FASTER_SWING = 0.075, 0.016
# A net off by this share of its good reading has the whole of that stand-in.
FAR = 0.25
LITTLE = 0.1  # V; a good reading below it gives no proportion
# Shifts below this are where in its beat the run ended, not what the move did.
NOISE, NOISE_VOLTS = 2e-4, 1e-3
KEPT_IN, KEYS = "slopes.npz", {"mean", "slopes", "period"}
BEATING = int(Status.OSCILLATING)


@dataclass(frozen=True)
class Leaning:
    """How the good machine leans on its parts: its mean [V] (N), the change of that at one sigma of
    each move [V] (K, N), and the period of its beat [s]."""

    mean: Floats
    slopes: Floats
    period: float


def followed_slopes(
    machine: Machine,
    condition: Condition,
    moves: Sequence[Move],
    folder: Path,
    progress: Progress | None = None,
) -> Leaning | None:
    """How the good machine leans; None where it does not beat in this condition.

    Kept in `folder` once known. Moves under which it ends otherwise, or that change nothing, have
    zeros.
    """
    found = _restored(folder)
    if found is None:
        topology = machine.topology
        row = good_row(machine, condition)
        real = [k for k, m in enumerate(moves) if m.changes]
        shaken = Shaker(topology, [moves[k] for k in real], np.eye(len(real))).rows(row[0])
        moved = [k for k, one in enumerate(shaken) if not np.array_equal(one, row[0])]
        solved, rhythm = followed(topology, np.vstack([row, shaken[moved]]), progress)
        mean = solved.mean[0]
        slopes = np.zeros((len(moves), mean.size))
        for k, place in enumerate(moved):
            if int(solved.status[k + 1]) == BEATING:
                shift = solved.mean[k + 1] - mean
                shift[np.abs(shift) < NOISE * np.abs(mean) + NOISE_VOLTS] = 0.0
                slopes[real[place]] = shift
        keep = [i for i, n in enumerate(topology.nets) if "#" not in n]
        beats = int(solved.status[0]) == BEATING
        found = {
            "mean": np.append(mean[keep], 0.0) if beats else np.zeros(0),
            "slopes": np.pad(slopes[:, keep], [(0, 0), (0, 1)]).astype(np.float32),
            "period": np.array(float(rhythm.period[0])),
        }
        store_arrays(folder / KEPT_IN, found)
    if not found["mean"].size:
        return None
    return Leaning(found["mean"], found["slopes"].astype(np.float64), float(found["period"]))


def slopes_kept(folder: Path) -> bool:
    """Whether slopes kept in `folder` are whole, so that nothing need be followed for them."""
    return _restored(folder) is not None


def _restored(folder: Path) -> dict[str, npt.NDArray[Any]] | None:
    found = load_arrays(folder / KEPT_IN)
    return found if found is not None and found.keys() == KEYS else None


def with_slopes(table: Predictions, good: Leaning) -> Predictions:
    """The table with spreads for its rows that beat, from what the good machine leans on."""
    rows = np.flatnonzero(table.status == BEATING)
    if not rows.size or good.slopes.shape != table.spread.shape[1:]:
        return table
    spread = table.spread.copy()
    reads, mean = table.mean[rows], good.mean
    told = np.abs(mean) > LITTLE
    safe = np.where(told, mean, 1.0)
    share = np.where(told, np.clip(reads / safe, -3.0, 3.0), 1.0)
    off = np.clip(np.abs(reads - mean) / (FAR * np.maximum(np.abs(mean), LITTLE)), 0.0, 1.0)
    faster = halvings(table.period[rows], good.period)[:, None]
    level = (UNKNOWN_SPREAD + FASTER * faster) * off * np.abs(reads)
    spread[rows] = good.slopes * share[:, None, :]
    spread[rows, -1] = np.maximum(level, FASTER_SWING * faster * table.ripple[rows])
    return replace(table, spread=spread)


def halvings(period: Floats, good: float) -> Floats:
    """How often the good machine's period must be halved to come to each of these [s]; nought for
    those that are no shorter, or not known."""
    known = (period > 0.0) & (good > 0.0)
    ratio = np.where(known, good, 1.0) / np.where(known, period, 1.0)
    return np.asarray(np.maximum(np.log2(ratio), 0.0))
