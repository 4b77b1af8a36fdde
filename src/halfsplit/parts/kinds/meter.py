"""A meter left connected: a panel voltmeter, or the bench meter while it loads the circuit."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import MODES_338, REGISTRY, Mode, Net, Ohms, Part, Rate, shares


@REGISTRY.add
class MeterPart(Part):
    """A voltmeter of given input resistance between pos and neg."""

    KIND: ClassVar[str] = "meter"
    TERMINALS: ClassVar[tuple[str, ...]] = ("pos", "neg")
    RATE: ClassVar[Rate] = Rate(0.1, "from memory, unconfirmed")

    kind: Literal["meter"]
    ohms: Ohms = Field(default=10e6, gt=0)
    pos: Net
    neg: Net

    def elements(self) -> list[el.Element]:
        return [el.Resistor(self.ref, (self.pos, self.neg), {"g": 1.0 / self.ohms})]

    def modes(self) -> list[Mode]:
        return shares(
            f"{MODES_338}, meter row; only the open movement is in the circuit",
            {"open": (1.0, {(self.ref, "g"): 1e-12}, "does not move")},
        )
