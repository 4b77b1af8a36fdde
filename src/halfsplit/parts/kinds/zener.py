"""Zener and reference diodes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MEMORY,
    PRACTICE,
    RATES_217,
    REGISTRY,
    Amps,
    Mode,
    Net,
    Ohms,
    Rate,
    Rating,
    Spread,
    Volts,
    Wander,
    Watts,
    sigma,
)
from halfsplit.parts.junction import DiodePart
from halfsplit.parts.misfit import fitted
from halfsplit.quantity import Tolerance, show
from halfsplit.quantity.eseries import next_above, next_below


@REGISTRY.add
class Zener(DiodePart):
    """A diode used in reverse at its breakdown voltage."""

    KIND: ClassVar[str] = "zener"
    EMISSION: ClassVar[float] = 1.0
    RATE: ClassVar[Rate] = Rate(0.024, f"{RATES_217}, zener regulator row")
    SHARES: ClassVar[dict[str, float]] = {"short": 0.20, "open": 0.45, "leaky": 0.35}
    SHARES_SOURCE: ClassVar[str] = f"MIL-HDBK-338B, zener regulator row; {MEMORY}"

    kind: Literal["zener"]
    value: Volts = Field(gt=0, description="zener voltage at test_current")
    tolerance: Spread = Tolerance(0.05, 0.05, True)
    power: Watts | None = Field(default=None, gt=0)
    test_current: Amps = Field(default=5e-3, gt=0)
    impedance: Ohms = Field(default=10.0, gt=0, description="slope at test_current")
    knee_impedance: Ohms | None = None
    knee_current: Amps | None = None
    max_current: Amps | None = None
    a: Net
    k: Net

    def junction(self) -> dict[str, float]:
        nvt = el.THERMAL_VOLTAGE
        return {
            "is": saturation_at_700mv(nvt),
            "nvt": nvt,
            "bv": self.value,
            "ibv": self.test_current,
            # slope nbv/I equals the impedance at the test current
            "nbv": max(self.impedance * self.test_current, nvt),
        }

    def misfits(self) -> list[Mode]:
        # Zeners step by E24; a repairer takes the next one or the one after.
        words = (("next voltage up", 1.05), ("two voltages up", 1.15), ("next voltage down", 0.95))
        found = [replace(m, share=0.3) for m in super().misfits()]
        for (name, factor), share in zip(words, (0.25, 0.25, 0.2), strict=True):
            near = (next_above if factor > 1 else next_below)("E24", factor * self.value)
            changes = fitted(self, value=near)
            look = f"marked {show(near, 'V', 2)} where the drawing has {show(self.value, 'V', 2)}"
            found.append(Mode(name, share, PRACTICE, changes, look))
        return found

    def wanders(self) -> list[Wander]:
        return [
            Wander(
                f"{self.ref} voltage",
                {(self.ref, "bv"): self.value + sigma(self.tolerance, self.value)},
            )
        ]

    def ratings(self) -> list[Rating]:
        limits = [*super().ratings()]
        if self.power:
            limits.append(
                Rating("watts", self.power, self.ref, "the part's entry or catalogue row")
            )
        return limits

    def label(self) -> str:
        return f"{show(self.value, 'V', 2)} zener"


def saturation_at_700mv(nvt: float) -> float:
    """Forward saturation current [A] of a zener: 0.7 V at 10 mA, as any silicon junction."""
    return 10e-3 / math.expm1(0.7 / nvt)
