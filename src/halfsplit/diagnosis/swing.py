"""What alternates at a net, as instruments show it: the AC range, a scope's height, a frequency."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.solution import Status
from halfsplit.diagnosis.meters import Meter
from halfsplit.faults.predictions import UNCLAIMED, Predictions

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Rows = slice | npt.NDArray[np.int64]
EVERY = slice(None)

# Height [V] below which a frequency is not counted; common practice, no published source.
COUNTED = 0.02
RESTARTING = int(Status.RESTARTING)


def wave(table: Predictions, a: int, b: int, only: Rows = EVERY) -> Floats:
    """Voltage from net column `a` to `b` over a cycle, its mean taken off [V] (H, K)."""
    a_side, b_side = (table.wave[only, i].astype(float) for i in (a, b))
    return np.asarray(a_side - b_side)


def hum(table: Predictions, a: int, b: int, only: Rows = EVERY) -> Floats:
    """The same over a mains cycle, of what beats by itself besides (H, K); K is 0 for all else."""
    a_side, b_side = (table.hum[only, i].astype(float) for i in (a, b))
    return np.asarray(a_side - b_side)


def tall(swing: Floats) -> Floats:
    """Peak to peak of each row (H) of samples (H, K); 0 where there are none."""
    return np.asarray(np.ptp(swing, axis=1) if swing.shape[1] else np.zeros(len(swing)))


def shown(table: Predictions, meter: Meter, a: int, b: int, only: Rows = EVERY) -> Floats:
    """What `meter` shows on its AC range [V] (H); NaN where no cycle is known.

    Raises ValueError when it has none.
    """
    level = table.mean[only, a] - table.mean[only, b]
    swing = wave(table, a, b, only)
    whole = swing + level[:, None] if swing.shape[1] else level[:, None]
    period = np.where(table.period[only] > 0.0, table.period[only], 1.0)
    beat = np.asarray(meter.alternating(whole, period / whole.shape[1]))
    slow = hum(table, a, b, only)
    if not slow.shape[1]:
        return beat
    # Two rhythms apart add by their squares: exact for a true rms meter, near for an average one.
    # Direct volts, where the meter lets them through, are in the beat's part.
    return np.asarray(np.hypot(beat, meter.alternating(slow, table.cycle[only] / slow.shape[1])))


def height(table: Predictions, a: int, b: int, only: Rows = EVERY) -> Floats:
    """Peak to peak [V] (H), as a scope shows it from net column `a` to `b`."""
    if b == len(table.nets):
        return np.asarray(table.ripple[only, a])
    return np.asarray(tall(wave(table, a, b, only)) + tall(hum(table, a, b, only)))


def frequency(table: Predictions, a: int, b: int, only: Rows = EVERY) -> Floats:
    """Repetitions a second [Hz] (H): 100 behind a bridge on 50 Hz mains, 50 with a diode open.

    Rises through the middle are counted, with a fifth of the height to fall back through. NaN where
    there is too little to count, or bursts whose beat depends on when one looks.
    """
    swing, slow = wave(table, a, b, only), hum(table, a, b, only)
    found = _counted(swing, table.period[only])
    if slow.shape[1]:  # a counter follows the taller
        other = _counted(slow, table.cycle[only])
        found = np.where(tall(slow) > tall(swing), other, found)
    return np.where(table.status[only] != RESTARTING, found, np.nan)


def _counted(swing: Floats, period: Floats) -> Floats:
    """Rises of each row (H, K) through its middle, over its period [s] (H)."""
    if not swing.shape[1]:
        return np.full(len(swing), np.nan)
    top, bottom = swing.max(axis=1), swing.min(axis=1)
    middle, guard = (top + bottom) / 2.0, (top - bottom) / 10.0
    side = (swing > (middle + guard)[:, None]).astype(int) - (swing < (middle - guard)[:, None])
    twice = np.concatenate([side, side], axis=1)  # so that the first samples have a past
    at = np.maximum.accumulate(np.where(twice != 0, np.arange(twice.shape[1]), 0), axis=1)
    held = np.take_along_axis(twice, at, axis=1)[:, swing.shape[1] - 1 :]
    rises = (np.diff(held, axis=1) > 0).sum(axis=1)
    sound = (top - bottom >= COUNTED) & (period > 0.0) & (rises > 0)
    return np.where(sound, rises / np.where(period > 0.0, period, 1.0), np.nan)


def claimed(table: Predictions, a: int, b: int, only: Rows = EVERY) -> Bools:
    """Rows (H) whose cycle is known, so that what swings may be weighed."""
    sound = ~np.isin(table.status[only], UNCLAIMED)
    sound &= np.isfinite(hum(table, a, b, only)).all(axis=1)
    return np.asarray(sound & np.isfinite(wave(table, a, b, only)).all(axis=1))
