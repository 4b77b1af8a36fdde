"""Chokes and other single windings."""

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
    Henries,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Rating,
    Wander,
    shares,
)
from halfsplit.quantity import show


@REGISTRY.add
class InductorPart(Part):
    """A winding on its own: choke, filter coil, field coil."""

    KIND: ClassVar[str] = "inductor"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(0.046, f"{RATES_217}, audio transformer row")

    kind: Literal["inductor"]
    value: Henries = Field(gt=0)
    resistance: Ohms = Field(default=0.1, ge=0)
    amps: Amps | None = Field(default=None, gt=0)
    a: Net
    b: Net

    def elements(self) -> list[el.Element]:
        values = {"l": self.value, "r": max(self.resistance, 1e-3)}
        return [el.Inductor(self.ref, (self.a, self.b), values)]

    def modes(self) -> list[Mode]:
        return shares(
            MODES_338,
            {
                "open": (0.42, {(self.ref, "r"): 1 / el.OPEN, (self.ref, "l"): 0.0}, "reads OL"),
                "short": (0.42, {(self.ref, "g"): el.SHORT}, "reads near 0 ohm"),
                "shorted turns": (
                    0.16,
                    {(self.ref, "l"): 0.2 * self.value},
                    "resistance a little low; runs hot",
                ),
            },
        )

    def wanders(self) -> list[Wander]:
        return [Wander(f"{self.ref} resistance", {(self.ref, "r"): 1.1 * self.resistance + 1e-3})]

    def ratings(self) -> list[Rating]:
        return [Rating("amps", self.amps, self.ref, "the part's entry")] if self.amps else []

    def dead(self) -> list[DeadLook]:
        r = self.resistance
        return [DeadLook("a", "b", "ohms", 0.8 * r, 1.2 * r, f"winding; {PRACTICE}")]

    def label(self) -> str:
        return f"{show(self.value, 'H', 3)} choke"
