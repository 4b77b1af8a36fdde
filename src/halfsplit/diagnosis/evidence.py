"""A reading as evidence, and the meter that took it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.faults.ohmmeter import Ohmmeter

Quantity = Literal["volts", "ripple", "ohms", "diode"]


@dataclass(frozen=True)
class Meter:
    """A bench meter: input resistance [ohm], accuracy in fraction of reading plus counts.

    `full_scale` adds a fraction of the range for pointer meters, with `range_volts` [V].
    The default is a common hand-held 3 1/2 digit meter: 10 Mohm, 0.5 % + 2 counts (accuracy formula
    as in maker's manuals of 6000-count meters, direct-voltage table; read second-hand).
    """

    name: str = "digital"
    ohms: float = 10e6
    fraction: float = 0.005
    counts: float = 2.0
    full_scale: float = 0.0
    range_volts: float = 0.0

    def sigma(self, value: float, resolution: float) -> float:
        """Standard deviation [V]: half the stated limit, as limits are met by nearly all."""
        limit = self.fraction * abs(value) + self.counts * resolution
        limit += self.full_scale * self.range_volts
        return max(limit / 2.0, 1e-4)


@dataclass(frozen=True)
class Evidence:
    """One reading taken in one condition, from `pos` to `neg` ("" is common).

    Attributes
    ----------
    quantity: volts or ripple of a powered machine; ohms or a diode test of a dead one.
    value: what the meter showed [V, or ohm]; infinite for an over-range dead reading.
    resolution: last digit shown [V, or ohm].
    number: journal entry it came from.
    ohmmeter: what drove the current of a dead reading; None for the others.
    """

    pos: str
    neg: str
    quantity: Quantity
    value: float
    resolution: float
    condition: Condition
    meter: Meter
    number: int = 0
    text: str = ""
    ohmmeter: Ohmmeter | None = None

    @property
    def over(self) -> bool:
        """Whether the meter showed over-range."""
        return math.isinf(self.value)

    @property
    def scaled(self) -> float:
        """The reading on the scale it is weighed on: volts, or the logarithm of ohms."""
        if self.ohmmeter is None or self.over:
            return self.value
        return float(self.ohmmeter.scale(np.array(self.value)))
