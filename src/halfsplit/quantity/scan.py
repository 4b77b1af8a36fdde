"""Read one number with its letters, exactly, keeping what the other readers need to know.

Everything is decimal until the last step, so ``4.7k`` is 4700.0 and not a hair beside it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from decimal import Decimal

from halfsplit.problems import HalfsplitError
from halfsplit.quantity.errors import QuantityError, quoted
from halfsplit.quantity.units import POWERS, UNITS, Unit, unit_of_suffix

LONGEST = 80  # characters; a value in a file or typed at the bench is far shorter
# Units where a number alone is refused: nobody means 22 farads, and 5 may be 5 % or 500 %.
NEEDS_SUFFIX: tuple[Unit, ...] = ("F", "%")
# Well outside anything on a bench; a number beyond these is a slip of the keyboard.
LARGEST, SMALLEST = Decimal("1e18"), Decimal("1e-24")

# One character for one, so that positions stay right.
_SAME = str.maketrans(
    {"\u2212": "-", "\u2126": "Ω", "\u03bc": "µ", "\u00a0": " ", "\u202f": " ", "\u2009": " "}
)
_NUMBER = re.compile(r"(?P<int>[0-9]*)(?:(?P<mark>[.,])(?P<frac>[0-9]+))?(?P<exp>[eE][+-]?[0-9]+)?")
_FRACTION = re.compile(r"(?P<top>[0-9]{1,3})/(?P<bottom>[0-9]{1,3})(?![0-9.,])")
# Ratings printed as fractions: 1/10 W to 3/4 W. Common practice, no published source.
_TOPS, _BOTTOMS = (1, 3), (2, 3, 4, 5, 8, 10, 16, 20)
_NOT_A_NUMBER = re.compile(r"[+-]?(nan|inf|infinity|∞)", re.IGNORECASE)
_GLUE = re.compile(r"\s*[/;|@]\s*|\s*,\s+|\s+|(?=±)")


@dataclass(frozen=True, slots=True)
class Scan:
    """One number as written.

    Attributes
    ----------
    value: SI value.
    step: SI value of one count of the last digit written; 0 for a fraction.
    bare: no unit and no prefix was written.
    scaled: a prefix, a scaled letter code or an exponent was written.
    suffix: unit letters after the number, spaces removed.
    coded: written as an IEC 60062 letter code.
    """

    value: Decimal
    step: Decimal
    bare: bool
    scaled: bool
    suffix: str
    coded: bool = False


def normalise(text: str) -> str:
    """`text` with look-alike characters made one, same length."""
    return text.translate(_SAME)


def example(unit: Unit) -> str:
    """An example of the form, ready to follow the word "Write"."""
    return f"a value such as {UNITS[unit].example}"


def scan(text: str, unit: Unit, *, explain: bool = True) -> Scan:
    """Read `text` as one number of `unit`.

    With `explain` off, a refusal is not worked out further; used to try a spelling before it is
    recommended.

    Raises
    ------
    QuantityError: on anything that is not exactly one number with letters from the unit's table.
    HalfsplitError: when `unit` is not in the table.
    """
    if unit not in UNITS:
        raise HalfsplitError(f"Unknown unit {unit!r}; use one of {', '.join(UNITS)}.")
    if len(text) > LONGEST:
        raise QuantityError(text, "This is too long for one value.", example(unit))
    flat = normalise(text).rstrip()
    body = flat.lstrip()
    at = len(flat) - len(body)
    if not body:
        raise QuantityError(text, "There is no value here.", example(unit))
    if _NOT_A_NUMBER.match(body):
        raise QuantityError(
            text, f"{quoted(body)} is not a number that can be used.", example(unit), at
        )
    if body.startswith(("±", "+-", "+/-")):
        raise QuantityError(
            text,
            "A plus-minus sign gives a tolerance or two values, and this asks for one value.",
            example(unit),
            at,
        )
    sign = "-" if body[0] in "-–" else ""
    if body[0] in "+-–":
        body, at = body[1:], at + 1
    return _Reader(text, unit, sign, body, at, explain).read()


@contextmanager
def inside(text: str) -> Iterator[None]:
    """Turn an error about a part of `text` into one about the whole of it, at the right place."""
    try:
        yield
    except QuantityError as error:
        if error.text == text:
            raise
        start = max(0, normalise(text).replace("–", "-").find(error.text.replace("–", "-")))
        raise QuantityError(text, error.wrong, error.instead, start + error.position) from None


class _Reader:
    """One pass over the text after its sign; exists to carry the place for messages."""

    def __init__(self, text: str, unit: Unit, sign: str, body: str, at: int, explain: bool) -> None:
        self.text, self.unit, self.sign, self.body, self.at = text, unit, sign, body, at
        self.explain = explain
        self.info = UNITS[unit]

    def refuse(self, wrong: str, instead: str = "", offset: int = 0) -> QuantityError:
        if not (instead and self.explain and all(map(self._works, instead.split(" or ")))):
            instead = example(self.unit)
        return QuantityError(self.text, wrong, instead, self.at + offset)

    def _works(self, spelling: str) -> bool:
        """Whether `spelling` would be accepted for a field of this unit."""
        try:
            found = scan(spelling, self.unit, explain=False)
        except QuantityError:
            return False
        return not (found.bare and self.unit in NEEDS_SUFFIX)

    def read(self) -> Scan:
        found = self._code() or self._fraction() or self._plain()
        if found.value and not SMALLEST <= abs(found.value) <= LARGEST:
            raise self.refuse(f"{quoted(self.body)} is too large or too small to be meant.")
        return found

    def _code(self) -> Scan | None:
        letters = self.info.letters
        # Without digits in front, only the letters printed that way on parts: R47, n47, k22.
        match = re.match(r"([0-9]*)([A-Za-zµ])([0-9]+)", self.body)
        if not match:
            return None
        whole, letter, part = match.groups()
        if letter not in letters:
            if whole and letter == "R" and letter in self.info.refused:
                raise self._refused(letter, f"{self.sign}{whole}.{part}", match.start(2))
            return None
        if not whole and (self.unit not in ("ohm", "F", "H") or letter in "FH"):
            return None
        suffix = self._suffix(match.end(), plain_only=True)
        power = letters[letter]
        value = Decimal(f"{self.sign}{whole or '0'}.{part}E{power}")
        return Scan(value, Decimal(f"1E{power - len(part)}"), False, power != 0, suffix, True)

    def _fraction(self) -> Scan | None:
        match = _FRACTION.match(self.body)
        if not match:
            return None
        top, bottom = int(match["top"]), int(match["bottom"])
        if self.unit not in ("W", "ohm") or top not in _TOPS or bottom not in _BOTTOMS:
            raise self.refuse(
                "Two numbers with a slash may be two values; only the common fractions of a watt "
                "or an ohm are read.",
                "",
                match.start("bottom") - 1,
            )
        suffix = self._suffix(match.end(), plain_only=True)
        value = Decimal(top) / bottom
        return Scan(Decimal(f"{self.sign}{value}"), Decimal(0), not suffix, False, suffix)

    def _plain(self) -> Scan:
        match = _NUMBER.match(self.body)
        assert match is not None  # every part of the pattern may be empty
        whole, mark, frac, exp = match["int"], match["mark"], match["frac"] or "", match["exp"]
        if not whole and not frac:
            raise self._no_number()
        self._check_groups(match)
        if exp and self.unit == "ohm" and exp[0] == "E" and exp[1].isdigit():
            raise self.refuse(
                "E before digits may be a power of ten, or the decimal point of an older code.",
                f"{self.sign}{whole}{mark or ''}{frac}e{exp[1:]} or {self.sign}{whole}R{exp[1:]}"
                if whole and not frac
                else f"{self.sign}{whole}{mark or ''}{frac}e{exp[1:]}",
                match.start("exp"),
            )
        if exp and len(exp.lstrip("eE+-0")) > 2:
            raise self.refuse("The power of ten is too large to be meant.", "", match.start("exp"))
        power = int(exp[1:]) if exp else 0
        suffix = self._suffix(match.end(), plain_only=False)
        scale = self.info.suffixes[suffix] if suffix else 0
        if exp and scale and suffix not in ("%", "percent"):
            raise self.refuse(
                "A power of ten and a prefix together are easy to misread.",
                "",
                match.start("exp"),
            )
        value = Decimal(f"{self.sign}{whole or '0'}.{frac}E{power + scale}")
        step = Decimal(f"1E{power + scale - len(frac)}")
        return Scan(value, step, not suffix and not exp, bool(scale or exp), suffix)

    def _check_groups(self, match: re.Match[str]) -> None:
        """Refuse digit groups: a comma, point or space that may separate thousands."""
        whole, mark, frac = match["int"], match["mark"], match["frac"] or ""
        rest = self.body[match.end() :]
        if re.match(r"[.,][0-9]", rest):
            digits = re.match(r"[0-9.,]+", self.body)
            assert digits is not None
            marks = set(digits[0]) & {".", ","}
            # One kind of mark used twice separates thousands; of two kinds the last is the point.
            joined = re.sub(r"[.,](?=.*[.,])" if len(marks) == 2 else "[.,]", "", digits[0])
            joined = joined.replace(",", ".")
            raise self.refuse(
                "There is more than one point or comma in the number.",
                f"{self.sign}{joined}{self._known_suffix(rest[len(digits[0]) - match.end() :])}",
                match.end(),
            )
        grouped = re.match(r" +[0-9]{3}(?: +[0-9]{3})*(?![0-9])", rest)
        if grouped and whole and len(whole) <= 3 and not mark:
            joined = whole + grouped[0].replace(" ", "")
            raise self.refuse(
                "Spaces between digits may mean thousands or two values.",
                f"{self.sign}{joined}{self._known_suffix(rest[grouped.end() :])}",
                match.end(),
            )
        if mark == "," and len(frac) == 3 and 1 <= len(whole) <= 3 and whole.strip("0"):
            tail = self._known_suffix(rest)
            raise self.refuse(
                "A comma before three digits may mark thousands or the decimal point.",
                f"{self.sign}{whole}.{frac}{tail} or {self.sign}{whole}{frac}{tail}",
                match.start("mark"),
            )

    def _known_suffix(self, rest: str) -> str:
        """The user's own suffix when it is a good one, otherwise the unit's example suffix."""
        suffix = rest.replace(" ", "")
        if suffix in self.info.suffixes:
            return f" {suffix}"
        example_suffix = self.info.example.lstrip("0123456789. ")
        return f" {example_suffix}" if self.unit in ("F", "%") else ""

    def _suffix(self, end: int, *, plain_only: bool) -> str:
        """Letters from `end` on, checked against the unit's table; "" when there are none."""
        rest = self.body[end:]
        suffix = rest.replace(" ", "")
        spaced = "  " in rest or rest.count(" ") > 2
        if not suffix or (suffix in self.info.suffixes and not spaced):
            if plain_only and suffix and (self.info.suffixes[suffix] or suffix in POWERS):
                raise self.refuse(
                    f"{quoted(suffix)} after {quoted(self.body[:end])} scales it twice.",
                    self.sign + self.body[:end],
                    end,
                )
            return suffix
        raise self._leftover(end, rest, suffix, spaced)

    def _leftover(self, end: int, rest: str, suffix: str, spaced: bool) -> QuantityError:
        number = self.sign + self.body[:end]
        if spaced and suffix in self.info.suffixes:
            return self.refuse("There are too many spaces.", f"{number} {suffix}", end)
        if suffix in self.info.refused:
            return self._refused(suffix, number, end)
        if self.explain and re.search("[0-9]", rest):
            return self._two_values(end)
        other = unit_of_suffix(suffix, self.unit)
        if other:
            return self.refuse(
                f"{quoted(suffix)} belongs to {UNITS[other].noun}, and this asks for "
                f"{self.info.noun}.",
                "",
                end,
            )
        if rest in (".", ",", " .", " ,"):
            return self.refuse("There are no digits after the point.", "", end)
        return self.refuse(f"{quoted(rest.strip())} is left over after {quoted(number)}.", "", end)

    def _refused(self, suffix: str, number: str, offset: int) -> QuantityError:
        reason, instead = self.info.refused[suffix]
        plain = number.replace(",", ".")
        if "e" in plain.lower():
            instead = ""
        return self.refuse(
            f"{quoted(suffix)} is refused: {reason}.", instead.format(n=plain), offset
        )

    def _two_values(self, end: int) -> QuantityError:
        close = self.body.replace(" ", "")
        if re.fullmatch(r"[0-9]+[A-Za-zµ][0-9]+", close) and close != self.body:
            with suppress(QuantityError):
                if scan(close, self.unit, explain=False).coded:
                    return self.refuse("There are spaces inside a code.", self.sign + close, end)
        mixed = re.fullmatch(r"([0-9]+)[ -]([13]/[0-9]+)( ?[A-Za-z]+)?", self.body)
        if mixed and self.unit in ("W", "ohm"):
            with suppress(QuantityError):
                total = int(mixed[1]) + scan(mixed[2], self.unit, explain=False).value
                return self.refuse(
                    "A whole number with a fraction may be two values.",
                    f"{self.sign}{total:.6g}",
                    end,
                )
        for glue in _GLUE.finditer(self.body):
            first, second = self.body[: glue.start()], self.body[glue.end() :]
            if not first or not re.match("[-+±–]* ?[.,]?[0-9]", second):
                continue
            try:
                scan(first, self.unit, explain=False)
            except QuantityError:
                continue
            if "%" in second and "%" not in first:
                wrong = f"A tolerance, {quoted(second)}, follows the value {quoted(first)}."
            else:
                wrong = f"Two values were given, {quoted(first)} and {quoted(second)}."
            return self.refuse(wrong, self.sign + first, glue.start())
        return self.refuse(
            f"{quoted(self.body[end:].strip())} is left over after {quoted(self.body[:end])}.",
            "",
            end,
        )

    def _no_number(self) -> QuantityError:
        first = self.body[:1]
        if not self.body.strip():
            return self.refuse("There is a sign and no number.")
        if first == " " and self.body[1:2].isdigit():
            return self.refuse("There is a space after the sign.", self.sign + self.body.strip())
        if first and first in "~≈<>≤≥":
            return self.refuse(f"{quoted(first)} is not a value; give the number itself.")
        return self.refuse(f"{quoted(self.body)} does not start with a number.")
