"""Potentiometers and trimmers: a track and a wiper, or a rheostat of two ends."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field, model_validator

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    RATES_217,
    REGISTRY,
    DeadLook,
    Fraction,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Rating,
    Wander,
    Watts,
    gone,
    shares,
)
from halfsplit.quantity import show


@REGISTRY.add
class Potentiometer(Part):
    """A variable resistor. `set` is the share of the track between a and the wiper.

    Without a third terminal it is a rheostat: a to wiper.
    """

    KIND: ClassVar[str] = "potentiometer"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "wiper", "b")
    RATE: ClassVar[Rate] = Rate(0.02, f"{RATES_217}; row taken as ten times film, unconfirmed")

    kind: Literal["potentiometer"]
    value: Ohms = Field(gt=0)
    set: Fraction = Field(default=0.5, ge=0, le=1)
    power: Watts | None = Field(default=None, gt=0)
    a: Net
    wiper: Net
    b: Net | None = None

    @model_validator(mode="after")
    def _some_track(self) -> Potentiometer:
        if self.a == self.wiper:
            raise ValueError("a and wiper are on one net, so the part would do nothing")
        return self

    def terminals(self) -> dict[str, str]:
        nets = {"a": self.a, "wiper": self.wiper}
        return nets | ({"b": self.b} if self.b else {})

    def _at(self, share: float) -> dict[tuple[str, str], float]:
        changes = {(self.ref, "g"): 1.0 / max(share * self.value, 0.5)}
        if self.b:
            changes[f"{self.ref}:b", "g"] = 1.0 / max((1.0 - share) * self.value, 0.5)
        return changes

    def elements(self) -> list[el.Element]:
        now = self._at(self.set)
        parts: list[el.Element] = [
            el.Resistor(self.ref, (self.a, self.wiper), {"g": now[self.ref, "g"]})
        ]
        if self.b:
            name = f"{self.ref}:b"
            parts.append(el.Resistor(name, (self.wiper, self.b), {"g": now[name, "g"]}))
        return parts

    def modes(self) -> list[Mode]:
        lost = {(self.ref, "g"): el.OPEN}
        if self.b:
            lost[f"{self.ref}:b", "g"] = el.OPEN
        return shares(
            MODES_338,
            {
                # .53 open, .40 erratic, .07 short; erratic is taken as turned or stuck at an end.
                "wiper open": (0.53, lost, "wiper reads OL to both ends; clean and turn it"),
                "turned to the a end": (0.20, self._at(0.0), "turned to one end"),
                "turned to the far end": (0.20, self._at(1.0), "turned to the other end"),
                "short": (0.07, {(self.ref, "g"): el.SHORT}, "reads near 0 ohm"),
            },
        )

    def lift(self, lead: str) -> Overrides | None:
        track = {"a": [self.ref], "b": [f"{self.ref}:b"], "wiper": [self.ref, f"{self.ref}:b"]}
        return gone(e for e in self.elements() if e.name in track[lead])

    def wanders(self) -> list[Wander]:
        # Nobody knows a trimmer's setting to better than a few degrees of its turn.
        return [Wander(f"{self.ref} setting", self._at(min(self.set + 0.03, 1.0)))]

    def ratings(self) -> list[Rating]:
        return [Rating("watts", self.power, self.ref, "the part's entry")] if self.power else []

    def dead(self) -> list[DeadLook]:
        at = self.set * self.value
        return [DeadLook("a", "wiper", "ohms", 0.8 * at, 1.2 * at, f"as set; {PRACTICE}")]

    def label(self) -> str:
        return f"{show(self.value, 'ohm', 3)} trimmer"
