"""What a solve returns: readings, and for every row a status that says what happened."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Status(IntEnum):
    """How a row ended. Only UNSOLVED rows have no readings."""

    SOLVED = 0
    POWERED_UP = 1
    UNSOLVED = 2
    NOT_SETTLED = 3

    @property
    def sentence(self) -> str:
        """What to tell the user."""
        return {
            Status.SOLVED: "steady",
            Status.POWERED_UP: "steady, reached by following the circuit up from switch-on",
            Status.UNSOLVED: "not solved: no reading is claimed for this case",
            Status.NOT_SETTLED: "did not settle to a repeating cycle; the last cycle is shown",
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
    """

    mean: Floats
    low: Floats
    high: Floats
    status: npt.NDArray[np.int8]
    residual: Floats
    latched: npt.NDArray[np.int8]
    cycles: Ints
