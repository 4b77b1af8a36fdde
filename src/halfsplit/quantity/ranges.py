"""A low and a high limit."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass

from halfsplit.quantity.errors import QuantityError
from halfsplit.quantity.scan import LONGEST, NEEDS_SUFFIX, Scan, inside, normalise, scan
from halfsplit.quantity.tolerance import parse_toleranced
from halfsplit.quantity.units import UNITS, Unit

_EXPLICIT = re.compile(r"\s?(?:(?<!\.)\.\.(?!\.)|…|(?<=\s)\.\.\.(?=\s)|(?<=\s)to(?=\s))\s?")
_DASH = re.compile(r"(?<=[0-9A-Za-zΩµ°%])(?<![0-9][eE])[ ]?[-–][ ]?(?=[0-9.,+-])")


@dataclass(frozen=True, slots=True)
class Range:
    """Limits in SI, both included; `low` is never above `high`."""

    low: float
    high: float


def parse_range(text: str, unit: Unit) -> Range:
    """Read ``4.75..5.25 V``, ``4.75 to 5.25 V``, ``4.75–5.25 V`` or ``5 V ± 5%``.

    The order of the limits does not matter; signs are kept. A unit written once counts for both.

    Raises
    ------
    QuantityError: one value alone, a dash that may be a minus, or a unit that is open on one side.
    """
    if len(text) > LONGEST:
        raise QuantityError(text, "This is too long for a range.", _example(unit))
    with inside(text):
        return _any_range(text, unit)


def _any_range(text: str, unit: Unit) -> Range:
    flat = normalise(text).strip()
    if not flat:
        raise QuantityError(text, "There is no value here.", _example(unit))
    parts = _EXPLICIT.split(flat)
    if len(parts) == 2:
        return _range(text, unit, *parts)
    if len(parts) > 2 or "..." in flat:
        raise QuantityError(
            text, "Put two points, and only once, between the limits.", _example(unit)
        )
    toleranced = any(mark in flat for mark in ("±", "/", "+-")) or (
        flat.endswith("%") and unit not in ("%", "1")
    )
    dashes = [] if toleranced else list(_DASH.finditer(flat))
    if dashes:
        return _dashed(text, unit, flat, dashes)
    value, tolerance = parse_toleranced(text, unit)
    if tolerance is None:
        raise QuantityError(text, "One value is not a range.", _example(unit))
    return Range(*tolerance.bounds(value))


def _example(unit: Unit) -> str:
    number, _, suffix = UNITS[unit].example.partition(" ")
    if number.endswith("%"):
        return "a value such as 4%..6%"
    return f"a value such as 1..{number} {suffix}".rstrip()


def _working(unit: Unit, *spellings: str) -> str:
    """Those of `spellings` that would be accepted, or an example."""
    good = []
    for spelling in dict.fromkeys(spellings):
        parts = _EXPLICIT.split(spelling)
        with suppress(QuantityError):
            if len(parts) == 2:
                _range(spelling, unit, *parts, explain=False)
                good.append(spelling)
    return " or ".join(good) or _example(unit)


def _dashed(text: str, unit: Unit, flat: str, dashes: list[re.Match[str]]) -> Range:
    first, second = flat[: dashes[0].start()], flat[dashes[0].end() :]
    en_dash = "–" in dashes[0][0]
    # Only an en dash between two typed minus signs is beyond doubt.
    typed = en_dash and second.startswith("-") and not first.startswith("–")
    minus = first.startswith(("-", "–")) or second.startswith(("-", "–"))
    lopsided = dashes[0][0].startswith(" ") != dashes[0][0].endswith(" ")
    if len(dashes) > 1 or lopsided or (minus and not typed):
        a, b = first.lstrip("-–"), second.lstrip("-–")
        sign = "-" if first.startswith(("-", "–")) else ""
        raise QuantityError(
            text,
            "A dash between the numbers may be a minus.",
            _working(unit, f"{sign}{a}..{b}", f"{sign}{a}..-{b}"),
            dashes[0].start(),
        )
    return _range(text, unit, first, second)


def _range(text: str, unit: Unit, first: str, second: str, *, explain: bool = True) -> Range:
    if not first.strip() or not second.strip():
        raise QuantityError(text, "One limit is missing.", _example(unit))
    low, high = scan(first, unit), scan(second, unit)
    if low.bare and not high.bare:
        if not _shared(unit, first, high):
            raise _open(text, unit, first, second, high, explain)
        low = scan(f"{first.rstrip()} {high.suffix}", unit) if high.scaled else low
    elif high.bare and not low.bare:
        if low.scaled:
            raise _open(text, unit, first, second, low, explain)
    elif low.bare and unit in NEEDS_SUFFIX:
        raise QuantityError(text, "The limits need a unit.", _example(unit))
    ends = float(low.value), float(high.value)
    return Range(min(ends), max(ends))


def _open(
    text: str, unit: Unit, first: str, second: str, written: Scan, explain: bool
) -> QuantityError:
    """The prefix of one limit may or may not count for the other: offer both."""
    instead = _example(unit)
    if explain and written.suffix:
        a, b = first.strip(), second.strip()
        symbol = UNITS[unit].symbol
        if a.endswith(tuple("0123456789")):
            instead = _working(unit, f"{a}{symbol}..{b}", f"{a}{written.suffix}..{b}")
        else:
            instead = _working(unit, f"{a}..{b}{symbol}", f"{a}..{b}{written.suffix}")
    return QuantityError(
        text, "It is open whether the prefix counts for both: write it on both.", instead
    )


def _shared(unit: Unit, first: str, high: Scan) -> bool:
    """Whether the unit of `high` counts for the other limit, `first`, beyond doubt."""
    if not high.scaled:
        return True
    if high.coded or not high.suffix:
        return False
    both = scan(f"{first.rstrip()} {high.suffix}", unit)
    # 900..1.1 kΩ: counted for both, the limits would run backwards, so it was not meant for both.
    return both.value <= high.value or abs(both.value) <= abs(high.value)
