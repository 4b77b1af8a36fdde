"""Three-terminal regulators: positive, negative (value below zero) and adjustable."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field, model_validator

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    RATES_217,
    REGISTRY,
    Amps,
    Celsius,
    DeadLook,
    KelvinPerWatt,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Rating,
    Spread,
    Volts,
    Wander,
    shares,
    sigma,
)
from halfsplit.quantity import Tolerance, show


@REGISTRY.add
class RegulatorPart(Part):
    """Input `in`, common or adjust pin `com`, output `out`. `value` is signed, out against com."""

    KIND: ClassVar[str] = "regulator"
    TERMINALS: ClassVar[tuple[str, ...]] = ("in", "com", "out")
    RATE: ClassVar[Rate] = Rate(0.024, f"{RATES_217}, linear circuit row")

    # A fixed type's own feedback divider takes about this from its output, part of the standing
    # current; it is what holds the output with no load. From memory, unconfirmed.
    DIVIDER: ClassVar[float] = 1e-3

    kind: Literal["regulator"]
    value: Volts
    tolerance: Spread = Tolerance(0.04, 0.04, True)
    adjustable: bool = False
    adjust_current: Amps | None = None
    dropout: Volts = Field(default=2.0, gt=0)
    dropout_at: Amps | None = None
    amps: Amps = Field(default=2.2, gt=0, description="current at which it limits")
    short_amps: Amps | None = None
    quiescent: Amps = Field(default=4e-3, ge=0)
    output: Ohms = Field(default=0.015, gt=0, description="output resistance")
    input_max: Volts | None = None
    theta_jc: KelvinPerWatt | None = None
    sink: KelvinPerWatt | None = Field(default=None, ge=0, description="heatsink to air")
    theta_ja: KelvinPerWatt | None = None
    junction_max: Celsius | None = None
    package: str | None = None
    pinout: str | None = None
    in_: Net = Field(alias="in")
    com: Net
    out: Net

    @model_validator(mode="after")
    def _some_volts(self) -> RegulatorPart:
        if self.value == 0:
            raise ValueError("a regulator of 0 V regulates nothing: give its volts, signed")
        return self

    def _values(self) -> dict[str, float]:
        standing = self.quiescent - self.DIVIDER
        if self.adjustable:
            standing = self.adjust_current or self.quiescent
        return {
            "pol": 1.0 if self.value > 0 else -1.0,
            "volts": abs(self.value),
            "gout": 1.0 / self.output,
            "drop": self.dropout,
            "limit": self.amps,
            "iq": max(standing, 0.0),
        }

    def elements(self) -> list[el.Element]:
        found: list[el.Element] = [
            el.Regulator(self.ref, (self.in_, self.com, self.out), self._values())
        ]
        if not self.adjustable:
            inside = el.Resistor(
                f"{self.ref}:divider", (self.out, self.com), {"g": self.DIVIDER / abs(self.value)}
            )
            found.append(inside)
        return found

    def modes(self) -> list[Mode]:
        v = {k: (self.ref, k) for k in ("able", "g", "volts", "limit", "iq")}
        return shares(
            f"{MODES_338}, linear circuit row (improper output .77, none .23); split ours",
            {
                "no output": (0.23, {v["able"]: 0.0}, "nothing out with the right volts in"),
                "in-out short": (0.37, {v["g"]: 10.0}, "input to output near 0 ohm"),
                "output high": (0.10, {v["volts"]: 1.3 * abs(self.value)}, "reads high"),
                "output low": (0.20, {v["volts"]: 0.7 * abs(self.value)}, "reads low"),
                "weak": (0.10, {v["limit"]: 0.1 * self.amps}, "sags under load, right without"),
            },
        )

    def wanders(self) -> list[Wander]:
        up = abs(self.value) + sigma(self.tolerance, abs(self.value))
        return [
            Wander(f"{self.ref} output", {(self.ref, "volts"): up}),
            Wander(f"{self.ref} standing current", {(self.ref, "iq"): 1.3 * self._values()["iq"]}),
        ]

    def ratings(self) -> list[Rating]:
        said = "the part's entry or catalogue row"
        return [Rating("volts", abs(self.input_max), self.ref, said)] if self.input_max else []

    def dead(self) -> list[DeadLook]:
        words = f"kilohms, differing by maker; near 0 is bad; {PRACTICE}"
        return [DeadLook("in", "com", "ohms", 500.0, float("inf"), words)]

    def label(self) -> str:
        return f"{show(self.value, 'V', 3)} regulator"
