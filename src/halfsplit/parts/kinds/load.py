"""Loads that belong to the machine or the bench: resistive, constant current, or lamp."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field, model_validator

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    PRACTICE,
    REGISTRY,
    Amps,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Volts,
    shares,
)


@REGISTRY.add
class Load(Part):
    """Give `ohms`, or `amps` for constant current, or `amps` and `volts` for a lamp bank."""

    KIND: ClassVar[str] = "load"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(0.01, PRACTICE)

    kind: Literal["load"]
    ohms: Ohms | None = Field(default=None, gt=0)
    amps: Amps | None = Field(default=None, gt=0)
    volts: Volts | None = Field(default=None, gt=0)
    a: Net
    b: Net

    @model_validator(mode="after")
    def _one_law(self) -> Load:
        if (self.ohms is None) == (self.amps is None):
            raise ValueError("give either ohms or amps")
        if self.volts is not None and self.amps is None:
            raise ValueError("volts belongs to a lamp load, which also needs amps")
        return self

    def elements(self) -> list[el.Element]:
        ends = (self.a, self.b)
        if self.ohms is not None:
            return [el.Resistor(self.ref, ends, {"g": 1.0 / self.ohms})]
        if self.volts is not None:
            return [el.Lamp(self.ref, ends, {"volts": self.volts, "amps": self.amps or 0.0})]
        return [el.Sink(self.ref, ends, {"amps": self.amps or 0.0})]

    def modes(self) -> list[Mode]:
        element = self.elements()[0]
        return shares(PRACTICE, {"open": (1.0, element.gone(), "draws nothing")})
