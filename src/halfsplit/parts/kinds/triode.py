"""Triodes."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import REGISTRY, Mode, Net
from halfsplit.parts.valve import GRID, LEAK, Valve


@REGISTRY.add
class TriodePart(Valve):
    """One triode (half of a twin is an entry of its own): anode a, grid g, cathode k.

    `mu` to `kvb` are Koren's constants; a catalogue type brings them.
    """

    KIND: ClassVar[str] = "triode"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "g", "k", "h1", "h2")

    kind: Literal["triode"]
    mu: float = Field(gt=1, lt=1000, description="amplification factor")
    ex: float = Field(default=1.4, ge=1, le=2, description="exponent of the current law")
    kg1: float = Field(gt=0, description="current constant")
    kp: float = Field(gt=0, description="knee constant")
    kvb: float = Field(gt=0, description="knee constant, square volts")
    a: Net
    g: Net
    k: Net

    def elements(self) -> list[el.Element]:
        values = {"mu": self.mu, "ex": self.ex, "kg1": self.kg1, "kp": self.kp, "kvb": self.kvb}
        values |= {"kgrid": GRID / self.kg1, "emission": self.emission, "gak": LEAK}
        return [el.Triode(self.ref, (self.a, self.g, self.k), values), *self.heater()]

    def modes(self) -> list[Mode]:
        # 20 Mohm anode to grid: the grid current of a gassy or dirty valve; common practice.
        return self.wear(
            {(self.ref, "gag"): 1 / 20e6}, {(self.ref, "ggk"): el.SHORT}, "grid to cathode"
        )

    def label(self) -> str:
        return f"{self.type} triode" if self.type else f"triode, mu {self.mu:g}"
