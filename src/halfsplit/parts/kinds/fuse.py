"""Fuses."""

from __future__ import annotations

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
    Ohms,
    Part,
    Rate,
    Rating,
    Volts,
    shares,
)
from halfsplit.parts.misfit import fitted
from halfsplit.quantity import show


@REGISTRY.add
class Fuse(Part):
    """A fuse. `speed` F fast, T time-lag. Its modes here are the ones a meter can see."""

    KIND: ClassVar[str] = "fuse"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(0.020, RATES_217)

    kind: Literal["fuse"]
    amps: Amps = Field(gt=0)
    speed: Literal["FF", "F", "M", "T", "TT"] = "F"
    volts: Volts | None = Field(default=None, gt=0)
    cold_ohms: Ohms | None = Field(default=None, gt=0)
    standard: str | None = None
    i2t: float | None = Field(default=None, gt=0)
    package: str | None = None
    a: Net
    b: Net

    def ohms(self) -> float:
        """Resistance when sound: as entered, else a tenth of a volt at rated current (practice)."""
        return float(self.cold_ohms or 0.1 / self.amps)

    def elements(self) -> list[el.Element]:
        return [el.Resistor(self.ref, (self.a, self.b), {"g": 1.0 / self.ohms()})]

    def modes(self) -> list[Mode]:
        # MIL-HDBK-338B counts fuses that fail to open (.49), open late (.43) or early (.08); only
        # an open fuse shows in a reading, and a blown one is the commonest find on a dead machine.
        return shares(
            f"open is all a meter shows; {PRACTICE}",
            {"open": (1.0, {(self.ref, "g"): el.OPEN}, "reads OL; blackened or cloudy glass")},
        )

    def misfits(self) -> list[Mode]:
        # Nothing a reading shows, unless something blows that should not; the eye finds it.
        big = fitted(self, amps=2.0 * self.amps, cold_ohms=None)
        look = f"marked more than {show(self.amps, 'A', 2)}, or wire or foil in its place"
        slow = "marked T where the drawing has F, or the other way about"
        return [
            Mode("oversize", 0.8, PRACTICE, big, look),
            Mode("wrong speed", 0.2, PRACTICE, {}, slow),
        ]

    def rate(self) -> Rate:
        return Rate(0.5, f"blown fuses are a symptom and common: {PRACTICE}")

    def ratings(self) -> list[Rating]:
        return [Rating("amps", self.amps, self.ref, "the part's entry")]

    def dead(self) -> list[DeadLook]:
        return [DeadLook("a", "b", "ohms", 0.0, max(1.0, 3 * self.ohms()), f"near 0; {PRACTICE}")]

    def label(self) -> str:
        return f"{show(self.amps, 'A', 2)} {self.speed} fuse"
