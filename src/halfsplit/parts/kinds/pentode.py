"""Pentodes and beam tetrodes, also strapped as triodes."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field, model_validator

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import REGISTRY, Mode, Net, gone
from halfsplit.parts.valve import GRID, LEAK, Valve


@REGISTRY.add
class PentodePart(Valve):
    """Anode a, grid g, screen s, cathode k; the suppressor counts as joined to the cathode.

    `strapped` for one used as a triode, its screen joined to its anode: then it has no `s`, and
    follows the triode law with the same constants, as Koren fitted them.
    """

    KIND: ClassVar[str] = "pentode"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "g", "s", "k", "h1", "h2")

    kind: Literal["pentode"]
    strapped: bool = Field(default=False, description="screen joined to the anode, as a triode")
    mu: float = Field(gt=1, lt=1000, description="amplification factor, screen to grid")
    ex: float = Field(default=1.35, ge=1, le=2, description="exponent of the current law")
    kg1: float = Field(gt=0, description="anode current constant")
    kg2: float = Field(gt=0, description="screen current constant")
    kp: float = Field(gt=0, description="knee constant")
    kvb: float = Field(gt=0, description="knee constant")
    a: Net
    g: Net
    s: Net | None = None
    k: Net

    @model_validator(mode="after")
    def _screen_somewhere(self) -> PentodePart:
        if self.strapped and self.s not in (None, self.a):
            raise ValueError("strapped means the screen is on the anode: leave s out")
        if not self.strapped and self.s is None:
            raise ValueError("give the screen's net as s, or say strapped: true")
        return self

    def terminals(self) -> dict[str, str]:
        found = super().terminals()
        return {t: n for t, n in found.items() if not (self.strapped and t == "s")}

    def elements(self) -> list[el.Element]:
        values = {"mu": self.mu, "ex": self.ex, "kg1": self.kg1, "kp": self.kp, "kvb": self.kvb}
        values |= {"kgrid": GRID / self.kg1, "emission": self.emission, "gak": LEAK}
        if self.strapped or self.s is None:
            valve: el.Element = el.Triode(self.ref, (self.a, self.g, self.k), values)
        else:
            nets = (self.a, self.g, self.s, self.k)
            valve = el.Pentode(self.ref, nets, values | {"kg2": self.kg2})
        return [valve, *self.heater()]

    def modes(self) -> list[Mode]:
        # 5 Mohm: a power valve's grid current is larger than a small triode's; common practice.
        return self.wear(
            {(self.ref, "gag"): 1 / 5e6}, {(self.ref, "ggk"): el.SHORT}, "grid to cathode"
        )

    def lift(self, lead: str) -> Overrides | None:
        if lead == "s":  # next to no current reaches the anode without a screen
            return gone(self.elements()[:1])
        return super().lift(lead)

    def label(self) -> str:
        return f"{self.type or 'pentode'}{' strapped as triode' if self.strapped else ''}"
