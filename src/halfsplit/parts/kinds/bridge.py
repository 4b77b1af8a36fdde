"""Bridge rectifiers in one body."""

from __future__ import annotations

import math
from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import (
    MEMORY,
    PRACTICE,
    RATES_217,
    REGISTRY,
    Amps,
    DeadLook,
    Mode,
    Net,
    Part,
    Quantity,
    Rate,
    Rating,
    Volts,
    Wander,
    gone,
    limits,
    shares,
)
from halfsplit.parts.junction import saturation


@REGISTRY.add
class Bridge(Part):
    """Four diodes: two alternating terminals ac1 and ac2, and pos and neg."""

    KIND: ClassVar[str] = "bridge"
    TERMINALS: ClassVar[tuple[str, ...]] = ("ac1", "ac2", "pos", "neg")
    RATE: ClassVar[Rate] = Rate(0.088, f"{RATES_217}, four power rectifiers")
    EMISSION: ClassVar[float] = 1.7

    kind: Literal["bridge"]
    volts: Volts | None = Field(default=None, gt=0)
    amps: Amps | None = Field(default=None, gt=0)
    surge: Amps | None = Field(default=None, gt=0)
    drop: Volts = Field(default=0.9, gt=0, description="of one diode at drop_at")
    drop_at: Amps = Field(default=1.0, gt=0)
    package: str | None = None
    pinout: str | None = None
    ac1: Net
    ac2: Net
    pos: Net
    neg: Net

    def _arms(self) -> dict[str, tuple[str, str]]:
        return {
            "ac1-pos": (self.ac1, self.pos),
            "ac2-pos": (self.ac2, self.pos),
            "neg-ac1": (self.neg, self.ac1),
            "neg-ac2": (self.neg, self.ac2),
        }

    def elements(self) -> list[el.Element]:
        nvt = self.EMISSION * el.THERMAL_VOLTAGE
        values = {"is": saturation(self.drop, self.drop_at, nvt), "nvt": nvt}
        return [el.Diode(f"{self.ref}:{n}", ends, values) for n, ends in self._arms().items()]

    def modes(self) -> list[Mode]:
        found = {}
        for name in self._arms():
            key = f"{self.ref}:{name}"
            found[f"{name} short"] = (
                0.16,
                {(key, "g"): el.SHORT},
                f"{name} near 0 V both ways in diode test",
            )
            found[f"{name} open"] = (0.09, {(key, "is"): 0.0}, f"{name} OL both ways")
        return shares(f"MIL-HDBK-338B, rectifier row, parameter share dropped; {MEMORY}", found)

    def wanders(self) -> list[Wander]:
        nvt = self.EMISSION * el.THERMAL_VOLTAGE
        sat = saturation(self.drop + 0.015, self.drop_at, nvt)
        return [Wander(f"{self.ref} drop", {(f"{self.ref}:{n}", "is"): sat for n in self._arms()})]

    def ratings(self) -> list[Rating]:
        given: dict[Quantity, float | None] = {"volts": self.volts, "amps": self.amps}
        return [r for n in self._arms() for r in limits(f"{self.ref}:{n}", given)]

    def lift(self, lead: str) -> Overrides | None:
        return gone(e for e in self.elements() if lead in e.name.partition(":")[2].split("-"))

    def dead(self) -> list[DeadLook]:
        nvt = self.EMISSION * el.THERMAL_VOLTAGE
        drop = nvt * math.log1p(1e-3 / saturation(self.drop, self.drop_at, nvt))
        pairs = [("ac1", "pos"), ("ac2", "pos"), ("neg", "ac1"), ("neg", "ac2")]
        return [
            DeadLook(a, k, "diode", 0.8 * drop, 1.2 * drop, f"one drop; {PRACTICE}")
            for a, k in pairs
        ]
