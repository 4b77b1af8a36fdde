"""Values as typed at a slot, and what each says."""

from __future__ import annotations

from typing import Any

from halfsplit.boards.order import RailStep, Verdict, judge_ohms, judge_step, judge_volts
from halfsplit.quantity import QuantityError, Range, Unit, parse

OPEN_WORDS = ("open", "ol")
UNITS: tuple[Unit, ...] = ("V", "A", "ohm")
# A rail is on above half a volt, where it counts as discharged, or where more than a leak flows.
LIVE = 0.5  # V
FLOWS = 0.01  # A


def is_live(value: float, unit: Unit) -> bool:
    """Whether a reading at a slot shows that its rail is on."""
    return unit != "ohm" and abs(value) > (LIVE if unit == "V" else FLOWS)


def slot_value(text: str, wrong: Any) -> tuple[float, Unit]:
    """A value and its unit; a bare number is refused, as it could be any of three."""
    flat = text.strip()
    if flat.lower() in OPEN_WORDS:
        return float("inf"), "ohm"
    read: dict[Unit, float] = {}
    said = "no value"
    for unit in UNITS:
        try:
            read[unit] = parse(flat, unit)
        except QuantityError as error:
            # That a unit is another's says nothing about the value; that one is told by its own.
            said = error.wrong if said == "no value" or "belongs to" in said else said
    if len(read) > 1:  # 5 or 1k: every unit fits
        raise wrong(
            "a number without a unit could be volts, amperes or ohms",
            f"{flat}V, {flat}A or {flat}ohm",
        )
    if not read:
        raise wrong(f"“{flat}”: {said}", "a value with V, A or ohm")
    unit, value = next(iter(read.items()))
    return value, unit


def slot_verdict(rail: RailStep, value: float, unit: Unit) -> Verdict:
    """What a reading of a rail says against its turn's limits."""
    if unit == "ohm":
        return judge_ohms(rail, value)
    if unit == "V":
        return judge_volts(rail, value)
    return judge_step(rail, value)


def range_dict(found: Range | None) -> dict[str, Any] | None:
    """For ``--json``: an open end is null."""
    if found is None:
        return None
    return {"low": found.low, "high": None if found.high == float("inf") else found.high}
