"""A functional block: something that makes one voltage while what it needs is there.

It stands in for parts nobody typed yet. It is lowered to an ideal amplifier between the net that
feeds it and common, so that it is solved together with whatever parts there are. It says nothing of
resistances, heat or what would burn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar, Literal

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import PRACTICE, Mode, Part, Rate, Wander, shares

# How a block that fails does: how often, beside each other. Common practice, no published source.
FAILS = {"dead": 5.0, "low": 2.0, "high": 1.0, "noisy": 1.0}
LOW, HIGH = 0.6, 1.3  # share of its volts a block that is low or high makes, give or take; practice
ENOUGH = 0.5  # share of its volts at which a need is met; common practice, no published source
ROOM = 1.6  # volts a block with a source of its own could make at most, as a share of its volts
GRID = 2e-7  # S of the network that sets it: 5 Mohm, which loads nobody
BLEED = 1e-4  # S across what it makes, so that a dead one reads nought and does not float
OFF = 1e-12


class BlockPart(Part):
    """`makes` is held at `volts` while every need is met; with `follows`, in proportion to it."""

    KIND: ClassVar[str] = "block"
    TERMINALS: ClassVar[tuple[str, ...]] = ()
    RATE: ClassVar[Rate] = Rate(1.0, f"a block of some twenty parts; {PRACTICE}")

    kind: Literal["block"] = "block"
    makes: str
    com: str
    volts: float = Field(description="what it makes [V]")
    sigma: float = Field(gt=0, description="one standard deviation of a good one [V]")
    noise: float = Field(gt=0, description="peak to peak of a noisy one [V]")
    limit: float = Field(default=10.0, gt=0, description="most current it gives [A]")
    needs: Mapping[str, float] = Field(default_factory=dict, description="net -> volts it has")
    follows: str = ""
    fails: Mapping[str, float] = Field(default_factory=lambda: FAILS)

    def terminals(self) -> dict[str, str]:
        nets = dict.fromkeys([*self.needs, *([self.follows] if self.follows else [])])
        return {"makes": self.makes, **{f"needs {n}": n for n in nets}, "com": self.com}

    def power(self) -> str:
        """The need its output is taken from; "" when none has the volts for it."""
        fit = [
            n
            for n, v in self.needs.items()
            if n != self.follows and v * self.volts > 0 and abs(v) >= abs(self.volts)
        ]
        return fit[0] if fit else ""

    def _turns(self) -> bool:
        """Whether it makes the other sign of what it follows."""
        return bool(self.follows) and self.needs[self.follows] * self.volts < 0

    def _levels(self) -> tuple[float, float]:
        """Conductance to common [S] at the input and at the feedback that set a good one; both
        within reach of what they divide, so that a share more or less means what it says."""
        share = abs(self.volts / self.needs[self.follows]) if self.follows else 1.0
        if share >= 1.0:
            return GRID, GRID * (2.0 * share - 1.0)
        return GRID * (2.0 / share - 1.0), GRID

    def elements(self) -> list[el.Element]:
        ref, com = self.ref, el.COMMON
        supply, plus, minus = (f"{ref}#{n}" for n in ("supply", "plus", "minus"))
        up = self.volts > 0
        ends = (supply, com) if up else (com, supply)
        ideal = {"gain": 1e4, "gout": 50.0, "high": 0.1 * up, "low": 0.1 * (not up)}
        ideal |= {"limit": self.limit, "gin": 0.0, "gq": 1e-9}
        found: list[el.Element] = [el.Amplifier(ref, (plus, minus, self.makes, *ends), ideal)]
        found += self._fed(supply)
        low, high = self._levels()
        start = self.follows or f"{ref}#set"
        if not self.follows:
            source = {"dc": self.volts, "g": 1.0}
            found.append(el.Source(f"{ref}:set", (start, com), source))
        if self._turns():
            share = abs(self.volts / self.needs[self.follows])
            found += [
                el.Resistor(f"{ref}:in", (start, minus), {"g": GRID * share}),
                el.Resistor(f"{ref}:low", (plus, com), {"g": GRID}),
                el.Resistor(f"{ref}:high", (minus, com), {"g": OFF}),
            ]
        else:
            found += [
                el.Resistor(f"{ref}:in", (start, plus), {"g": GRID}),
                el.Resistor(f"{ref}:low", (plus, com), {"g": low}),
                el.Resistor(f"{ref}:high", (minus, com), {"g": high}),
            ]
        return [
            *found,
            el.Resistor(f"{ref}:back", (self.makes, minus), {"g": GRID}),
            el.Resistor(f"{ref}:bleed", (self.makes, com), {"g": BLEED}),
            el.Source(f"{ref}:noise", (self.makes, com), {"g": OFF}),
        ]

    def _fed(self, supply: str) -> list[el.Element]:
        """What its output is taken from, through one contact for every other need."""
        ref, com, power = self.ref, el.COMMON, self.power()
        found: list[el.Element] = []
        at = power or f"{ref}#own"
        if not power:
            source = {"dc": ROOM * self.volts, "g": 1e3}
            found.append(el.Source(f"{ref}:source", (at, com), source))
        gates = [n for n in self.needs if n != power]
        for k, net in enumerate(gates, 1):
            after = supply if k == len(gates) else f"{ref}#gate{k}"
            met = ENOUGH * abs(self.needs[net])
            values = {"closed": 1e3, "pull": met, "drop": met}
            found.append(el.Contact(f"{ref}:gate{k}", (at, after, net, com), values))
            at = after
        if not gates:
            found.append(el.Resistor(f"{ref}:link", (at, supply), {"g": 1e3}))
        return found

    def off(self) -> Overrides:
        """What changes while nothing feeds the machine."""
        return {} if self.power() else {(f"{self.ref}:source", "dc"): 0.0}

    def modes(self) -> list[Mode]:
        low, high = self._levels()
        ref = self.ref
        if self._turns():
            share = abs(self.volts / self.needs[self.follows])
            sinks = {(f"{ref}:back", "g"): GRID / LOW}
            rises = {(f"{ref}:in", "g"): GRID * share * HIGH}
        else:
            sinks = {(f"{ref}:low", "g"): (GRID + low) / LOW - GRID}
            rises = {(f"{ref}:high", "g"): (GRID + high) * HIGH - GRID}
        made: dict[str, tuple[Overrides, str]] = {
            "dead": ({(ref, "able"): 0.0}, "makes nothing with all it needs there"),
            "low": (sinks, "makes too little with all it needs there"),
            "high": (rises, "makes too much"),
            "noisy": (
                {(f"{ref}:noise", "ac"): self.noise / 2.0},
                "right on a meter, not on a scope",
            ),
        }
        weights = {k: v for k, v in self.fails.items() if v > 0}
        total = sum(weights.values())
        return shares(PRACTICE, {k: (v / total, *made[k]) for k, v in weights.items()})

    def wanders(self) -> list[Wander]:
        share = abs(self.sigma / self.volts)
        if self._turns():
            up = {(f"{self.ref}:back", "g"): GRID / (1.0 + share)}
        else:
            high = self._levels()[1]
            more = high / ((GRID + high) * (1.0 + share) / GRID - 1.0)
            up = {(f"{self.ref}:back", "g"): more}
        return [Wander(f"{self.ref} level", up)]

    def label(self) -> str:
        return "block"


def makers(parts: Iterable[Part]) -> dict[str, BlockPart]:
    """Net -> the block that makes it, of blocks not opened into parts."""
    return {p.makes: p for p in parts if isinstance(p, BlockPart)}
