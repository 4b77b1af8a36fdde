"""Filament lamps."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    RATES_217,
    REGISTRY,
    Amps,
    DeadLook,
    Fraction,
    Mode,
    Net,
    Part,
    Rate,
    Volts,
    shares,
)


@REGISTRY.add
class LampPart(Part):
    """A filament lamp: cold it is about a tenth of its hot resistance."""

    KIND: ClassVar[str] = "lamp"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(26.0, f"{RATES_217}, incandescent direct-current row")

    kind: Literal["lamp"]
    volts: Volts = Field(gt=0)
    amps: Amps = Field(gt=0)
    cold_ratio: Fraction = Field(default=0.1, gt=0, le=1)
    package: str | None = None
    a: Net
    b: Net

    def elements(self) -> list[el.Element]:
        values = {"volts": self.volts, "amps": self.amps, "cold": self.cold_ratio}
        return [el.Lamp(self.ref, (self.a, self.b), values)]

    def modes(self) -> list[Mode]:
        return shares(
            MODES_338,
            {
                "open": (0.67, {(self.ref, "amps"): 1e-9}, "reads OL; broken filament"),
                "dim": (0.33, {(self.ref, "amps"): 0.5 * self.amps}, "blackened; draws half"),
            },
        )

    def dead(self) -> list[DeadLook]:
        cold = self.cold_ratio * self.volts / self.amps
        return [DeadLook("a", "b", "ohms", 0.5 * cold, 2 * cold, f"cold; {PRACTICE}")]
