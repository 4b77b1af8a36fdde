"""Switches with one pair of contacts."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    RATES_217,
    REGISTRY,
    DeadLook,
    Mode,
    Net,
    Part,
    Rate,
    shares,
)


@REGISTRY.add
class Switch(Part):
    """One pole. `state` is how it stands unless a condition says otherwise."""

    KIND: ClassVar[str] = "switch"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(0.0030, RATES_217)
    CONTACT: ClassVar[float] = 0.02  # ohm, clean contact; common practice, no published source

    kind: Literal["switch"]
    state: Literal["closed", "open"] = "closed"
    a: Net
    b: Net

    def elements(self) -> list[el.Element]:
        g = 1.0 / self.CONTACT if self.state == "closed" else 1e-12
        return [el.Resistor(self.ref, (self.a, self.b), {"g": g})]

    def modes(self) -> list[Mode]:
        g = (self.ref, "g")
        return shares(
            f"{MODES_338}, toggle switch row; sticking read as dirty",
            {
                "open": (0.65, {g: el.OPEN}, "OL when closed"),
                "dirty": (0.19, {g: 0.2}, "ohms instead of milliohms when closed"),
                "short": (0.16, {g: 1 / self.CONTACT}, "near 0 ohm when open"),
            },
        )

    def dead(self) -> list[DeadLook]:
        return [DeadLook("a", "b", "ohms", 0.0, 0.5, f"when closed; {PRACTICE}")]
