"""What all capacitor kinds share: two plates, series resistance, leakage, a working voltage."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    Amps,
    DeadLook,
    Farads,
    Mode,
    Ohms,
    Part,
    Rating,
    Spread,
    Volts,
    Wander,
    limits,
    shares,
    sigma,
)
from halfsplit.parts.misfit import value_misfits
from halfsplit.quantity import Tolerance, show


class Capacitance(Part):
    """Fields and behaviour common to capacitors; each kind sets its modes and defaults."""

    # (short, open, value low, leaky) of this dielectric; sums to 1
    SHARES: ClassVar[tuple[float, float, float, float]]
    SHORT_OHMS: ClassVar[float] = 0.5
    SERIES: ClassVar[float] = 0.05  # ohm, when the entry gives no esr
    FULL: ClassVar[Tolerance] = Tolerance(0.2, 0.2, True)

    value: Farads = Field(gt=0)
    volts: Volts | None = Field(default=None, gt=0, description="working voltage")
    tolerance: Spread | None = None
    esr: Ohms | None = Field(default=None, ge=0, description="series resistance")
    ripple: Amps | None = Field(default=None, gt=0, description="rms ripple current it is rated")
    short: Ohms | None = Field(default=None, gt=0, description="resistance when it fails shorted")

    def plates(self) -> tuple[str, str]:
        """Nets of the two plates, positive first where it matters."""
        first, second = (self.__dict__[t] for t in self.TERMINALS)
        return first, second

    def elements(self) -> list[el.Element]:
        series = self.SERIES if self.esr is None else self.esr
        return [el.Capacitor(self.ref, self.plates(), {"c": self.value, "esr": max(series, 1e-3)})]

    def modes(self) -> list[Mode]:
        short, opened, low, leaky = self.SHARES
        c, g, esr = ((self.ref, key) for key in ("c", "g", "esr"))
        series = self.SERIES if self.esr is None else self.esr
        faulty = {
            "short": (
                short,
                {g: 1.0 / (self.short or self.SHORT_OHMS)},
                "a few ohms or less both ways; may be cracked or burnt",
            ),
            "open": (opened, {c: 0.0}, "no kick of the needle; capacitance near nothing"),
            # Drying has no fixed size; two points, in equal shares, stand for its range.
            "value half": (
                0.5 * low,
                {c: 0.5 * self.value, esr: max(2.0 * series, 1e-3)},
                "about half its value: drying out",
            ),
            "value low": (
                0.5 * low,
                {c: 0.2 * self.value, esr: max(5.0 * series, 1e-3)},
                "a fifth of its value and high series resistance: dried out",
            ),
            "leaky": (leaky, {g: 1.0 / self.leak()}, "warm in use; leakage at working voltage"),
        }
        return shares(MODES_338, {k: v for k, v in faulty.items() if v[0] > 0})

    def misfits(self) -> list[Mode]:
        wrong = value_misfits(self)
        if not self.POLAR:
            return wrong
        # Backwards an electrolytic conducts like a poor rectifier; taken as ten times a badly
        # leaking one, which is what it becomes.
        turned = {(self.ref, "g"): 10.0 / self.leak()}
        kept = [replace(m, share=0.6 * m.share) for m in wrong]
        look = "its plus is where the drawing has minus; warm, perhaps bulged"
        return [*kept, Mode("fitted backwards", 0.4, PRACTICE, turned, look)]

    def leak(self) -> float:
        """Resistance of a badly leaking specimen [ohm]: 20 mA at working voltage, at least 500 ohm.

        Common practice, no published source.
        """
        return max((self.volts or 16.0) / 20e-3, 500.0)

    def wanders(self) -> list[Wander]:
        top = self.value + sigma(self.tolerance or self.FULL, self.value)
        return [Wander(f"{self.ref} value", {(self.ref, "c"): top})]

    def ratings(self) -> list[Rating]:
        return limits(self.ref, {"volts": self.volts, "ripple": self.ripple})

    def dead(self) -> list[DeadLook]:
        first, second = self.TERMINALS
        words = f"kicks low, then climbs past 100 kΩ; {PRACTICE}"
        return [DeadLook(first, second, "ohms", 1e5, float("inf"), words)]

    def label(self) -> str:
        rated = f" {show(self.volts, 'V', 2)}" if self.volts else ""
        return f"{show(self.value, 'F', 3)}{rated} {self.KIND.replace('-capacitor', '')} capacitor"
