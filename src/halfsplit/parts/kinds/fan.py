"""Fans: what they take turning, starting and stuck."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MEMORY,
    PRACTICE,
    REGISTRY,
    Amps,
    DeadLook,
    Mode,
    Net,
    Part,
    Rate,
    Rating,
    Volts,
    limits,
    shares,
)
from halfsplit.quantity import show


@REGISTRY.add
class Fan(Part):
    """A fan, direct or alternating, taken as the resistance it has at its nominal volts.

    `amps` turning; `start` at switch-on, for a second or so; `stuck` with the rotor held.
    """

    KIND: ClassVar[str] = "fan"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(1.0, f"worn bearings: {MEMORY}")
    # Times its running current a fan takes with its rotor held, where the entry does not say.
    STUCK: ClassVar[float] = 2.0  # common practice, no published source
    MOST: ClassVar[float] = 1.15  # times nominal volts it stands; common practice

    kind: Literal["fan"]
    volts: Volts = Field(gt=0, description="nominal, rms of an alternating one")
    amps: Amps = Field(gt=0, description="turning at nominal volts")
    start: Amps | None = Field(default=None, gt=0, description="at switch-on")
    stuck: Amps | None = Field(default=None, gt=0, description="with the rotor held")
    a: Net
    b: Net

    def elements(self) -> list[el.Element]:
        return [el.Resistor(self.ref, (self.a, self.b), {"g": self.amps / self.volts})]

    def modes(self) -> list[Mode]:
        held = self.stuck or self.STUCK * self.amps
        g = (self.ref, "g")
        return shares(
            PRACTICE,
            {
                "stuck": (0.6, {g: held / self.volts}, "does not turn by hand, or grates; hot"),
                "open": (0.4, {g: el.OPEN}, "turns freely by hand; its winding reads OL"),
            },
        )

    def ratings(self) -> list[Rating]:
        # In watts, which hold for direct and alternating volts alike: a stuck one passes them.
        return limits(self.ref, {"watts": self.MOST**2 * self.volts * self.amps})

    def dead(self) -> list[DeadLook]:
        words = f"winding: less than the {show(self.volts / self.amps, 'ohm', 2)} it has turning"
        return [DeadLook("a", "b", "ohms", 0.0, 1.5 * self.volts / self.amps, f"{words}; {MEMORY}")]

    def label(self) -> str:
        return f"{show(self.volts, 'V', 2)} fan"
