"""The mains inlet."""

from __future__ import annotations

from math import sqrt
from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    PRACTICE,
    REGISTRY,
    Hertz,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Volts,
    Wander,
)

LINK = 1e4  # S: a tenth of a milliohm, nothing beside any mains
UNLIT = 1e-12  # A at full volts of the lamp that is linked out


@REGISTRY.add
class Mains(Part):
    """Alternating supply between live and neutral; the assembly's `mains` line sets its volts."""

    KIND: ClassVar[str] = "mains"
    TERMINALS: ClassVar[tuple[str, ...]] = ("live", "neutral")
    RATE: ClassVar[Rate] = Rate(0.0, "the wall is taken as present; see the power condition")

    kind: Literal["mains"]
    volts: Volts = Field(gt=0, description="rms")
    hertz: Hertz = Field(default=50.0, gt=0)
    ohms: Ohms = Field(default=0.5, gt=0, description=f"source resistance; {PRACTICE}")
    live: Net
    neutral: Net

    def elements(self) -> list[el.Element]:
        values = {"g": 1 / self.ohms, "ac": self.volts * sqrt(2), "hz": self.hertz, "phase": 0.0}
        plug = f"{self.ref}#plug"
        # A lamp in series limits what a fault can draw. It is always there, with a link across it;
        # a condition takes the link out and gives the lamp its watts.
        lamp = {"volts": self.volts, "amps": UNLIT}
        return [
            el.Source(self.ref, (plug, self.neutral), values),
            el.Resistor(f"{self.ref}:link", (plug, self.live), {"g": LINK}),
            el.Lamp(f"{self.ref}:lamp", (plug, self.live), lamp),
            # The supply's neutral is earthed somewhere, and so is the frame.
            el.Resistor(f"{self.ref}:earthed", (self.neutral, el.COMMON), {"g": 1e-3}),
        ]

    def modes(self) -> list[Mode]:
        return []

    def wanders(self) -> list[Wander]:
        # Mains at the bench within about +-5 %: EN 50160 allows 10 %; common practice otherwise.
        return [Wander("mains volts", {(self.ref, "ac"): self.volts * sqrt(2) * 1.03})]

    def label(self) -> str:
        return f"{self.volts:g} V mains"
