"""Comparators with push-pull or open-collector outputs."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.parts.amplifier import AmplifierPart
from halfsplit.parts.base import REGISTRY, Amps, Ohms, Volts


@REGISTRY.add
class Comparator(AmplifierPart):
    """A comparator. `output` open-collector only pulls down; something else must pull up."""

    KIND: ClassVar[str] = "comparator"

    kind: Literal["comparator"]
    output: Literal["push-pull", "open-collector"] = "open-collector"
    output_ohms: Ohms = Field(default=20.0, gt=0)
    output_amps: Amps = Field(default=20e-3, gt=0)
    swing_low: Volts = Field(default=0.1, ge=0)

    def values(self) -> dict[str, float]:
        return super().values() | {"collector": 1.0 if self.output == "open-collector" else 0.0}
