"""What heated valves share: a heater with a warm-up time, wear, leaks to the heater."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Self

from pydantic import Field, model_validator

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import (
    MEMORY,
    PRACTICE,
    Amps,
    DeadLook,
    Fraction,
    Mode,
    Net,
    Part,
    Rate,
    Rating,
    Seconds,
    Volts,
    Wander,
    Watts,
    gone,
    limits,
    shares,
)

# MIL-HDBK-338B, electron tube row: parameter .53, open .25, unstable .15, short .07.
SHARES_SOURCE = f"MIL-HDBK-338B, electron tube row (split of unstable and short ours); {MEMORY}"
TUBE_RATE = f"MIL-HDBK-217F Notice 2, receiving tube base rates; {MEMORY}"
WORN = 0.4  # emission left in a valve called worn out; common practice, no published source
LEAK = 1e-9  # S, anode or heater to cathode over base and socket of a good valve; practice
HEATER_LEAK = 1.0 / 50e3  # S, of a bad one; common practice, no published source
# Grid current at +1 V for each unit of 1/kg1. Common practice, no published source: it puts about
# 0.3 mA at +1 V on a valve of mu 100 and half a milliampere on a power valve.
GRID = 0.32
COLD_HEATER = 6.0  # a tungsten heater's hot resistance over its cold; common practice, unpublished


def warmth(seconds: float, full: float) -> float:
    """Emission (0 to 1) of a cathode `seconds` after switch-on that needs `full` [s] to be hot.

    Nothing for the first two fifths, then a smooth rise: emission grows far faster than
    temperature. Common practice, no published source.
    """
    u = min(max((seconds / full - 0.4) / 0.6, 0.0), 1.0)
    return u * u * (3.0 - 2.0 * u)


class Valve(Part):
    """Fields and behaviour common to heated valves.

    The heater may be left out of the drawing; with `h1` and `h2` given it is a resistor between
    them and leaks to the cathode.
    """

    RATE: ClassVar[Rate] = Rate(5.0, TUBE_RATE)
    EMITTERS: ClassVar[tuple[str, ...]] = ("",)  # suffixes of the elements the cathode feeds

    emission: Fraction = Field(default=1.0, gt=0, le=1.5, description="of a new one")
    warmup: Seconds = Field(default=11.0, gt=0, description="switch-on to full emission")
    heater_volts: Volts = Field(default=6.3, gt=0)
    heater_amps: Amps = Field(default=0.3, gt=0)
    heater_cathode: Volts | None = Field(default=None, gt=0, description="most, heater to cathode")
    volts: Volts | None = Field(default=None, gt=0, description="largest anode voltage")
    power: Watts | None = Field(default=None, gt=0, description="largest anode dissipation")
    cathode_amps: Amps | None = Field(default=None, gt=0, description="largest cathode current")
    package: str | None = None
    pinout: str | None = None
    h1: Net | None = None
    h2: Net | None = None

    @model_validator(mode="after")
    def _whole_heater(self) -> Self:
        if (self.h1 is None) != (self.h2 is None):
            raise ValueError("give both ends of the heater, h1 and h2, or neither")
        return self

    def terminals(self) -> dict[str, str]:
        found = {t: self.__dict__[t] for t in self.TERMINALS}
        return {t: n for t, n in found.items() if n is not None}

    def heated(self) -> list[str]:
        """Names of the elements whose `heat` the heater sets."""
        return [f"{self.ref}{end}" for end in self.EMITTERS]

    def cathode(self) -> str:
        """Net of the cathode."""
        return str(self.__dict__["k"])

    def heater(self) -> list[el.Element]:
        """The heater, when it is drawn, and its leak to the cathode."""
        if not (self.h1 and self.h2):
            return []
        hot = {"g": self.heater_amps / self.heater_volts}
        return [
            el.Resistor(f"{self.ref}:heater", (self.h1, self.h2), hot),
            el.Resistor(f"{self.ref}:leak", (self.h1, self.cathode()), {"g": LEAK}),
        ]

    def wear(self, grid: Overrides, short: Overrides, touch: str) -> list[Mode]:
        """The usual ways a valve fails; `grid` and `short` are what this kind leaks and shorts."""
        dead: Overrides = {(e, "emission"): 0.0 for e in self.heated()}
        worn = {(e, "emission"): WORN * self.emission for e in self.heated()}
        leak = 0.07 if self.heater() else 0.0
        if self.heater():
            dead |= {(f"{self.ref}:heater", "g"): el.OPEN}
        found: dict[str, tuple[float, Overrides, str]] = {
            "worn": (0.53, worn, "tests weak on a valve tester; slow to warm"),
            "heater open": (0.25, dead, "no glow; heater pins read OL"),
            "leaky": (0.15 - leak, grid, f"leak {touch} once hot; grid current in a tester"),
            "short": (0.07, short, f"{touch} reads near 0 ohm, perhaps only when tapped"),
        }
        if leak:
            stuck = {(f"{self.ref}:leak", "g"): HEATER_LEAK}
            found["heater leak"] = (leak, stuck, "heater to cathode leaks when hot; hum")
        return shares(SHARES_SOURCE, found)

    def wanders(self) -> list[Wander]:
        # New valves lie within about 30 % of the sheet's current; one sigma 15 %. Common practice,
        # no published source.
        better = {(e, "emission"): 1.15 * self.emission for e in self.heated()}
        return [Wander(f"{self.ref} emission", better)]

    def ratings(self) -> list[Rating]:
        given: Mapping[str, float | None] = {
            "volts": self.volts,
            "watts": self.power,
            "amps": self.cathode_amps,
        }
        return limits(self.ref, given)  # type: ignore[arg-type]

    def lift(self, lead: str) -> Overrides | None:
        """A valve with its anode, screen or cathode off passes nothing; other leads not modelled.

        A heater lead off leaves it cold.
        """
        if lead in ("h1", "h2"):
            cold: Overrides = {(e, "emission"): 0.0 for e in self.heated()}
            return cold | gone(self.heater())
        return gone(self.elements()) if lead in ("a", "k") else None

    def dead(self) -> list[DeadLook]:
        words = f"OL: no path in a cold valve; {PRACTICE}"
        first = next(t for t in self.TERMINALS if t in self.terminals())
        found = [DeadLook(first, "k", "ohms", 1e7, float("inf"), words)]
        if self.heater():
            cold = self.heater_volts / self.heater_amps / COLD_HEATER
            note = f"a cold heater is about a sixth of hot; {PRACTICE}"
            found.append(DeadLook("h1", "h2", "ohms", 0.6 * cold, 1.6 * cold, note))
        return found
