"""Turning data-sheet numbers of diodes and transistors into model parameters, and their fields."""

from __future__ import annotations

import math
from typing import ClassVar

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    PRACTICE,
    Amps,
    Celsius,
    DeadLook,
    Farads,
    KelvinPerWatt,
    Mode,
    Ohms,
    Part,
    Rating,
    Seconds,
    Volts,
    Wander,
    limits,
    shares,
)


def saturation(volts: float, amps: float, nvt: float) -> float:
    """Saturation current [A] of a junction that carries `amps` at `volts` with slope `nvt` [V]."""
    return amps / math.expm1(min(volts / nvt, 200.0))


def charge_time(recovery: float | None) -> float:
    """Charge a junction stores per ampere [s] from its reverse recovery time [s], 0 if unknown.

    A forward current F and then a reverse current R empty a charge tt F in tt ln(1 + F/R); recovery
    times are measured with the two equal, hence ln 2. Source: R. H. Kingston, "Switching time in
    junction diodes and junction transistors", Proc. IRE 42(5), 1954, in the charge-control form;
    from memory, unconfirmed.
    """
    return (recovery or 0.0) / math.log(2.0)


class DiodePart(Part):
    """Fields and behaviour common to all diodes: anode a, cathode k."""

    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "k")
    EMISSION: ClassVar[float] = 1.7  # slope factor of silicon rectifiers; from memory, unconfirmed
    SHARES: ClassVar[dict[str, float]]
    SHARES_SOURCE: ClassVar[str]

    volts: Volts | None = Field(default=None, gt=0, description="repetitive reverse voltage")
    amps: Amps | None = Field(default=None, gt=0, description="average forward current")
    surge: Amps | None = Field(default=None, gt=0, description="one half-cycle surge")
    drop: Volts = Field(default=0.7, gt=0, description="forward drop at drop_at")
    drop_at: Amps = Field(default=10e-3, gt=0)
    leakage: Amps | None = Field(default=None, ge=0)
    recovery: Seconds | None = Field(default=None, gt=0, description="reverse recovery time")
    capacitance: Farads | None = None
    series: Ohms | None = Field(default=None, ge=0)
    i2t: float | None = Field(
        default=None, gt=0, description="surge rating, ampere-squared seconds"
    )
    theta_ja: KelvinPerWatt | None = None
    theta_jc: KelvinPerWatt | None = None
    junction_max: Celsius | None = None
    package: str | None = None
    pinout: str | None = None
    made_of: str | None = None

    def junction(self) -> dict[str, float]:
        """Parameters of the diode element."""
        nvt = self.EMISSION * el.THERMAL_VOLTAGE
        found = {"is": saturation(self.drop, self.drop_at, nvt), "nvt": nvt}
        return found | ({"tt": charge_time(self.recovery)} if self.recovery else {})

    def elements(self) -> list[el.Element]:
        a, k = self.terminals().values()
        return [el.Diode(self.ref, (a, k), self.junction())]

    def modes(self) -> list[Mode]:
        sat, g = (self.ref, "is"), (self.ref, "g")
        dead = {sat: 0.0, (self.ref, "ibv"): 0.0}
        effects: dict[str, tuple[dict[tuple[str, str], float], str]] = {
            "short": ({g: el.SHORT}, "reads near 0 V both ways in diode test"),
            "open": (dead, "OL both ways in diode test"),
            "leaky": ({g: 1e-3}, "reads both ways on ohms, about a kilohm in reverse"),
        }
        return shares(
            self.SHARES_SOURCE,
            {m: (share, *effects[m]) for m, share in self.SHARES.items() if m in effects},
        )

    def wanders(self) -> list[Wander]:
        # 15 mV of drop at one sigma between specimens: common practice, no published source.
        j = self.junction()
        return [
            Wander(f"{self.ref} drop", {(self.ref, "is"): j["is"] * math.exp(-0.015 / j["nvt"])})
        ]

    def ratings(self) -> list[Rating]:
        return limits(self.ref, {"volts": self.volts, "amps": self.amps})

    def dead(self) -> list[DeadLook]:
        nvt = self.EMISSION * el.THERMAL_VOLTAGE
        v = nvt * math.log1p(1e-3 / self.junction()["is"])
        return [
            DeadLook("a", "k", "diode", 0.8 * v, 1.2 * v, f"one drop; {PRACTICE}"),
            DeadLook("k", "a", "diode", 2.0, float("inf"), f"OL; {PRACTICE}"),
        ]
