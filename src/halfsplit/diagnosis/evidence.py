"""A reading as evidence, and the meter that took it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from halfsplit.assembly.condition import Condition


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
    """One reading taken in one condition: voltage (or ripple) from `pos` to `neg`.

    Attributes
    ----------
    value: what the meter showed [V].
    resolution: last digit shown [V].
    number: journal entry it came from.
    """

    pos: str
    neg: str
    quantity: Literal["volts", "ripple"]
    value: float
    resolution: float
    condition: Condition
    meter: Meter
    number: int = 0
    text: str = ""
