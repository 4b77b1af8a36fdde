"""One direction of a line: can this sender drive that receiver, by which wires, with what to spare.

Voltages are judged at the worst corner both standards allow, or at what the file says was measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Literal

from halfsplit.boards.connector import Wired
from halfsplit.boards.loops import loop_link
from halfsplit.boards.plan import Link, Margin, Tie, Wire
from halfsplit.boards.standards import STANDARDS, TTL_MIDDLE
from halfsplit.quantity.volts import volts

Kind = Literal["single", "pair", "loop"]
_RANK = {"join": 0, "marginal": 1, "converter": 2, "refuse": 3}


@dataclass(frozen=True)
class Port:
    """Sender or receiver of one end: one pin, a pair, or a loop pair."""

    kind: Kind
    pins: tuple[Wired, ...]

    @property
    def plus(self) -> Wired:
        """The + pin of a pair, or the only pin."""
        return self.pins[0]

    @property
    def minus(self) -> Wired:
        """The - pin of a pair."""
        return self.pins[-1]


@dataclass
class Side:
    """Everything one end can send from and receive by."""

    name: str
    pins: Mapping[str, Wired]
    senders: list[Port] = field(default_factory=list)
    receivers: list[Port] = field(default_factory=list)

    def of(self, role: str) -> list[Wired]:
        """Pins of one role, in file order."""
        return [p for p in self.pins.values() if p.role == role]


def side(name: str, pins: Mapping[str, Wired]) -> Side:
    """Gather pins into senders and receivers; + and - pins pair up in file order."""
    found = Side(name, pins)
    for word, ports in (("send", found.senders), ("receive", found.receivers)):
        ports += [Port("single", (p,)) for p in found.of(word)]
        for kind, prefix in (("pair", ""), ("loop", "loop-")):
            plus, minus = found.of(f"{prefix}{word}+"), found.of(f"{prefix}{word}-")
            both = zip(plus, minus, strict=False)
            ports += [Port(kind, pair) for pair in both]  # type: ignore[arg-type]
    return found


def best_link(sender: Side, receiver: Side, spare: Sequence[Wired] = ()) -> Link | None:
    """The best way for one end to send to the other, or None when it cannot be asked.

    `spare` are current sources not yet used by another loop.
    """
    links = [
        link(s, r, sender, receiver, spare) for s, r in product(sender.senders, receiver.receivers)
    ]
    return min(links, key=lambda k: _RANK[k.verdict], default=None)


def link(s: Port, r: Port, sender: Side, receiver: Side, spare: Sequence[Wired] = ()) -> Link:
    """Judge one sender against one receiver."""
    if s.kind == "loop" and r.kind == "loop":
        return loop_link(s.pins, r.pins, [*sender.of("common"), *receiver.of("common")], spare)
    if "loop" in (s.kind, r.kind):
        what = "current" if s.kind == "loop" else "voltage"
        other = "voltage" if s.kind == "loop" else "current"
        why = f"{s.plus.label} signals by {what} and {r.plus.label} listens for {other}"
        return Link("converter", s.pins, r.pins, why + ": an opto-coupled loop converter between")
    if s.kind == "pair":
        return _from_pair(s, r)
    grounds = receiver.of("common")
    if r.kind == "pair":
        return pair_link(s.plus, r, grounds)
    return single_link(s.plus, r.plus)


def single_link(s: Wired, r: Wired) -> Link:
    """One wire from a single-ended output to a single-ended input, data or handshake."""
    rules = STANDARDS[str(r.standard)]
    negative = rules.mark_at < rules.space_at
    mark, space = s.mark, s.space
    spare_mark = rules.mark_at - mark[1] if negative else mark[0] - rules.mark_at
    spare_space = space[0] - rules.space_at if negative else rules.space_at - space[1]
    margins = (
        Margin(f"mark at {r.label}", spare_mark, "V"),
        Margin(f"space at {r.label}", spare_space, "V"),
    )
    harm = _harm(s, r)
    if harm:
        return Link("converter", (s,), (r,), harm, margins=margins, harm=True)
    if min(spare_mark, spare_space) < 0:
        worst = f"{s.standard} leaves {volts(min(mark))} to {volts(max(mark))} at mark"
        need = f"{r.standard} needs {'below' if negative else 'above'} {volts(rules.mark_at)}"
        if spare_mark >= 0:
            worst = f"{s.standard} leaves {volts(min(space))} to {volts(max(space))} at space"
            need = f"{r.standard} needs {'above' if negative else 'below'} {volts(rules.space_at)}"
        return Link("converter", (s,), (r,), f"{worst}, {need}: a level converter", margins=margins)
    spare = min(spare_mark, spare_space)
    why = f"output {s.label} to input {r.label}, {volts(spare)} to spare at worst"
    return Link("join", (s,), (r,), why, (Wire(s, r, why),), (), margins)


def _harm(s: Wired, r: Wired) -> str:
    """Why the output may hurt the input; "" when it cannot."""
    limit = r.withstands
    if s.data.mark or s.data.space:
        low, high = min(s.mark[0], s.space[0]), max(s.mark[1], s.space[1])
    else:
        rules = STANDARDS[str(s.standard)]
        # A TIA-232 or TIA-423 driver swings both ways; a logic or pair output only up from 0 V.
        low = -rules.peak if rules.mark_at < 0 else 0.0
        high = rules.peak
    if limit.low - 1e-9 <= low and high <= limit.high + 1e-9:
        return ""
    return (
        f"{s.label} may put {volts(low)} to {volts(high)} on {r.label}, which takes "
        f"{volts(limit.low)} to {volts(limit.high)}: a receiver that takes it, or a divider"
    )


def _from_pair(s: Port, r: Port) -> Link:
    if r.kind == "single":
        leg = STANDARDS["TIA-422"].peak
        why = (
            f"each side of the pair {s.plus.label}, {s.minus.label} stays between 0 and "
            f"{volts(leg)}, so it cannot promise {r.plus.label} a level of {r.plus.standard}: "
            "a pair receiver and a driver between"
        )
        return Link("converter", s.pins, r.pins, why)
    a, b = STANDARDS["TIA-422"], STANDARDS[str(r.plus.standard)]
    margins = (
        Margin(f"mark at {r.plus.label}", a.mark[0] - b.mark_at, "V"),
        Margin(f"space at {r.plus.label}", b.space_at - a.space[1], "V"),
    )
    why = "idle has + above - at both ends, so + goes to + and - to -"
    wires = (Wire(s.plus, r.plus, why), Wire(s.minus, r.minus, why))
    note = "above 200 kb/s or 10 m, 100 ohm across the pair at the receiver (common practice)"
    return Link("join", s.pins, r.pins, f"{why}; {note}", wires, (), margins)


def pair_link(s: Wired, r: Port, grounds: Sequence[Wired]) -> Link:
    """A single-ended output into a differential input: one side driven, the other held."""
    sense = STANDARDS["TIA-422"].mark_at
    low_mark = s.mark[1] <= 0
    at = 0.0 if low_mark else TTL_MIDDLE
    near_mark = (at - s.mark[1]) if low_mark else (s.mark[0] - at)
    near_space = (s.space[0] - at) if low_mark else (at - s.space[1])
    margins = (
        Margin(f"mark at {r.plus.label}", near_mark - sense, "V"),
        Margin(f"space at {r.plus.label}", near_space - sense, "V"),
    )
    driven, held = (r.minus, r.plus) if low_mark else (r.plus, r.minus)
    harm = _harm(s, driven)
    if harm:
        return Link("converter", (s,), r.pins, harm, margins=margins, harm=True)
    if not grounds:
        why = f"{held.label} must be held against a common, and its end has none"
        return Link("refuse", (s,), r.pins, why, margins=margins)
    state = "negative" if low_mark else "high"
    why = (
        f"idle is {state} at {s.label}, and the receiver reads mark while + is above -: "
        f"so the line goes to {driven.label}"
    )
    if low_mark:
        hold = f"left open, {held.label} floats and what arrives is garbage that changes"
        ties = (Tie(held, grounds[0], "", hold),)
    else:
        hold = (
            f"held at {volts(TTL_MIDDLE)} from +5 V by 2k7 over 1k, the middle between logic levels"
        )
        ties = (Tie(held, grounds[0], f"{volts(TTL_MIDDLE)} divider", hold),)
    return Link("join", (s,), r.pins, why, (Wire(s, driven, why),), ties, margins)
