"""Tolerances as marked on parts and written on drawings."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from halfsplit.quantity.errors import QuantityError, quoted
from halfsplit.quantity.parse import parse, refuse_bare
from halfsplit.quantity.scan import LONGEST, example, inside, normalise, scan
from halfsplit.quantity.units import UNITS, Unit

# IEC 60062, letters for a symmetrical tolerance in per cent; from memory, unconfirmed.
LETTERS = {
    "B": "0.1", "C": "0.25", "D": "0.5", "F": "1", "G": "2", "J": "5", "K": "10", "M": "20",
}  # fmt: skip
# IEC 60062: on capacitors below 10 pF these letters give picofarads; from memory, unconfirmed.
_PICO_LETTERS = "BCDFG"
_PICO_BELOW = Decimal("10e-12")
_LETTER_UNITS: tuple[Unit, ...] = ("ohm", "F", "H")

_SPACE = r"[ ]?"
_DIGITS = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
_SYMMETRIC = re.compile(rf"(?:±|\+/?-){_SPACE}")
_PAIR = re.compile(
    rf"(?P<s1>[+-])(?P<n1>{_DIGITS}){_SPACE}(?P<u1>[^0-9+\-/ ]*){_SPACE}/?{_SPACE}"
    rf"(?P<s2>[+-])(?P<n2>{_DIGITS}{_SPACE}[^0-9+\-/]*)$"
)
_TRAILING_PERCENT = re.compile(rf" (?P<tol>{_DIGITS}{_SPACE}(?:%|percent))$")
_MOST_PLUS = Decimal(10)  # +1000 %; anything above is a slip


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a value may lie from its nominal value.

    Attributes
    ----------
    minus, plus: the two sides, 0 or more; fractions of the nominal value when `relative`,
        otherwise SI values.
    relative: whether the sides are fractions.
    """

    minus: float
    plus: float
    relative: bool

    def bounds(self, nominal: float) -> tuple[float, float]:
        """Lowest and highest value around `nominal`, both in SI.

        A relative tolerance acts on the size, so +10 % of -12 V is -13.2 V.
        """
        if not self.relative:
            return nominal - self.minus, nominal + self.plus
        ends = nominal * (1 - self.minus), nominal * (1 + self.plus)
        return min(ends), max(ends)


def parse_tolerance(text: str, unit: Unit) -> Tolerance:
    """Read a tolerance alone: ``5%``, ``±5 %``, ``-10/+75 %``, ``J``, ``±0.1V``.

    Raises
    ------
    QuantityError: when the text is no tolerance, or when it has two possible meanings.

    Source: IEC 60062 for the letters, from memory, unconfirmed.
    """
    with inside(text):
        return _tolerance(text, unit)


def _tolerance(text: str, unit: Unit) -> Tolerance:
    flat = _flat(text, unit)
    if flat in LETTERS and unit in _LETTER_UNITS:
        if unit == "F" and flat in _PICO_LETTERS:
            raise QuantityError(
                text,
                f"{flat} means per cent on most capacitors and picofarads below 10 pF.",
                f"±{LETTERS[flat]}% or ±{LETTERS[flat]}pF",
            )
        share = float(Decimal(LETTERS[flat]).scaleb(-2))
        return Tolerance(share, share, True)
    pair = _PAIR.match(flat)
    if pair:
        return _pair(text, unit, pair)
    marker = _SYMMETRIC.match(flat)
    body = flat[marker.end() :] if marker else flat
    if body[:1] in ("+", "-"):
        raise QuantityError(text, "Only one side of the tolerance is given.", _form(unit))
    side, relative = _side(text, unit, body)
    return _checked(text, unit, side, side, relative)


def parse_toleranced(text: str, unit: Unit) -> tuple[float, Tolerance | None]:
    """Read a value with or without a tolerance: ``12 mV ± 5%``, ``4k7J``, ``4k7``.

    Returns the SI value and the tolerance, None when none is written.

    Raises
    ------
    QuantityError: when either part is refused, or when it is open where one ends.
    """
    with inside(text):
        return _value_and_tolerance(text, unit)


def _value_and_tolerance(text: str, unit: Unit) -> tuple[float, Tolerance | None]:
    flat = _flat(text, unit)
    if unit == "F" and re.fullmatch(r"[0-9]*[pnuµm][0-9]+F", flat):
        raise QuantityError(
            text, "The last F may be the unit or the letter for ±1 %.", f"{flat[:-1]} ±1% or "
            f"{flat[:-1]}", len(flat) - 1,
        )  # fmt: skip
    try:
        return parse(text, unit), None
    except QuantityError as error:
        refusal = error
    split = _split(flat)
    if split is not None:
        return _toleranced(text, unit, *split)
    letter = re.fullmatch(r"(?P<value>.*[^ ])[ ]?(?P<letter>[BCDFGJKM])", flat)
    if letter and unit in _LETTER_UNITS:
        try:
            found = scan(letter["value"], unit)
        except QuantityError:
            raise refusal from None
        if not found.bare:
            return float(found.value), _letter(letter["letter"], unit, found.value)
    raise refusal


def _flat(text: str, unit: Unit) -> str:
    if len(text) > LONGEST:
        raise QuantityError(text, "This is too long for a tolerance.", _form(unit))
    flat = normalise(text).strip().replace("–", "-")
    if not flat:
        raise QuantityError(text, "There is no value here.", _form(unit))
    return flat


def _form(unit: Unit) -> str:
    """Spellings that show the form of a tolerance in `unit`."""
    return {"degC": "±2 degC", "%": "4%..6%"}.get(unit, "±5% or -20/+80%")


def _split(flat: str) -> tuple[str, str] | None:
    """The value and the tolerance, or None when no tolerance is seen."""
    symmetric = _SYMMETRIC.search(flat)
    if symmetric:
        return flat[: symmetric.start()], flat[symmetric.start() :]
    pair = _PAIR.search(flat, 1)
    if pair and flat[pair.start() - 1] not in "eE":
        return flat[: pair.start()], flat[pair.start() :]
    percent = _TRAILING_PERCENT.search(flat)
    return (flat[: percent.start()], percent["tol"]) if percent else None


def _toleranced(text: str, unit: Unit, head: str, tail: str) -> tuple[float, Tolerance]:
    if not head.strip():
        raise QuantityError(
            text,
            "There is no value before the tolerance; for two rails give each its own entry.",
            example(unit),
        )
    value = scan(head, unit)
    marker = _SYMMETRIC.match(tail)
    if marker and not tail.endswith(("%", "percent")):
        side, _ = _side(text, unit, tail[marker.end() :].strip())
        if value.bare and unit != "1" and scan(tail[marker.end() :], unit).scaled:
            raise QuantityError(
                text,
                "It is open whether the prefix counts for both numbers: write it on both.",
                f"{head.strip()} {UNITS[unit].symbol} {tail}",
            )
        refuse_bare(text, unit, value)
        return float(value.value), _checked(text, unit, side, side, False)
    refuse_bare(text, unit, value)
    return float(value.value), _tolerance(tail, unit)


def _letter(letter: str, unit: Unit, nominal: Decimal) -> Tolerance:
    if unit == "F" and letter in _PICO_LETTERS and abs(nominal) < _PICO_BELOW:
        side = float(Decimal(LETTERS[letter]).scaleb(-12))
        return Tolerance(side, side, False)
    share = float(Decimal(LETTERS[letter]).scaleb(-2))
    return Tolerance(share, share, True)


def _side(text: str, unit: Unit, body: str) -> tuple[Decimal, bool]:
    """One side of a tolerance, and whether it is relative."""
    if body.endswith(("%", "percent")):
        if unit in ("degC", "%"):
            raise QuantityError(
                text,
                "A percentage of a Celsius temperature has no meaning."
                if unit == "degC"
                else "A percentage of a percentage can be read two ways; give a range.",
                _form(unit),
            )
        return scan(body, "%").value, True
    found = scan(body, unit)
    if found.bare:
        share = found.value <= 100 and unit not in ("degC", "%")
        # A fraction reads as a bare number, yet not before a unit; a sign has no place behind ±.
        plain = "/" not in body and body[0] not in "+-−"
        figure = body if plain else f"{abs(float(found.value)):.6g}"
        raise QuantityError(
            text,
            f"{quoted(body)} alone may be per cent or not: write the unit.",
            f"±{figure}%" if share else _form(unit),
        )
    return found.value, False


def _pair(text: str, unit: Unit, pair: re.Match[str]) -> Tolerance:
    if pair["s1"] == pair["s2"]:
        raise QuantityError(text, "Both sides have the same sign.", _form(unit))
    second, relative = _side(text, unit, pair["n2"].strip())
    suffix = pair["n2"].lstrip("0123456789.,").strip()
    if pair["u1"] not in ("", suffix):
        raise QuantityError(text, "The two sides have different units.", _form(unit))
    first, _ = _side(text, unit, f"{pair['n1']}{suffix}")
    minus, plus = (first, second) if pair["s1"] == "-" else (second, first)
    return _checked(text, unit, minus, plus, relative)


def _checked(text: str, unit: Unit, minus: Decimal, plus: Decimal, relative: bool) -> Tolerance:
    if minus < 0 or plus < 0:
        raise QuantityError(text, "A tolerance has no sign of its own.", _form(unit))
    if relative and (minus > 1 or plus > _MOST_PLUS):
        raise QuantityError(text, "A tolerance beyond -100 % or +1000 % is not meant.", _form(unit))
    return Tolerance(float(minus), float(plus), relative)
