"""A cable through converters: which of them, and the wires at both ends and between.

A direction that a wire alone serves keeps its wire. For the others the shortest row of converters
is sought in which every step is judged like a wire between two connectors.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from halfsplit.boards.connector import Wired
from halfsplit.boards.converters import Channel, Converter, Joint, ports
from halfsplit.boards.links import Port, Side, link
from halfsplit.boards.loops import is_active
from halfsplit.boards.plan import Check, Link, Tie, Wire
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# More steps than this and something else is wrong with the choice of ends.
_STEPS = 3
# A divider from +5 V at the far end is no part of a converter: it counts as more than one step.
_EXTRA = 1.5
_GOOD = ("join", "marginal")


@dataclass(frozen=True)
class Supply:
    """What a converter must be fed with at one of its pins."""

    pin: Wired
    volts: float
    amps: float | None

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"pin": self.pin.label, "volts": self.volts, "amps": self.amps}


@dataclass(frozen=True)
class Inside:
    """Two pins of converters joined, by `by` or a wire."""

    a: Wired
    b: Wired
    by: str
    why: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"from": self.a.label, "to": self.b.label, "by": self.by, "why": self.why}


@dataclass
class Through:
    """Everything between two connectors that a cable alone does not join.

    `parts`: the converters by the name they have in the wire list. `lacking`: why there is no such
    way; nothing is wired then.
    """

    verdict: str = "join"
    parts: dict[str, Converter] = field(default_factory=dict)
    links: list[Link] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    ties: list[Tie] = field(default_factory=list)
    inside: list[Inside] = field(default_factory=list)
    supplies: list[Supply] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    lacking: list[str] = field(default_factory=list)

    @property
    def rate(self) -> float | None:
        """Most Bd through it, None when nothing limits it."""
        return min((p.rate for p in self.parts.values() if p.rate), default=None)

    def at(self, end: str) -> list[Wire]:
        """Wires between one plug and the converters."""
        return [w for w in self.wires if (w.a.end == end) != (w.b.end == end)
                and {w.a.end, w.b.end} & set(self.parts)]  # fmt: skip

    def between(self) -> list[Wire]:
        """Wires from converter to converter."""
        return [w for w in self.wires if {w.a.end, w.b.end} <= set(self.parts)]

    def straight(self) -> list[Wire]:
        """Wires that no converter interrupts."""
        return [w for w in self.wires if not {w.a.end, w.b.end} & set(self.parts)]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "verdict": self.verdict,
            "parts": {n: {"says": p.says, "note": p.note, "source": p.source}
                      for n, p in self.parts.items()},
            "rate": self.rate,
            "wires": [w.as_dict() for w in self.wires],
            "ties": [t.as_dict() for t in self.ties],
            "inside": [j.as_dict() for j in self.inside],
            "supplies": [s.as_dict() for s in self.supplies],
            "links": [k.as_dict() for k in self.links],
            "checks": [c.as_dict() for c in self.checks],
            "reasons": self.reasons,
            "lacking": self.lacking,
        }  # fmt: skip


@dataclass(frozen=True)
class _Step:
    """One converter of a row, by entry, and the channel that stands for its channels."""

    entry: str
    channel: Channel


@dataclass(frozen=True)
class _Row:
    """A way found: first sender, converters, last receiver, and what it costs."""

    sender: Port
    steps: tuple[_Step, ...]
    receiver: Port
    cost: float


class Box:
    """Converters being taken, their channels given out one by one."""

    def __init__(self, pool: Mapping[str, Converter], spare: Sequence[Wired]) -> None:
        self.pool, self.spare = pool, list(spare)
        self.found = Through()
        self._free: dict[str, list[Channel]] = {}
        self._entry: dict[str, str] = {}
        self._pins: dict[str, dict[str, Wired]] = {}

    def join(self, sender: Side, receiver: Side, what: str = "") -> str:
        """Carry the line from one end to the other; "" or why it cannot be.

        `what` is put before the reason of every wire.
        """
        rows, refused = self._rows(sender, receiver)
        if not rows:
            return refused or f"nothing known here carries {sender.name} to {receiver.name}"
        row = min(rows, key=lambda r: r.cost)
        port, source_side = row.sender, sender
        for step in row.steps:
            name, channel = self._take(step.entry)
            into, out = ports(self.pool[step.entry], name, channel)
            chip = Side(name, self._pins[name])
            self._wire(port, into, source_side, chip, what)
            port, source_side = out, chip
        self._wire(port, row.receiver, source_side, receiver, what)
        return ""

    def _rows(self, sender: Side, receiver: Side) -> tuple[list[_Row], str]:
        """Every way of up to three converters; why an end refuses, if one does."""
        frontier: list[tuple[Port, Port, Side, tuple[_Step, ...], float]] = [
            (s, s, sender, (), 0.0) for s in sender.senders
        ]
        rows: list[_Row] = []
        refused = ""
        for _ in range(_STEPS + 1):
            grown = []
            for first, port, at, steps, cost in frontier:
                for r in receiver.receivers:
                    made = self._judge(port, r, at, receiver)
                    refused = refused or (made.why if made.verdict == "refuse" else "")
                    if made.verdict in _GOOD:
                        rows.append(_Row(first, steps, r, cost + _cost(made)))
                for name, entry in self.pool.items():
                    if any(s.entry == name for s in steps):
                        continue
                    for channel in entry.channels[:1]:
                        into, out = ports(entry, name, channel)
                        chip = Side(name, entry.wired(name))
                        made = self._judge(port, into, at, chip)
                        refused = refused or (made.why if made.verdict == "refuse" else "")
                        if made.verdict in _GOOD:
                            step = _Step(name, channel)
                            more = cost + 1 + _cost(made)
                            grown.append((first, out, chip, (*steps, step), more))
            frontier = grown
        return rows, refused

    def _judge(self, s: Port, r: Port, a: Side, b: Side) -> Link:
        """One step: as between two connectors, a source of its own for a loop that has none."""
        made = link(s, r, a, b, self.spare)
        known = all(is_active(p.pins) is False for p in (s, r))
        ours = a.name in self._pins or b.name in self._pins or a.name in self.pool or (
            b.name in self.pool)  # fmt: skip
        if s.kind == r.kind == "loop" and made.verdict == "refuse" and known and ours:
            for name, entry in self.pool.items():
                if any(p.role == "loop-source" for p in entry.pins.values()):
                    pins = entry.wired(name)
                    source = Side(name, {**a.pins, **{f"{name} {k}": p for k, p in pins.items()}})
                    spare = [p for p in pins.values() if p.role == "loop-source"]
                    return link(s, r, source, b, spare)
        return made

    def _wire(self, s: Port, r: Port, a: Side, b: Side, what: str) -> None:
        made = self._judge(s, r, a, b)
        if made.source is not None and made.source.end in self.pool:
            name = self._fresh(made.source.end)  # its own source for every loop
            pins = self._pins[name]
            source = Side(name, {**a.pins, **{f"{name} {k}": p for k, p in pins.items()}})
            made = link(s, r, source, b, [p for p in pins.values() if p.role == "loop-source"])
        self.spare = [p for p in self.spare if p is not made.source]
        self.found.links.append(made)
        before = f"{what}; " if what else ""
        self.found.wires += [replace(w, why=before + w.why) for w in made.wires]
        self.found.ties += made.ties

    def _take(self, entry: str) -> tuple[str, Channel]:
        """A free channel of a converter of this sort, one more of it when none is free."""
        for name, free in self._free.items():
            if self._entry[name] == entry and free:
                channel = free.pop(0)
                break
        else:
            name = self._fresh(entry)
            channel = self._free[name].pop(0)
        self._joints(name, channel.joints)
        return name, channel

    def _fresh(self, entry: str) -> str:
        count = sum(e == entry for e in self._entry.values())
        name = entry if not count else f"{entry} no. {count + 1}"
        self._entry[name], self.found.parts[name] = entry, self.pool[entry]
        self._free[name] = list(self.pool[entry].channels)
        self._pins[name] = self.pool[entry].wired(name)
        self._joints(name, self.pool[entry].inside)
        return name

    def _joints(self, name: str, joints: Sequence[Joint]) -> None:
        pins = self._pins[name]
        self.found.inside += [Inside(pins[j.start], pins[j.to], j.by, j.why) for j in joints]

    def finish(self, a: Side, b: Side) -> None:
        """Commons, supplies, and what to measure."""
        found = self.found
        chips = [next(p for p in pins.values() if p.role == "common")
                 for pins in self._pins.values()
                 if any(p.role == "common" for p in pins.values())]  # fmt: skip
        for one in chips[1:]:
            why = "the converters are fed from one supply and measure against one common"
            found.inside.append(Inside(chips[0], one, "", why))
        for end in (a, b):
            self._common(end, chips)
        found.reasons += [k.why for k in found.links if k.verdict == "marginal"]
        found.reasons += [f"{n}: {p.note}" for n, p in found.parts.items() if p.note]
        for name, pins in self._pins.items():
            entry = found.parts[name]
            found.supplies += [Supply(p, float(p.data.volts or 0.0), entry.amps.get(k))
                               for k, p in pins.items() if p.role == "supply"]  # fmt: skip
        for end in (a, b):
            found.reasons += [
                f"{p.label} gives {volts(p.data.volts)}: use it if it can spare the current"
                for p in end.of("supply")
                if p.data.volts is not None
                and any(abs(s.volts - p.data.volts) < 0.05 * abs(s.volts) for s in found.supplies)
            ]
        if found.supplies:
            found.reasons.append("0.1 µF from every supply pin to common, close to the pin")
        if found.rate:
            found.reasons.append(f"at most {found.rate:g} Bd through it")
        found.verdict = "marginal" if any(k.verdict == "marginal" for k in found.links) else "join"
        found.checks = self._checks(chips)

    def _common(self, end: Side, chips: Sequence[Wired]) -> None:
        """Join the common of an end that exchanges voltages with a converter or the other end."""
        used = [k for k in self.found.links if end.name in (k.sender[0].end, k.receiver[0].end)]
        if all(k.sender[0].role.startswith("loop") for k in used):
            return
        own = end.of("common")
        if not own:
            self.found.lacking.append(f"{end.name} has no signal common on this connector")
        elif chips:
            why = "every level is measured against it; without it a line floats"
            self.found.wires.append(Wire(own[0], chips[0], why))

    def _checks(self, chips: Sequence[Wired]) -> list[Check]:
        """The converter alone, then with a sending end joined and idle."""
        to = chips[0].label if chips else "its common"
        found = []
        for supply in self.found.supplies:
            low, high = sorted((0.95 * supply.volts, 1.05 * supply.volts))
            text = "its supply, neither machine joined"
            wrong = "do not join: what it is fed with is wrong"
            found.append(Check(supply.pin.label, to, low, high, text, wrong))
        for made in self.found.links:
            pin = made.sender[0]
            if pin.end not in self.found.parts or pin.role.startswith("loop"):
                continue
            if len(made.sender) == 2:
                minus, low, high = made.sender[1].label, *pin.mark
                text = "pair at mark, the sending machine joined and idle, the other not"
                found.append(Check(pin.label, minus, low, high, text, _WRONG))
                continue
            low, high = pin.mark
            text = "mark, the sending machine joined and idle, the other not"
            found.append(Check(pin.label, to, low, high, text, _WRONG))
        return found


_WRONG = "do not join the other: the sender is not idle, or a wire before this pin is wrong"


def _cost(made: Link) -> float:
    extra = _EXTRA if any("divider" in t.by for t in made.ties) else 0.0
    # Of two that do as well, the receiver made for that sender.
    same = made.sender[0].standard == made.receiver[0].standard
    return extra + (0.5 if made.verdict == "marginal" else 0.0) - (0.1 if same else 0.0)


def amps(supply: Supply) -> str:
    """Current as the list shows it."""
    return "" if supply.amps is None else f"{show(supply.amps, 'A', 2)} at most"
