"""What a wiring plan is made of: wires, ties, margins, checks, and one direction's judgement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from halfsplit.boards.connector import Wired
from halfsplit.quantity.volts import volts

Verdict = Literal["join", "marginal", "converter", "refuse"]


def by(part: str) -> str:
    """The part between, as lists write it after a pin."""
    return f" by {part}" if part else ""


@dataclass(frozen=True)
class Wire:
    """A conductor from one pin to another, and why."""

    a: Wired
    b: Wired
    why: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"from": self.a.label, "to": self.b.label, "why": self.why}


@dataclass(frozen=True)
class Tie:
    """A pin held by another of the same end; `by` is the part between, or "" for a wire."""

    pin: Wired
    to: Wired
    by: str
    why: str

    @property
    def far(self) -> str:
        """Where it goes, with the part between, as lists write it."""
        return self.to.label + by(self.by)

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"pin": self.pin.label, "to": self.to.label, "by": self.by, "why": self.why}


@dataclass(frozen=True)
class Margin:
    """What is to spare at one place, in `unit` (V or A); negative is not met."""

    at: str
    spare: float
    unit: Literal["V", "A"]
    value: float | None = None

    @property
    def shown(self) -> str:
        """What is to spare, as lists write it."""
        return volts(self.spare) if self.unit == "V" else f"{self.spare * 1e3:.1f} mA"

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"at": self.at, "spare": self.spare, "unit": self.unit, "value": self.value}


@dataclass(frozen=True)
class Link:
    """One direction judged: sender and receiver pins, verdict, reason, and how to wire it."""

    verdict: Verdict
    sender: tuple[Wired, ...]
    receiver: tuple[Wired, ...]
    why: str
    wires: tuple[Wire, ...] = ()
    ties: tuple[Tie, ...] = ()
    margins: tuple[Margin, ...] = ()
    source: Wired | None = None  # a separate source pin the loop uses up
    harm: bool = False  # the output may destroy the input

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "verdict": self.verdict,
            "from": [p.label for p in self.sender],
            "to": [p.label for p in self.receiver],
            "why": self.why,
            "harm": self.harm,
            "margins": [m.as_dict() for m in self.margins],
        }


@dataclass(frozen=True)
class Check:
    """A measurement before the cable is joined: where, between which volts, else what it means."""

    at: str
    to: str
    low: float
    high: float
    means: str
    otherwise: str
    caution: str = ""  # what can hurt whoever measures it

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "at": self.at,
            "to": self.to,
            "low": self.low,
            "high": self.high,
            "means": self.means,
            "otherwise": self.otherwise,
            "caution": self.caution,
        }
