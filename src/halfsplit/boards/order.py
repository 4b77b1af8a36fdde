"""Boards one at a time: in which order, what each adds, and when to stop."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from halfsplit.boards.model import Rack
from halfsplit.quantity import Range, show

# A board that adds more than this over its budget, or less than this under it, is taken out again.
# Common practice, no published source.
OVER, UNDER = 0.30, 0.50
# What a clamp or a panel meter resolves: a smaller step than this is taken for none.
LEAST_STEP = 0.01  # A


@dataclass(frozen=True)
class RailStep:
    """One rail when one board goes in.

    Attributes
    ----------
    ohms: dead ohms from the edge of the board to 0 V, or None when the file gives none.
    amps: what the board should add [A], from standby to working. stop: outside this, take it out.
    before, after: expected total [A] without and with the board working.
    volts: limits at the slot [V]. rated: what the supply may give [A], or None.
    made: the board makes this rail for itself.
    """

    rail: str
    ohms: Range | None
    amps: Range
    stop: Range
    before: float
    after: float
    volts: Range
    rated: float | None
    made: bool = False

    @property
    def strained(self) -> bool:
        """Whether the expected total is more than the supply may give."""
        return self.rated is not None and self.after > self.rated


@dataclass(frozen=True)
class Step:
    """One board's turn: what to measure before, what to withhold, what to see after.

    `withheld`: rails that stay off until the interlock `locks` is proved.
    """

    board: str
    name: str
    worth: int
    slot: str
    why: str
    rails: tuple[RailStep, ...]
    withheld: tuple[str, ...]
    locks: tuple[str, ...]


def sequence(rack: Rack) -> list[Step]:
    """Boards in the order they go in.

    Of the boards whose predecessors are in, the one with least to lose goes first, and between
    equals the one that draws least: a supply that fails then fails on the cheapest board.
    """
    todo = list(rack.boards)
    totals: dict[str, float] = dict.fromkeys(rack.rails, 0.0)
    steps: list[Step] = []
    while todo:
        done = {s.board for s in steps}
        ready = [b for b in todo if set(rack.boards[b].after) <= done]
        if not ready:  # the loader refuses rings of waiting boards
            raise ValueError(f"boards wait for each other: {', '.join(todo)}")
        name = min(ready, key=lambda b: (rack.boards[b].worth, _watts(rack, b)))
        steps.append(_step(rack, name, totals, ready))
        todo.remove(name)
    return steps


def _watts(rack: Rack, board: str) -> float:
    return float(
        sum(u.amps * abs(rack.rails[r].volts) for r, u in rack.boards[board].rails.items())
    )


def _step(rack: Rack, name: str, totals: dict[str, float], ready: Sequence[str]) -> Step:
    board = rack.boards[name]
    rails = []
    for rail, use in board.rails.items():
        spec = rack.rails[rail]
        low = use.amps if use.standby is None else min(use.standby, use.amps)
        before = totals[rail]
        totals[rail] = before + use.amps
        stop = Range(
            low * (1 - UNDER) if low > LEAST_STEP else -LEAST_STEP,
            max(use.amps * (1 + OVER), LEAST_STEP),
        )
        rails.append(
            RailStep(
                rail,
                use.ohms,
                Range(low, use.amps),
                stop,
                before,
                totals[rail],
                spec.limits,
                spec.rated,
            )
        )
    for rail, spec in rack.rails.items():
        if spec.on == name:
            nothing = Range(0.0, 0.0)
            rails.append(RailStep(rail, None, nothing, nothing, 0.0, 0.0, spec.limits, None, True))
    mine = {r.rail for r in rails}
    locks = [k for k, lock in rack.interlocks.items() if {lock.rail, lock.needs} <= mine]
    others = [b for b in ready if b != name]
    why = f"worth {board.worth} of 10 to lose"
    if board.after:
        why += f", and {', '.join(board.after)} must be in first"
    if others:
        why += f"; {', '.join(others)} could go now too, but with more to lose or more current"
    return Step(
        name,
        board.name,
        board.worth,
        board.slot or "",
        why,
        tuple(rails),
        tuple(rack.interlocks[k].rail for k in locks),
        tuple(locks),
    )


@dataclass(frozen=True)
class Verdict:
    """What a reading says: `go` or not, and the sentence that says why."""

    go: bool
    words: str


def judge_ohms(step: RailStep, ohms: float) -> Verdict:
    """Dead ohms before a board goes in [ohm]."""
    if step.ohms is None:
        return Verdict(True, "the file gives no dead ohms for this rail; noted")
    low, high = step.ohms.low, step.ohms.high
    expected = f"expected {_range(step.ohms, 'ohm')}"
    if ohms < low:
        return Verdict(
            False,
            f"STOP: {_show(ohms, 'ohm')} is too low, {expected}: look for a "
            "shorted tantalum or a part fitted the wrong way round before this rail is applied",
        )
    if ohms > high:
        return Verdict(
            False,
            f"STOP: {_show(ohms, 'ohm')} is too high, {expected}: dirty edge "
            "contacts, an open fuse or link, or chips not seated; try the leads the other "
            "way round as well",
        )
    return Verdict(True, f"{_show(ohms, 'ohm')} is as it should be ({expected})")


def judge_volts(step: RailStep, volts: float) -> Verdict:
    """Rail at the slot with the board in [V]."""
    expected = f"expected {_range(step.volts, 'V')}"
    if step.volts.low <= volts <= step.volts.high:
        return Verdict(True, f"{_show(volts, 'V')} at the slot is as it should be ({expected})")
    return Verdict(
        False,
        f"STOP: {_show(volts, 'V')} at the slot, {expected}: switch off and take "
        "the board out before looking further",
    )


def judge_step(step: RailStep, amps: float) -> Verdict:
    """What the board added to its rail [A]."""
    shown = show(amps, "A")
    expected = f"expected {_range(step.amps, 'A')} more"
    if amps > step.stop.high:
        return Verdict(
            False,
            f"STOP: {shown} more, {expected}, stop above {show(step.stop.high, 'A')}:"
            " switch off, take the board out, measure its dead ohms again",
        )
    if amps < step.stop.low:
        return Verdict(
            False,
            f"STOP: {shown} more, {expected}, stop below {show(step.stop.low, 'A')}:"
            " the board is not powered or not running; look at seating, fuse, slot, clock",
        )
    return Verdict(True, f"{shown} more is within the budget ({expected})")


def _show(value: float, unit: str) -> str:
    return show(value, unit)  # type: ignore[arg-type]


def _range(found: Range, unit: str) -> str:
    if math.isinf(found.high):
        return f"at least {_show(found.low, unit)}"
    if found.low == found.high:
        return _show(found.low, unit)
    return f"{_show(found.low, unit)} to {_show(found.high, unit)}"


def budget(steps: Sequence[Step]) -> Mapping[str, tuple[float, float | None]]:
    """Rail -> (total at work [A], what the supply may give [A] or None)."""
    found: dict[str, tuple[float, float | None]] = {}
    for step in steps:
        for rail in step.rails:
            if not rail.made:
                found[rail.rail] = (rail.after, rail.rated)
    return found
