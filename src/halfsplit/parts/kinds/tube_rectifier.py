"""Vacuum rectifiers of one or two anodes."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import REGISTRY, Amps, Mode, Net, Rate, Volts, gone
from halfsplit.parts.valve import TUBE_RATE, Valve


@REGISTRY.add
class TubeRectifier(Valve):
    """Anodes a1 and a2 (a2 may be left out), cathode k; `drop` at `drop_at` for one anode.

    A directly heated type has its filament for cathode: give k the filament's net, and no h1, h2.
    """

    KIND: ClassVar[str] = "tube-rectifier"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a1", "a2", "k", "h1", "h2")
    RATE: ClassVar[Rate] = Rate(10.0, TUBE_RATE)

    kind: Literal["tube-rectifier"]
    drop: Volts = Field(gt=0, description="volts lost in one anode at drop_at")
    drop_at: Amps = Field(gt=0)
    amps: Amps | None = Field(default=None, gt=0, description="largest direct output")
    a1: Net
    a2: Net | None = None
    k: Net

    def heated(self) -> list[str]:
        return [self.ref, f"{self.ref}:2"] if self.a2 else [self.ref]

    def elements(self) -> list[el.Element]:
        values = {"k": self.drop_at / self.drop**1.5, "emission": self.emission}
        found: list[el.Element] = [el.Vacuum(self.ref, (self.a1, self.k), values)]
        if self.a2:
            found.append(el.Vacuum(f"{self.ref}:2", (self.a2, self.k), values))
        return [*found, *self.heater()]

    def modes(self) -> list[Mode]:
        # 100 kohm backwards: cathode material on the anode; common practice, no published source.
        return self.wear({(self.ref, "g"): 1 / 100e3}, {(self.ref, "g"): el.SHORT}, "a1 to cathode")

    def lift(self, lead: str) -> Overrides | None:
        if lead in ("a1", "a2"):
            name = self.ref if lead == "a1" else f"{self.ref}:2"
            return gone(e for e in self.elements() if e.name == name)
        return super().lift(lead)

    def label(self) -> str:
        return f"{self.type or 'valve'} rectifier"
