"""Selenium rectifier stacks."""

from __future__ import annotations

import math
from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    PRACTICE,
    RATES_217,
    REGISTRY,
    Amps,
    DeadLook,
    Mode,
    Net,
    Part,
    Rate,
    Rating,
    Volts,
    Wander,
    limits,
    shares,
)

# A plate begins to pass about a milliampere at 0.55 V and is rated at about 1 V; between, and at
# the peaks above, its drop grows with the logarithm of current. From memory, unconfirmed.
ONSET_VOLTS, ONSET_AMPS = 0.55, 1e-3
# Reverse peak a plate stands over its rated alternating input: a reservoir doubles the peak.
PEAK = 2.0 * math.sqrt(2.0)
AGED = 2.0  # forward drop of an old stack over a new one's; common practice, no published source


@REGISTRY.add
class Selenium(Part):
    """A stack of `plates` in series: anode a, cathode k (the red or plus end)."""

    KIND: ClassVar[str] = "selenium"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "k")
    RATE: ClassVar[Rate] = Rate(0.022, f"{RATES_217}, power rectifier row, for want of its own")

    kind: Literal["selenium"]
    plates: int = Field(gt=0, le=200)
    amps: Amps = Field(gt=0, description="rated direct current")
    drop: Volts = Field(default=1.0, gt=0.56, description="forward, one plate at rated current")
    plate_volts: Volts = Field(default=25.0, gt=0, description="rated input of one plate, rms")
    volts: Volts | None = Field(default=None, gt=0, description="rated alternating input, rms")
    package: str | None = None
    a: Net
    k: Net

    def junction(self, aged: float = 1.0) -> dict[str, float]:
        """Diode parameters of the stack; `aged` multiplies its forward drop."""
        ratio = self.amps / ONSET_AMPS
        slope = (self.drop - ONSET_VOLTS) / math.log(max(ratio, math.e))
        return {
            "is": ONSET_AMPS / math.expm1(ONSET_VOLTS / slope),
            "nvt": aged * self.plates * slope,
            # Reverse current is soft: a milliampere at the rated peak, e-fold for each 5 % more.
            "bv": self.reverse(),
            "ibv": ONSET_AMPS,
            "nbv": 0.05 * self.reverse(),
        }

    def reverse(self) -> float:
        """Reverse peak the stack stands [V]."""
        return float(self.plates * self.plate_volts * PEAK)

    def elements(self) -> list[el.Element]:
        return [el.Diode(self.ref, (self.a, self.k), self.junction())]

    def modes(self) -> list[Mode]:
        dead = {(self.ref, "is"): 0.0, (self.ref, "ibv"): 0.0}
        return shares(
            f"rise of forward drop leads, as restorers find; {PRACTICE}",
            {
                "aged": (
                    0.60,
                    {(self.ref, "nvt"): self.junction(AGED)["nvt"]},
                    "output low under load; runs hot; smell",
                ),
                "short": (0.20, {(self.ref, "g"): el.SHORT}, "near 0 both ways; burnt plates"),
                "leaky": (0.12, {(self.ref, "g"): 1e-4}, "reverse well below forward times 20"),
                "open": (0.08, dead, "OL both ways"),
            },
        )

    def wanders(self) -> list[Wander]:
        # A tenth of the drop between specimens: common practice, no published source.
        return [Wander(f"{self.ref} drop", {(self.ref, "nvt"): self.junction(1.1)["nvt"]})]

    def ratings(self) -> list[Rating]:
        return limits(self.ref, {"amps": self.amps, "volts": self.reverse()})

    def dead(self) -> list[DeadLook]:
        words = f"kilohms, higher backwards; a diode test cannot turn it on; {PRACTICE}"
        return [DeadLook("a", "k", "ohms", 1e3, 1e6, words)]

    def label(self) -> str:
        return f"{self.plates}-plate selenium stack"
