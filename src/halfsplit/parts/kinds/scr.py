"""Thyristors (silicon controlled rectifiers)."""

from __future__ import annotations

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
    Celsius,
    DeadLook,
    KelvinPerWatt,
    Mode,
    Net,
    Part,
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
class Thyristor(Part):
    """Anode a, cathode k, gate g."""

    KIND: ClassVar[str] = "scr"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "k", "g")
    RATE: ClassVar[Rate] = Rate(0.020, f"{RATES_217}, thyristor row")

    kind: Literal["scr"]
    volts: Volts | None = Field(default=None, gt=0)
    amps: Amps | None = Field(default=None, gt=0)
    surge: Amps | None = Field(default=None, gt=0)
    i2t: float | None = Field(default=None, gt=0)
    trigger_volts: Volts = Field(default=0.7, gt=0)
    trigger_amps: Amps = Field(default=10e-3, gt=0)
    holding_amps: Amps = Field(default=10e-3, gt=0)
    on_volts: Volts = Field(default=1.2, gt=0)
    on_volts_at: Amps = Field(default=5.0, gt=0)
    theta_jc: KelvinPerWatt | None = None
    sink: KelvinPerWatt | None = Field(default=None, ge=0, description="heatsink to air")
    theta_ja: KelvinPerWatt | None = None
    junction_max: Celsius | None = None
    package: str | None = None
    pinout: str | None = None
    a: Net
    k: Net
    g: Net

    def elements(self) -> list[el.Element]:
        nvt = 1.5 * el.THERMAL_VOLTAGE  # gate junction slope; from memory, unconfirmed
        knee = min(0.8, 0.7 * self.on_volts)
        values = {
            "isg": saturation(self.trigger_volts, self.trigger_amps, nvt),
            "nvt": nvt,
            "igt": self.trigger_amps,
            "ih": self.holding_amps,
            "von": knee,
            "ron": (self.on_volts - knee) / self.on_volts_at,
        }
        return [el.Scr(self.ref, (self.a, self.k, self.g), values)]

    def modes(self) -> list[Mode]:
        return shares(
            f"MIL-HDBK-338B, thyristor row (.98 short, .02 open; gate share ours); {MEMORY}",
            {
                "a-k short": (
                    0.90,
                    {(self.ref, "gak"): el.SHORT},
                    "a-k reads near 0 ohm both ways",
                ),
                "gate short": (
                    0.05,
                    {(self.ref, "ggk"): el.SHORT, (self.ref, "able"): 0.0},
                    "gate to cathode reads near 0 ohm",
                ),
                "never fires": (
                    0.05,
                    {(self.ref, "able"): 0.0, (self.ref, "isg"): 0.0},
                    "gate to cathode OL, or will not latch on a bench source",
                ),
            },
        )

    def wanders(self) -> list[Wander]:
        nvt = 1.5 * el.THERMAL_VOLTAGE
        sat = saturation(self.trigger_volts + 0.05, self.trigger_amps, nvt)
        return [
            Wander(f"{self.ref} trigger", {(self.ref, "isg"): sat}),
            # 0.1 V between specimens when on; common practice, no published source.
            Wander(
                f"{self.ref} on volts", {(self.ref, "von"): min(0.8, 0.7 * self.on_volts) + 0.1}
            ),
        ]

    def ratings(self) -> list[Rating]:
        return limits(self.ref, {"volts": self.volts, "amps": self.amps})

    def lift(self, lead: str) -> Overrides | None:
        if lead == "g":
            return {(self.ref, "able"): 0.0, (self.ref, "isg"): 0.0, (self.ref, "ggk"): 0.0}
        if lead == "a":  # gate and cathode stay a junction
            return {(self.ref, "able"): 0.0, (self.ref, "gak"): 0.0}
        return gone(self.elements())

    def dead(self) -> list[DeadLook]:
        return [
            DeadLook("a", "k", "ohms", 1e5, float("inf"), f"OL both ways; {PRACTICE}"),
            DeadLook("g", "k", "ohms", 5.0, 500.0, f"tens of ohms, often both ways; {PRACTICE}"),
        ]
