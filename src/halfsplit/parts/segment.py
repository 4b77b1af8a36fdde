"""What connector contacts, wires and board traces share: metal that should be continuous."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    DeadLook,
    Mode,
    Net,
    Ohms,
    Part,
    shares,
)


class Segment(Part):
    """A conductor from a to b."""

    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    SHARES: ClassVar[tuple[float, float]]  # open, poor
    POOR: ClassVar[float] = 2.0  # ohm; common practice, no published source

    ohms: Ohms = Field(default=0.01, gt=0)
    a: Net
    b: Net

    def elements(self) -> list[el.Element]:
        return [el.Resistor(self.ref, (self.a, self.b), {"g": 1.0 / self.ohms})]

    def modes(self) -> list[Mode]:
        opened, poor = self.SHARES
        g = (self.ref, "g")
        return shares(
            f"{MODES_338}; a short to elsewhere is not in the model",
            {
                "open": (opened, {g: el.OPEN}, "no continuity end to end"),
                "poor": (poor, {g: 1 / self.POOR}, "ohms end to end; moves when wiggled"),
            },
        )

    def dead(self) -> list[DeadLook]:
        return [DeadLook("a", "b", "ohms", 0.0, max(0.5, 3 * self.ohms), f"near 0; {PRACTICE}")]
