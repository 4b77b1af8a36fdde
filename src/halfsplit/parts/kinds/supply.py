"""Direct-current sources: a bench supply, a battery, or a raw rail taken as given."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import REGISTRY, Amps, Mode, Net, Ohms, Part, Rate, Volts, Wander


@REGISTRY.add
class Supply(Part):
    """`volts` between pos and neg through `ohms`, delivering at most `limit`."""

    KIND: ClassVar[str] = "supply"
    TERMINALS: ClassVar[tuple[str, ...]] = ("pos", "neg")
    RATE: ClassVar[Rate] = Rate(0.0, "on the bench, outside the machine")

    kind: Literal["supply"]
    volts: Volts
    ohms: Ohms = Field(default=0.05, gt=0)
    limit: Amps | None = Field(default=None, gt=0)
    pos: Net
    neg: Net

    def elements(self) -> list[el.Element]:
        values = {"g": 1.0 / self.ohms, "dc": self.volts, "limit": self.limit or 1e9}
        return [el.Source(self.ref, (self.pos, self.neg), values)]

    def modes(self) -> list[Mode]:
        return []

    def wanders(self) -> list[Wander]:
        # One percent: read off the supply's own display. Common practice, no published source.
        return [Wander(f"{self.ref} volts", {(self.ref, "dc"): 1.01 * self.volts})]

    def label(self) -> str:
        return f"{self.volts:g} V supply"
