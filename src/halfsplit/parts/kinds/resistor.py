"""Fixed resistors."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    RATES_217,
    REGISTRY,
    DeadLook,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Rating,
    Spread,
    Volts,
    Wander,
    Watts,
    shares,
    sigma,
)
from halfsplit.parts.misfit import value_misfits
from halfsplit.quantity import Tolerance, show

Tech = Literal["composition", "film", "wirewound"]

# (open, drifted, short): MIL-HDBK-338B rows "resistor, composition / film / wirewound".
_SHARES: dict[str, tuple[float, float, float]] = {
    "composition": (0.31, 0.66, 0.03),
    "film": (0.59, 0.36, 0.05),
    "wirewound": (0.65, 0.26, 0.09),
}
RATES = {"composition": 0.0022, "film": 0.0027, "wirewound": 0.031}


@REGISTRY.add
class ResistorPart(Part):
    """A fixed resistor."""

    KIND: ClassVar[str] = "resistor"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(0.0027, RATES_217)

    kind: Literal["resistor"]
    value: Ohms = Field(gt=0)
    tolerance: Spread = Tolerance(0.05, 0.05, True)
    power: Watts | None = Field(default=None, gt=0)
    volts: Volts | None = Field(default=None, gt=0, description="largest working voltage")
    tech: Tech = "film"
    a: Net
    b: Net

    def elements(self) -> list[el.Element]:
        return [el.Resistor(self.ref, (self.a, self.b), {"g": 1.0 / self.value})]

    def modes(self) -> list[Mode]:
        opened, drifted, short = _SHARES[self.tech]
        g = (self.ref, "g")
        marked = show(self.value, "ohm")
        return shares(
            MODES_338,
            {
                # A broken body still leaks, but a million times less than it did conduct: in valve
                # circuits a gigohm across it would carry the stage. Common practice, unpublished.
                "open": (
                    opened,
                    {g: min(el.OPEN, 1e-6 / self.value)},
                    "reads OL; often a burnt band or a cracked body",
                ),
                # A drifted part is far outside its band, else nobody would call it failed; old
                # carbon goes up, so two thirds of the share does. Common practice, unpublished.
                "drifted high": (
                    drifted * 2 / 3,
                    {g: 1.0 / (2.0 * self.value)},
                    f"reads well above {marked}",
                ),
                "drifted low": (
                    drifted / 3,
                    {g: 1.0 / (0.5 * self.value)},
                    f"reads well below {marked}",
                ),
                "short": (short, {g: max(el.SHORT, 10.0 / self.value)}, "reads near 0 ohm"),
            },
        )

    def misfits(self) -> list[Mode]:
        return value_misfits(self)

    def wanders(self) -> list[Wander]:
        high = self.value + sigma(self.tolerance, self.value)
        return [Wander(f"{self.ref} value", {(self.ref, "g"): 1.0 / high})]

    def ratings(self) -> list[Rating]:
        limits = []
        if self.power is not None:
            limits.append(Rating("watts", self.power, self.ref, "the part's entry"))
        if self.volts is not None:
            limits.append(Rating("volts", self.volts, self.ref, "the part's entry"))
        return limits

    def dead(self) -> list[DeadLook]:
        low, high = self.tolerance.bounds(self.value)
        return [DeadLook("a", "b", "ohms", low, high, f"within its band; {PRACTICE}")]

    def label(self) -> str:
        watts = f" {show(self.power, 'W', 2)}" if self.power else ""
        return f"{show(self.value, 'ohm', 3)}{watts} resistor"

    def rate(self) -> Rate:
        return Rate(RATES[self.tech], RATES_217)
