"""Write a value the way a technician would, so that it can be pasted back."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Context, Decimal

from halfsplit.problems import HalfsplitError
from halfsplit.quantity.units import UNITS, Unit

# From this value up the unit is written without a smaller prefix: 0.47 Ω and 0.25 W, not 470 mΩ.
# Common practice, no published source.
_WHOLE_FROM: dict[Unit, Decimal] = {"ohm": Decimal("0.1"), "W": Decimal("0.1")}
_MOST_DIGITS = 15
_CODE_DIGITS = 6


def _rounded(value: float, digits: int) -> Decimal:
    if not 1 <= digits <= _MOST_DIGITS:
        raise HalfsplitError(f"Ask for 1 to {_MOST_DIGITS} significant digits, not {digits}.")
    return Context(prec=digits, rounding=ROUND_HALF_EVEN).create_decimal(Decimal(repr(value)))


def _plain(number: Decimal, digits: int) -> str:
    """`number` with `digits` significant digits and no exponent."""
    places = max(0, digits - 1 - number.adjusted())
    return f"{number:.{places}f}"


def _prefix(number: Decimal, unit: Unit) -> tuple[str, int] | None:
    """The prefix for display; None when the value is far outside those people use."""
    size = abs(number)
    shown = UNITS[unit].shown
    if unit == "F" and size >= 1:
        shown = (("", 0),)
    elif size >= _WHOLE_FROM.get(unit, Decimal("Infinity")):
        shown = tuple(p for p in shown if p[1] >= 0)
    fitting = [p for p in shown if size >= Decimal(1).scaleb(p[1])]
    chosen = fitting[-1] if fitting else shown[0]
    head = number.scaleb(-chosen[1])
    return chosen if -4 < head.adjusted() < 6 else None


def show(value: float, unit: Unit, digits: int = 3) -> str:
    """`value` in words of the trade, such as ``4.70 kΩ``.

    Parameters: value in SI, unit, number of significant digits (1 to 15). Capacitors stay in pF,
    nF and µF up to a farad. Infinity shows as ``OL`` and NaN as ``no value``.

    Raises
    ------
    HalfsplitError: a number of digits outside 1 to 15.
    """
    symbol = UNITS[unit].symbol
    if math.isnan(value):
        return "no value"
    if math.isinf(value):
        return "OL" if value > 0 else "-OL"
    number = _rounded(value, digits)
    if unit == "%":
        number = number.scaleb(2)
    if not number:
        return f"0 {symbol}".rstrip()
    chosen = _prefix(number, unit)
    if chosen is None:
        return f"{number:.{digits - 1}e} {symbol}".rstrip()
    prefix, power = chosen
    return f"{_plain(number.scaleb(-power), digits)} {prefix}{symbol}".rstrip()


_CODE_LETTERS: dict[Unit, tuple[tuple[str, int], ...]] = {
    "ohm": (("R", 0), ("k", 3), ("M", 6), ("G", 9), ("T", 12)),
    "F": (("p", -12), ("n", -9), ("µ", -6)),
}


def show_code(value: float, unit: Unit) -> str:
    """IEC 60062 letter code of a resistor or capacitor, such as ``4k7`` or ``4n7``.

    Parameters: value in SI, 0 or more, at most six digits are kept; unit "ohm" or "F". Large
    capacitors stay in microfarads (``4700µ``), as the trade writes them.

    Raises
    ------
    HalfsplitError: another unit, or a value with no code.
    """
    if unit not in _CODE_LETTERS:
        raise HalfsplitError("Letter codes exist for ohms and farads; use show() for other units.")
    if not math.isfinite(value) or value < 0:
        raise HalfsplitError(f"There is no letter code for {value!r}; use show().")
    letters = _CODE_LETTERS[unit]
    number = _rounded(value, _CODE_DIGITS)
    if not number:
        return f"0{letters[0][0]}"
    letter, power = next(
        ((n, p) for n, p in reversed(letters) if number >= Decimal(1).scaleb(p)), letters[0]
    )
    whole, _, part = f"{number.scaleb(-power):f}".partition(".")
    part = part.rstrip("0")
    if len(whole) == 1 and whole != "0":
        part = part or "0"  # 1M0, as marked on parts: at least two digits
    return f"{'' if whole == '0' else whole}{letter}{part}"
