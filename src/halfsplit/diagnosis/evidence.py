"""A reading as evidence, with the condition it was taken in and the meter that took it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.diagnosis.meters import Meter
from halfsplit.faults.ohmmeter import Ohmmeter

__all__ = ["Evidence", "Meter", "Quantity"]

# "look" is no reading: is the part that of the drawing, and fitted as drawn?
Quantity = Literal["volts", "ripple", "ac", "frequency", "ohms", "diode", "amps", "look"]


@dataclass(frozen=True)
class Evidence:
    """One reading taken in one condition, from `pos` to `neg` ("" is common).

    Attributes
    ----------
    quantity: volts, peak-to-peak ripple, AC range or frequency of a powered machine; ohms or a
        diode test of a dead one.
    value: what the meter showed [V, Hz or ohm]; infinite for an over-range dead reading.
    resolution: last digit shown [V, Hz or ohm].
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
    def place(self) -> Condition:
        """The condition it was taken in; off for all dead ones, whatever the file's feed."""
        return self.condition if self.ohmmeter is None else replace(self.condition, feed="off")

    @property
    def over(self) -> bool:
        """Whether the meter showed over-range."""
        return math.isinf(self.value)

    @property
    def scaled(self) -> float:
        """The reading on the scale it is weighed on: volts, or the logarithm of ohms or hertz."""
        if self.quantity == "frequency":
            return math.log(self.value)
        if self.ohmmeter is None or self.over:
            return self.value
        return float(self.ohmmeter.scale(np.array(self.value)))

    def unscaled(self, x: float) -> float:
        """A value on that scale in volts, hertz or ohms again."""
        if self.quantity == "frequency":
            return math.exp(x)
        return x if self.ohmmeter is None else self.ohmmeter.unscale(x)
