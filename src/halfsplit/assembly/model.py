"""One machine as its file describes it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from halfsplit.assembly.printed import Numbering, Printed
from halfsplit.parts.base import (
    Amps,
    Celsius,
    Fraction,
    Hertz,
    Net,
    Ohms,
    Part,
    VoltRange,
    Volts,
    Watts,
)
from halfsplit.quantity import QuantityError, parse


class Entry(BaseModel):
    """Base of the sections of a file: nothing unknown is let through."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Mains(Entry):
    """The wall socket the machine is set for."""

    volts: Volts = Field(gt=0, description="rms")
    hertz: Hertz = Field(gt=0)


class Rail(Entry):
    """A supply rail, its limits and its protection."""

    net: Net
    limits: VoltRange
    ripple: Volts | None = Field(default=None, gt=0, description="largest peak-to-peak ripple")
    rated: Amps | None = Field(default=None, gt=0)
    over_voltage: VoltRange | None = None
    absolute: Volts | None = Field(
        default=None, description="what nothing on the rail may ever see, such as 7.0V for TTL"
    )
    note: str | None = None


class Point(Entry):
    """A place a probe reaches."""

    net: Net
    at: str = ""
    minutes: float | None = Field(default=None, gt=0, description="time to reach it")


class FeedNet(Entry):
    """A direct-current source laid on one net."""

    volts: Volts
    ohms: Ohms = Field(default=0.05, gt=0)
    limit: Amps | None = Field(default=None, gt=0)


class Feed(Entry):
    """One way of powering the machine: its own mains, or sources laid on nets."""

    mains: bool = False
    supplies: bool = Field(default=True, description="supply parts of the machine are on")
    level: Fraction | None = Field(
        default=None, gt=0, le=1.25, description="mains as a share of nominal, by a variac"
    )
    lamp: Watts | None = Field(
        default=None, gt=0, le=2000, description="lamp in series with the mains"
    )
    nets: dict[Net, FeedNet] = Field(default_factory=dict)
    note: str | None = None


class Lean(Entry):
    """A line added to, or struck from, the map of what leans on what."""

    of: str = Field(min_length=1, description="rail, point or net that leans")
    on: str = Field(min_length=1, description="rail, point or net it leans on")
    why: str = Field(min_length=1, description="reason, such as: tail resistor R18 returns there")
    edge: Literal["add", "remove"] = "add"


class Air(Entry):
    """Lowest and highest air temperature the machine may run in."""

    low: Celsius
    high: Celsius

    @model_validator(mode="after")
    def _ordered(self) -> Air:
        if self.low >= self.high:
            raise ValueError("the lowest temperature is not below the highest")
        return self


@dataclass(frozen=True)
class LoadValue:
    """A load on one net against common: `ohms`, or constant `amps`."""

    ohms: float | None = None
    amps: float | None = None

    def __str__(self) -> str:
        return f"{self.ohms:g} ohm" if self.ohms is not None else f"{self.amps:g} A"


def load_value(value: object) -> LoadValue:
    """Read a load such as ``2ohm`` or ``1.5A``. Raises QuantityError."""
    text = str(value)
    if re.search(r"[Aa](mps?|mperes?)?\s*$", text):
        amps = parse(text, "A")
        if amps < 0:
            raise QuantityError(text, "a load draws current, whichever way its rail points", "1.5A")
        return LoadValue(amps=amps)
    ohms = parse(text, "ohm")
    if ohms <= 0:
        raise QuantityError(text, "a load of no ohms is a short", "2ohm, or 1.5A")
    return LoadValue(ohms=ohms)


@dataclass(frozen=True)
class Assembly:
    """A checked assembly file.

    Attributes
    ----------
    parts: reference designator -> part, in file order.
    lines: dotted path -> (line, column) of its key in the file, counted from 1.
    leans: corrections to the map of what leans on what, by a name of their own.
    air: air temperatures the machine may run in, where its papers tell.
    layout: part -> parts that sit beside it, as entered; see :meth:`beside`.
    printed: volts the drawing gives, by a name of their own.
    numbering: how the parts of the drawing are numbered, where the file tells.
    drawn: parts of the drawing in whose places `parts` holds what was found there.
    groups: block that was opened, or use of a pattern -> its parts; one may be in several.
    """

    file: Path
    name: str
    machine: str
    common: str
    parts: Mapping[str, Part]
    rails: Mapping[str, Rail]
    points: Mapping[str, Point]
    feeds: Mapping[str, Feed]
    loads: Mapping[str, Mapping[str, LoadValue]]
    mains: Mains | None
    notes: str
    lines: Mapping[str, tuple[int, int]] = field(repr=False)
    leans: Mapping[str, Lean] = field(default_factory=dict)
    air: Air | None = None
    layout: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    printed: Mapping[str, Printed] = field(default_factory=dict)
    numbering: Numbering | None = None
    drawn: Mapping[str, Part] = field(default_factory=dict)
    groups: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def beside(self, ref: str) -> tuple[str, ...]:
        """Parts that sit beside one, whichever of the two the file names first."""
        found = [*self.layout.get(ref, ())]
        found += [other for other, listed in self.layout.items() if ref in listed]
        return tuple(dict.fromkeys(r for r in found if r != ref and r in self.parts))

    def default_feed(self) -> str:
        """The first feed listed."""
        return next(iter(self.feeds))

    def default_load(self) -> str:
        """The first load listed."""
        return next(iter(self.loads))

    def loadable(self) -> list[str]:
        """Nets a load may be laid on: those of rails, and those that loads of the file name."""
        nets = dict.fromkeys(n for load in self.loads.values() for n in load)
        nets |= dict.fromkeys(r.net for r in self.rails.values())
        return [n for n in nets if n != self.common]

    def find_net(self, name: str) -> str | None:
        """Net meant by a rail, point or net name, or None; the exact name wins over case."""
        table = {**{n: n for n in self.nets()}, self.common: self.common}
        table |= {k: p.net for k, p in self.points.items()} | {
            k: r.net for k, r in self.rails.items()
        }
        if name in table:
            return table[name]
        folded = {k.lower(): v for k, v in table.items()}
        return folded.get(name.lower())

    def nets(self) -> list[str]:
        """Every net the parts name, common left out, in file order."""
        return list(self._nets)

    @cached_property
    def _nets(self) -> tuple[str, ...]:
        seen = dict.fromkeys(n for p in self.parts.values() for n in p.terminals().values())
        seen.pop(self.common, None)
        return tuple(seen)

    def net_label(self, net: str) -> str:
        """Net with the rail or point names people know it by."""
        rails = [k for k, r in self.rails.items() if r.net == net]
        points = [f"{k} ({p.at})" if p.at else k for k, p in self.points.items() if p.net == net]
        return rails[0] if rails else f"{net} at {points[0]}" if points else net
