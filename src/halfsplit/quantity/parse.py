"""Strict reading of quantities. The field says which unit is meant; leftovers are errors.

A spelling that could mean two things is refused with the two spellings that could not. Letter codes
follow IEC 60062; prefixes follow the SI, with the trade's own `mfd`, `uuF` and `Meg` added.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

Unit = Literal["V", "A", "ohm", "F", "H", "W", "Hz", "s", "degC", "J", "K/W", "%", "1"]

# Accepted spellings of each unit after a number, longest first; the first shows in advice.
_WORDS: dict[str, tuple[str, ...]] = {
    "V": ("V", "VDC", "Vdc", "VAC", "Vac", "Vrms", "volts", "volt", "v"),
    "A": ("A", "ADC", "Adc", "amps", "amp"),
    "ohm": ("ohm", "ohms", "Ohm", "Ohms", "OHM", "OHMS", "Ω", "R"),
    "F": ("F", "f"),
    "H": ("H",),
    "W": ("W", "watts", "watt", "w"),
    "Hz": ("Hz", "hz", "HZ", "c/s", "cps"),
    "s": ("s", "sec"),
    "degC": ("degC", "°C", "C"),
    "J": ("J",),
    "K/W": ("K/W", "C/W", "°C/W", "degC/W"),
    "%": (),
    "1": (),
}
_PREFIX = {
    "f": 1e-15,
    "p": 1e-12,
    "n": 1e-9,
    "u": 1e-6,
    "m": 1e-3,
    "": 1.0,
    "k": 1e3,
    "K": 1e3,
    "M": 1e6,
    "Meg": 1e6,
    "meg": 1e6,
    "MEG": 1e6,
    "G": 1e9,
    "T": 1e12,
}
# Prefixes that make sense for a unit; a "megavolt" at a bench is a slip of the finger.
_ALLOWED: dict[str, str] = {
    "V": "num k",
    "A": "pnum k",
    "ohm": "m kMG",
    "F": "fpnum",
    "H": "num ",
    "W": "um k",
    "Hz": "m kMG",
    "s": "pnum k",
    "degC": " ",
    "J": "um k",
    "K/W": " ",
    "%": " ",
    "1": " kM",
}
_EXAMPLE = {
    "V": "12V",
    "A": "250mA",
    "ohm": "4k7",
    "F": "22uF",
    "H": "150uH",
    "W": "0.25W",
    "Hz": "50Hz",
    "s": "10ms",
    "degC": "70degC",
    "J": "3.2J",
    "K/W": "1.5K/W",
    "%": "5%",
    "1": "0.5",
}
_NUMBER = r"\d+(?:\.\d*)?|\.\d+"
_PLAIN = re.compile(rf"([+-]?)({_NUMBER})(?:[eE]([+-]?\d{{1,2}}))? ?(.*)")
_CODE = re.compile(r"([+-]?)(\d*)([fpnumkKMGTRVAFHWL])(\d+)(.*)")
_BARE_CODE_UNIT = {"R": "ohm", "V": "V", "A": "A", "F": "F", "H": "H", "W": "W"}


class QuantityError(ValueError):
    """A text that cannot be read as the quantity asked for.

    Attributes: `text` as given, `wrong` in words, `instead` a spelling that works.
    """

    def __init__(self, text: str, wrong: str, instead: str) -> None:
        super().__init__(f"“{text}”: {wrong}; write {instead}")
        self.text, self.wrong, self.instead = text, wrong, instead


@dataclass(frozen=True)
class Tolerance:
    """Spread about a nominal value: fractions when `relative`, else in the value's own unit."""

    minus: float
    plus: float
    relative: bool

    def bounds(self, nominal: float) -> tuple[float, float]:
        """Lowest and highest value, in that order, whatever the sign of `nominal`."""
        scale = abs(nominal) if self.relative else 1.0
        return nominal - self.minus * scale, nominal + self.plus * scale


@dataclass(frozen=True)
class Range:
    """Two limits, low <= high."""

    low: float
    high: float


@dataclass(frozen=True)
class Reading:
    """What a meter showed: SI `value`, last shown digit `resolution`, and whether it was a number.

    `state` "over" has an infinite value (OL), "unstable" has none (NaN).
    """

    value: float
    text: str
    state: Literal["number", "over", "unstable"]
    resolution: float


def _clean(text: str) -> str:
    """One spelling for characters that only look different; no meaning is changed."""
    if not isinstance(text, str):
        raise QuantityError(str(text), "not text", "a quantity such as 4k7")
    out = text.strip()
    for old, new in (
        ("\u2212", "-"),
        ("\ufe63", "-"),
        ("\uff0d", "-"),
        ("\u00b5", "u"),
        ("\u03bc", "u"),
        ("\u2126", "Ω"),
        ("\u00a0", " "),
        ("\u202f", " "),
        ("\u2009", " "),
        ("\u2013", "-"),
    ):
        out = out.replace(old, new)
    return out


def _decimal(number: str, text: str) -> str:
    """Decimal comma to point, unless it could be a thousands mark."""
    if "," not in number:
        return number
    if number.count(",") > 1 or "." in number:
        raise QuantityError(text, "comma and point, or two commas, in one number", "1234.5")
    whole, part = number.split(",")
    if len(part) == 3 and whole not in ("0", "", "-0", "+0"):
        raise QuantityError(
            text,
            "a comma before three digits may be a decimal or a thousands mark",
            f"{whole}.{part} or {whole}{part}",
        )
    return f"{whole}.{part}"


def _finite(value: float, text: str, unit: Unit) -> float:
    if not math.isfinite(value):
        raise QuantityError(text, "too large to be a real quantity", _EXAMPLE[unit])
    return value


def parse(text: str, unit: Unit) -> float:
    """Value of `text` in SI units (fractions for "%"; degrees Celsius stay Celsius).

    Raises :class:`QuantityError` on anything that is not wholly understood.
    """
    value, _ = _parse(text, unit)
    return value


def _parse(text: str, unit: Unit) -> tuple[float, float]:
    """Value and the weight of its last written digit."""
    body = _clean(text)
    if not body:
        raise QuantityError(text, "nothing was written", _EXAMPLE[unit])
    if "/" in body and re.search(r"\d\s*[a-zA-Z]*\s*/\s*\d*\d\s*[a-zA-Z]", body):
        simple = re.fullmatch(r"(\d{1,2})/(\d{1,3}) ?(.*)", body)
        if not (simple and unit in ("W", "ohm", "A") and simple[3] in _WORDS[unit]):
            raise QuantityError(text, "two values in one field", "each in its own field")
        if int(simple[2]) == 0:
            raise QuantityError(text, "divided by nothing", _EXAMPLE[unit])
        return int(simple[1]) / int(simple[2]), 0.0
    comma = re.match(r"[+-]?[\d.,]+", body)
    if comma and "," in comma[0]:
        body = _decimal(comma[0], text) + body[comma.end() :]
    code = _CODE.fullmatch(body)
    if code and unit not in ("%", "degC", "K/W", "Hz", "s", "J"):
        return _letter_code(code, text, unit)
    plain = _PLAIN.fullmatch(body)
    if not plain:
        raise QuantityError(text, "does not start with a number", _EXAMPLE[unit])
    sign, number, power, tail = plain.groups()
    if sign and unit in ("ohm", "F", "H", "Hz", "K/W") and sign == "-":
        raise QuantityError(text, "cannot be negative", f"{number}{tail}".strip())
    scale = _suffix(tail, text, unit)
    if unit == "F" and tail == "" and power is None and float(number) != 0.0:
        raise QuantityError(
            text, "no prefix: nobody means whole farads", f"{number}uF or {number}nF"
        )
    exponent = int(power or 0)
    if abs(exponent) > 18:
        raise QuantityError(text, "exponent too large to be a real quantity", _EXAMPLE[unit])
    places = len(number.split(".")[1]) if "." in number else 0
    value = float(number) * 10.0**exponent * scale
    digit = 10.0 ** (exponent - places) * scale
    return _finite(-value if sign == "-" else value, text, unit), digit


def _letter_code(code: re.Match[str], text: str, unit: Unit) -> tuple[float, float]:
    sign, whole, letter, part, tail = code.groups()
    if letter in _BARE_CODE_UNIT:
        if _BARE_CODE_UNIT[letter] != unit:
            raise QuantityError(text, f"{letter} marks another unit", _EXAMPLE[unit])
        scale = 1.0
    elif letter == "L" or letter not in _ALLOWED[unit].replace(" ", "") + "K":
        raise QuantityError(text, f"{letter} is no letter code for this unit", _EXAMPLE[unit])
    elif letter == "K" and "k" not in _ALLOWED[unit]:
        raise QuantityError(text, "K is no letter code for this unit", _EXAMPLE[unit])
    else:
        scale = _PREFIX[letter]
    if not whole and letter not in "RpnumFVAHW":
        raise QuantityError(text, "digits are missing before the letter", f"0{letter}{part}")
    if tail.strip() and tail.strip() not in _WORDS[unit]:
        raise QuantityError(text, f"“{tail.strip()}” is left over", _EXAMPLE[unit])
    if sign == "-" and unit in ("ohm", "F", "H"):
        raise QuantityError(text, "cannot be negative", text.strip().lstrip("-−"))
    value = float(f"{whole or '0'}.{part}") * scale
    return (-value if sign == "-" else value), scale * 10.0 ** -len(part)


def _suffix(tail: str, text: str, unit: Unit) -> float:
    """Scale of what follows the number; refuses anything not known in full."""
    if unit in ("%", "1"):
        if tail == "%":
            return 0.01
        if tail == "" and unit == "%":
            raise QuantityError(text, "no % sign", f"{text.strip()}%")
    if tail == "":
        return 1.0
    if unit == "F":
        old = {"mfd": 1e-6, "MFD": 1e-6, "Mfd": 1e-6, "mF": None, "uuF": 1e-12, "mmF": 1e-12}
        old |= {"mmfd": 1e-12, "MMFD": 1e-12, "uuf": 1e-12, "pf": 1e-12, "nf": 1e-9, "uf": 1e-6}
        if tail in old:
            scale = old[tail]
            if scale is None:
                raise QuantityError(
                    text, "mF is read as millifarad today and microfarad then", "uF, or 1000uF"
                )
            return scale
    if unit == "ohm" and tail in ("m", "mR", "mohm", "mΩ"):
        return 1e-3
    for word in ("", *_WORDS[unit]):
        if not tail.endswith(word):
            continue
        prefix = tail[: len(tail) - len(word)] if word else tail
        if prefix not in _PREFIX:
            continue
        letter = prefix[:1] if prefix else " "
        if letter not in _ALLOWED[unit].replace("k", "kK") and prefix.lower() != "meg":
            continue
        if prefix.lower() == "meg" and "M" not in _ALLOWED[unit]:
            continue
        return _PREFIX[prefix]
    for other, words in _WORDS.items():
        if other != unit and any(tail.lstrip("fpnumkKMG") == w for w in words):
            raise QuantityError(text, f"“{tail}” is not the unit of this field", _EXAMPLE[unit])
    raise QuantityError(text, f"“{tail}” is left over", _EXAMPLE[unit])


_LETTERS = {
    "B": 0.001,
    "C": 0.0025,
    "D": 0.005,
    "F": 0.01,
    "G": 0.02,
    "J": 0.05,
    "K": 0.1,
    "M": 0.2,
}


def parse_tolerance(text: str, unit: Unit) -> Tolerance:
    """Tolerance such as ``±5 %``, ``-10/+75 %``, ``J`` (IEC 60062) or ``±0.1V``."""
    body = _clean(text).replace(" ", "").replace("+/-", "±").replace("+-", "±")
    if body in _LETTERS:
        return Tolerance(_LETTERS[body], _LETTERS[body], True)
    number = rf"({_NUMBER})"
    both = re.fullmatch(rf"-{number}%?/?\+{number}%|\+{number}%?/?-{number}%", body)
    if both:
        minus, plus = (both[1], both[2]) if both[1] else (both[4], both[3])
        return Tolerance(float(minus) / 100, float(plus) / 100, True)
    single = re.fullmatch(rf"±?({_NUMBER}|\d+,\d+)%", body)
    if single:
        half = float(_decimal(single[1], text)) / 100
        return Tolerance(half, half, True)
    if body.startswith("±") and unit not in ("%", "1"):
        half = abs(parse(body[1:], unit))
        return Tolerance(half, half, False)
    raise QuantityError(text, "is no tolerance", "5% or -10/+75%")


def parse_toleranced(text: str, unit: Unit) -> tuple[float, Tolerance | None]:
    """Value with an optional tolerance: ``4k7 5%``, ``4k7J``, ``12 mV ± 5%``."""
    body = _clean(text).replace("+/-", "±")
    if body.startswith("±"):
        raise QuantityError(text, "a spread without a value", f"{_EXAMPLE[unit]} {body}")
    at = re.search(r"\s*±|\s+(?=[\d.]+ ?%$)|\s+(?=-\d+ ?%?/)|(?<=\d)(?=[BCDFGJKM]$)", body)
    if at and at.start() > 0:
        tail = body[at.start() :].strip()
        lettered = tail in _LETTERS
        if lettered and not re.search(r"[RkKM]\d+$", body[: at.start()]):
            return parse(body, unit), None
        return parse(body[: at.start()], unit), parse_tolerance(tail, unit)
    return parse(body, unit), None


def parse_range(text: str, unit: Unit) -> Range:
    """Range such as ``4.75..5.25V``, ``-11.4 to -12.6 V`` or ``5V ± 5%``; low comes first."""
    raw = text if isinstance(text, str) else str(text)
    if "±" in raw or "+/-" in raw:
        value, spread = parse_toleranced(raw, unit)
        if spread is None:
            raise QuantityError(raw, "no spread after ±", "5V ± 5%")
        return Range(*sorted(spread.bounds(value)))
    pieces = re.split(r"\s*\.\.\.?\s*|\s+to\s+", raw.strip())
    if len(pieces) == 1:
        pieces = re.split(r"(?<=[\dA-Za-zΩ%])\s*[-\u2013]\s*(?=[\d.])", raw.strip())
    if len(pieces) != 2 or not pieces[0] or not pieces[1]:
        raise QuantityError(raw, "is no range", "4.75..5.25V")
    first, second = pieces
    if re.fullmatch(rf"[+\-−]?({_NUMBER}|\d+,\d+)", first):  # unit written once, at the end
        found = re.search(r"[A-Za-zΩµμ°%][A-Za-zΩµμ°/%]*$", second)
        first += found[0] if found else ""
    return Range(*sorted((parse(first, unit), parse(second, unit))))


def parse_reading(text: str, unit: Unit) -> Reading:
    """What a meter's display showed. ``OL`` and ``∞`` are over range; ``unstable`` is kept as such."""
    body = _clean(text)
    sign = -1.0 if body.startswith("-") else 1.0
    if body.lstrip("+-").strip().upper() in ("OL", "O.L", "0L", "O.L.", "∞", "OPEN", "OVER"):
        return Reading(sign * math.inf, text.strip(), "over", 0.0)
    if body.lower() in ("unstable", "wandering"):
        return Reading(math.nan, text.strip(), "unstable", 0.0)
    value, digit = _parse(text, unit)
    return Reading(value, text.strip(), "number", digit)
