"""What a meter shows, typed by the person reading it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from halfsplit.quantity.errors import QuantityError
from halfsplit.quantity.parse import refuse_bare
from halfsplit.quantity.scan import LONGEST, example, normalise, scan
from halfsplit.quantity.units import UNITS, Unit

# Over-range as shown by digital meters; common practice, no published source.
_OVER = re.compile(r"(?P<sign>[+-]?)(?:[O0]\.?L\.?|\.[O0]L|ol|∞|overload|over)(?P<rest>[^0-9]*)")
_UNSTABLE = ("unstable", "wandering")
_ABOUT = re.compile(r"^(?:~|≈|<|>|≤|≥|about\b|approx|ca\b)|\?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading.

    Attributes
    ----------
    value: SI value; infinite with the sign shown when over range, NaN when unstable.
    text: what was typed, spaces at the ends removed.
    state: "number", "over" (beyond the meter's range) or "unstable".
    resolution: SI value of one count of the last digit shown; 0 when no digits were shown.
    """

    value: float
    text: str
    state: Literal["number", "over", "unstable"]
    resolution: float


def parse_reading(text: str, unit: Unit) -> Reading:
    """Read a meter's display: a number, ``OL``, or the word ``unstable`` or ``wandering``.

    Raises
    ------
    QuantityError: anything else, and numbers marked as doubtful: what the meter shows is wanted.
    """
    if len(text) > LONGEST:
        raise QuantityError(text, "This is too long for a reading.", example(unit))
    shown = text.strip()
    flat = normalise(shown)
    if flat.lower() in _UNSTABLE:
        return Reading(math.nan, shown, "unstable", 0.0)
    over = _OVER.fullmatch(flat)
    if over and _is_suffix(over["rest"], unit):
        return Reading(-math.inf if over["sign"] == "-" else math.inf, shown, "over", 0.0)
    if re.fullmatch(r"[+-]?1 *\.", flat):
        raise QuantityError(
            text, "A lone 1 at the left of the display is over range on some meters.", "OL"
        )
    if _ABOUT.search(flat):
        raise QuantityError(
            text, "Type what the meter shows, as it shows it.", f"{example(unit)} or unstable"
        )
    found = scan(text, unit)
    refuse_bare(text, unit, found)
    if not found.step:
        raise QuantityError(text, "A meter does not show fractions.", example(unit))
    return Reading(float(found.value), shown, "number", float(found.step))


def _is_suffix(rest: str, unit: Unit) -> bool:
    suffix = rest.replace(" ", "")
    return not suffix or suffix in UNITS[unit].suffixes
