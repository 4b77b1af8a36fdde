"""Cold-cathode gas tubes that hold a voltage: regulator and reference tubes."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field, model_validator

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MEMORY,
    PRACTICE,
    REGISTRY,
    Amps,
    DeadLook,
    Farads,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Rating,
    Spread,
    Volts,
    Wander,
    limits,
    shares,
    sigma,
)
from halfsplit.parts.valve import SHARES_SOURCE
from halfsplit.quantity import Tolerance, show

# What a specimen needs to strike, of the most its sheet allows (0A2: about 160 of 185 V), and the
# current it goes out at, of the least its sheet allows. Common practice, no published source.
USUAL_STRIKE = 0.87
GOES_OUT = 0.2
AGED = 1.053  # burning voltage of an over-run tube, of its marking (150 V to 158 V); practice
HARD = 1.25  # striking voltage of one that has become hard to strike, of the sheet's most; practice


@REGISTRY.add
class GasTube(Part):
    """Anode a, cathode k. `value` is the burning voltage at `test_current`.

    Dark until it sees its striking voltage, then it holds; below its least current it goes out.
    """

    KIND: ClassVar[str] = "gas-tube"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "k")
    RATE: ClassVar[Rate] = Rate(5.0, f"taken as a receiving tube; {MEMORY}")

    kind: Literal["gas-tube"]
    value: Volts = Field(gt=0, description="burning voltage at test_current")
    tolerance: Spread = Tolerance(0.03, 0.03, True)
    test_current: Amps = Field(gt=0)
    impedance: Ohms = Field(gt=0, description="slope while lit")
    strike: Volts = Field(gt=0, description="most it may need to strike")
    strike_typical: Volts | None = Field(default=None, gt=0)
    min_current: Amps = Field(gt=0, description="least for steady burning")
    max_current: Amps = Field(gt=0)
    max_capacitance: Farads | None = Field(default=None, gt=0, description="most across it")
    package: str | None = None
    pinout: str | None = None
    a: Net
    k: Net

    @model_validator(mode="after")
    def _can_work(self) -> GasTube:
        if self.strikes_at() <= self.value:
            raise ValueError("a gas tube strikes above its burning voltage")
        if self.min_current >= self.max_current:
            raise ValueError("min_current must be below max_current")
        return self

    def strikes_at(self) -> float:
        """Striking voltage of the usual specimen [V]."""
        return float(self.strike_typical or max(USUAL_STRIKE * self.strike, 1.02 * self.value))

    def elements(self) -> list[el.Element]:
        values = {
            "volts": self.value - self.impedance * self.test_current,
            "r": self.impedance,
            "strike": self.strikes_at(),
            "out": GOES_OUT * self.min_current,
        }
        return [el.Gas(self.ref, (self.a, self.k), values)]

    def modes(self) -> list[Mode]:
        volts, strike = (self.ref, "volts"), (self.ref, "strike")
        base = self.value - self.impedance * self.test_current
        return shares(
            SHARES_SOURCE,
            {
                "aged": (
                    0.53,
                    {volts: base + (AGED - 1.0) * self.value},
                    "holds some per cent high; dark patches, flickers",
                ),
                "dead": (0.25, {(self.ref, "able"): 0.0}, "never glows at its striking voltage"),
                "hard to strike": (
                    0.15,
                    {strike: HARD * self.strike},
                    "lights late, or only with light or a tap",
                ),
                "short": (0.07, {(self.ref, "g"): el.SHORT}, "reads near 0 ohm"),
            },
        )

    def wanders(self) -> list[Wander]:
        shift = sigma(self.tolerance, self.value)
        base = self.value - self.impedance * self.test_current
        return [
            Wander(f"{self.ref} voltage", {(self.ref, "volts"): base + shift}),
            Wander(f"{self.ref} strike", {(self.ref, "strike"): 1.05 * self.strikes_at()}),
        ]

    def ratings(self) -> list[Rating]:
        return limits(self.ref, {"amps": self.max_current})

    def dead(self) -> list[DeadLook]:
        words = f"OL both ways: an ohmmeter cannot strike it; {PRACTICE}"
        return [DeadLook("a", "k", "ohms", 1e7, float("inf"), words)]

    def label(self) -> str:
        return f"{show(self.value, 'V', 3)} gas tube"
