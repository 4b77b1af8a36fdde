"""Relays: one coil with one contact; further contacts are their own entries naming the coil."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    RATES_217,
    REGISTRY,
    DeadLook,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Volts,
    Wander,
    gone,
    shares,
)


@REGISTRY.add
class Relay(Part):
    """Coil c1-c2; contact a-b, normally open unless `rest` says closed."""

    KIND: ClassVar[str] = "relay"
    TERMINALS: ClassVar[tuple[str, ...]] = ("c1", "c2", "a", "b")
    RATE: ClassVar[Rate] = Rate(0.28, RATES_217)

    kind: Literal["relay"]
    coil: Ohms = Field(gt=0)
    volts: Volts = Field(gt=0, description="coil rating")
    pull_in: Volts | None = Field(default=None, gt=0)
    drop_out: Volts | None = Field(default=None, gt=0)
    rest: Literal["open", "closed"] = "open"
    c1: Net
    c2: Net
    a: Net
    b: Net

    def elements(self) -> list[el.Element]:
        # Must-operate 75 % and must-release 10 % of rating: common practice, no published source.
        values = {
            "pull": self.pull_in or 0.75 * self.volts,
            "drop": self.drop_out or 0.1 * self.volts,
            "normally": 1.0 if self.rest == "closed" else 0.0,
        }
        return [
            el.Resistor(self.ref, (self.c1, self.c2), {"g": 1.0 / self.coil}),
            el.Contact(f"{self.ref}:contact", (self.a, self.b, self.c1, self.c2), values),
        ]

    def modes(self) -> list[Mode]:
        force = (f"{self.ref}:contact", "force")
        still = {(self.ref, "g"): el.OPEN, (f"{self.ref}:contact", "pull"): 1e9}
        return shares(
            f"{MODES_338} (no trip .55, spurious .26, short .19); coil and contact split ours",
            {
                "coil open": (0.30, still, "coil reads OL"),
                "contact open": (0.25, {force: -1.0}, "coil pulls, contact stays OL"),
                "contact welded": (0.26, {force: 1.0}, "contact closed at rest"),
                "coil short": (0.19, {(self.ref, "g"): 0.1}, "coil reads a few ohms"),
            },
        )

    def lift(self, lead: str) -> Overrides | None:
        if lead in ("a", "b"):
            return gone([self.elements()[1]])
        return {(self.ref, "g"): 1e-12, (f"{self.ref}:contact", "pull"): 1e9}

    def wanders(self) -> list[Wander]:
        return [Wander(f"{self.ref} coil", {(self.ref, "g"): 1.0 / (1.06 * self.coil)})]

    def dead(self) -> list[DeadLook]:
        return [DeadLook("c1", "c2", "ohms", 0.85 * self.coil, 1.15 * self.coil, PRACTICE)]

    def label(self) -> str:
        return f"{self.volts:g} V relay"
