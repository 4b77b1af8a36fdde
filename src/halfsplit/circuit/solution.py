"""What a solve returns: readings, and for every row a status that says what happened."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from halfsplit.quantity import show

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Waves = npt.NDArray[np.float32]
_Any = TypeVar("_Any", bound=np.generic)


def plain(values: npt.NDArray[_Any]) -> npt.NDArray[_Any]:
    """The same values as compiled code takes them: row by row without gaps, and writable."""
    return np.require(values, requirements=["C", "W"])


# Samples kept of a cycle: to the 32nd harmonic, 1.6 kHz of a 50 Hz mains; a capacitor-input
# rectifier's ripple has under 0.1 % of its rms beyond.
SAMPLES = 64


class Status(IntEnum):
    """How a row ended. Only UNSOLVED rows have no readings."""

    SOLVED = 0
    POWERED_UP = 1
    UNSOLVED = 2
    NOT_SETTLED = 3
    OSCILLATING = 4
    RESTARTING = 5
    LATCHED = 6

    @property
    def sentence(self) -> str:
        """What to tell the user."""
        return {
            Status.SOLVED: "steady",
            Status.POWERED_UP: "steady, reached by following the circuit up from switch-on",
            Status.UNSOLVED: "not solved: no reading is claimed for this case",
            Status.NOT_SETTLED: "did not settle to a repeating cycle; the last cycle is shown",
            Status.OSCILLATING: "oscillating",
            Status.RESTARTING: "restarting over and over",
            Status.LATCHED: "latched: a thyristor has fired and holds until power is taken away",
        }[self]

    @property
    def usable(self) -> bool:
        """Whether the readings of this row may be shown and reasoned with."""
        return self is not Status.UNSOLVED


@dataclass(frozen=True)
class Solution:
    """Readings of a batch. B rows, N nets, E elements.

    Attributes
    ----------
    mean, low, high: net voltages against common over one mains cycle [V] (B, N); all three are
        equal for a direct-current solve.
    status: one :class:`Status` a row (B).
    residual: largest unbalanced current [A] (B), checked apart from the solver's own test.
    latched: elements (thyristors, contacts) that ended on (B, E).
    cycles: periods followed (B); zero for a direct-current solve.
    wave: net voltages evenly over the last cycle or beat [V] (B, N, K); K is 0 for a
        direct-current solve, and a row without a cycle to show holds NaN.
    """

    mean: Floats
    low: Floats
    high: Floats
    status: npt.NDArray[np.int8]
    residual: Floats
    latched: npt.NDArray[np.int8]
    cycles: Ints
    wave: Waves


@dataclass(frozen=True)
class Rhythm:
    """What a scope shows of self-oscillating rows, beside their :class:`Solution`.

    Attributes
    ----------
    period: seconds from one switching (or, restarting, one attempt) to the next; 0 steady (B).
    duty: share of the period in which the store that keeps time was filling (B).
    held_mean, held_low, held_high: inductor current [A] or inner capacitor voltage [V] (B, E).
    elapsed: simulated seconds from switch-on (B).
    steps: time steps taken (B).
    """

    period: Floats
    duty: Floats
    held_mean: Floats
    held_low: Floats
    held_high: Floats
    elapsed: Floats
    steps: Ints


def told(status: Status, period: float) -> str:
    """The status with its frequency or its period [s], for people; 0 when there is none."""
    if status is Status.OSCILLATING and period > 0.0:
        return f"oscillating at {show(1.0 / period, 'Hz', 3)}"
    if status is Status.RESTARTING and period > 0.0:
        return f"restarting every {show(period, 's', 3)}"
    return status.sentence
