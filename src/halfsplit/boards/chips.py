"""A board's current from a list of the chips on it, where its papers give none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from halfsplit.assembly.advice import shown
from halfsplit.boards.agree import Adds
from halfsplit.boards.model import Board, RailUse, SlotRail
from halfsplit.parts import catalogue
from halfsplit.parts.shelf import Chip

# How far a rail may be from the nominal volts of a chip's supply and still be it: -5.2 V of an ECL
# rail is not the -5 V of a memory. Common practice, no published source.
_NEAR = 0.035


@dataclass(frozen=True)
class Total:
    """What a list of chips draws from one supply [A]: at standby, typically, and at the most."""

    standby: float
    typical: float
    most: float


def total(chips: Mapping[str, int]) -> dict[float, Total]:
    """Nominal volts -> the sum over all packages.

    Standby counts only what can stand by. Raises KeyError for a name that is no chip of the
    catalogue.
    """
    found: dict[float, Total] = {}
    for name, count in chips.items():
        for volts, draw in chip(name).draws().items():
            was = found.get(volts, Total(0.0, 0.0, 0.0))
            idle = draw.typical if draw.standby is None else draw.standby
            found[volts] = Total(
                was.standby + count * idle,
                was.typical + count * draw.typical,
                was.most + count * draw.most,
            )
    return found


def chip(name: str) -> Chip:
    """The chip of this name. Raises KeyError when the catalogue has none."""
    row = catalogue.load().get(name)
    if row is None or row.kind != Chip.KIND:
        raise KeyError(name)
    return Chip.model_validate({**row.fields, "kind": row.kind})


def fill(boards: Mapping[str, Board], rails: Mapping[str, SlotRail], to: Adds) -> dict[str, Board]:
    """Boards with the currents that follow from their chips; what a board says itself wins."""
    return {name: _filled(name, board, rails, to) for name, board in boards.items()}


def _filled(name: str, board: Board, rails: Mapping[str, SlotRail], to: Adds) -> Board:
    where = f"boards.{name}.chips"
    known: dict[str, int] = {}
    for key, count in board.chips.items():
        try:
            chip(key)
        except KeyError:
            row = catalogue.load().get(key)
            wrong = f"{shown(key)} is no chip of the catalogue"
            if row is not None:
                wrong = f"{row.type} is a {row.kind}, not a chip with supply currents"
            close = [n for n in catalogue.load().nearest(key[:40]) if _is_chip(n)]
            to.add(f"{where}.{key}", wrong, " or ".join(close) or "its current under rails")
        else:
            known[key] = count
    uses: dict[str, Any] = dict(board.rails)
    for volts, drawn in total(known).items():
        rail = _rail(volts, name, board, rails)
        if rail is None:
            options = [r for r, spec in rails.items() if _is(spec, volts)]
            said = f"its chips draw from {volts:g} V"
            if options:
                wrong = f"{said}, and {' and '.join(options)} could be that"
                to.add(where, wrong, f"under rails: {options[0]}: {{}}")
            else:
                sample = f"{'P' if volts > 0 else 'N'}{abs(volts):g}: {{volts: {volts:g}V, …}}"
                to.add(where, f"{said}, and the file has no such rail", f"rails: {sample}")
            continue
        if rails[rail].on == name:
            continue  # made on this board from another rail; what that costs there is not known
        use = uses.get(rail, RailUse())
        given = {} if "amps" in use.model_fields_set else {"amps": drawn.most}
        if given and use.standby is None:
            given["standby"] = min(drawn.standby, drawn.typical)
        uses[rail] = use.model_copy(update=given)
    return board.model_copy(update={"rails": uses})


def _is_chip(name: str) -> bool:
    row = catalogue.load().get(name)
    return row is not None and row.kind == Chip.KIND


def _is(spec: SlotRail, volts: float) -> bool:
    return math.isclose(spec.volts, volts, rel_tol=_NEAR)


def _rail(volts: float, name: str, board: Board, rails: Mapping[str, SlotRail]) -> str | None:
    """The one rail these volts can mean: of those the board names, else of all."""
    every = [r for r, spec in rails.items() if _is(spec, volts) and spec.on in (None, name)]
    own = [r for r in every if r in board.rails or rails[r].on == name]
    found = own or every
    return found[0] if len(found) == 1 else None
