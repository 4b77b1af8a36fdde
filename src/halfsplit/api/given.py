"""What a program gives, checked before anything is stored, and refusals in a program's words."""

from __future__ import annotations

import functools
import math
import operator
import re
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from numbers import Real
from typing import Any, NoReturn, ParamSpec, TypeVar

from halfsplit.problems import HalfsplitError, Problem, ProblemsError

P = ParamSpec("P")
T = TypeVar("T")

# A number has no last digit, so one is taken as a meter of this many counts shows it: the usual
# hand-held one, as in the profile `digital`. Finest digit (power of ten) it shows of each quantity.
COUNTS = 6000
FINEST = {"ohms": -1, "frequency": -2, "degC": 0}
USUAL_FINEST = -3
SUFFIX = {"frequency": "Hz", "amps": "A", "degC": "degC"}
HUGE = 1e18  # beyond what any value may be; the reader of values says so

# Words of the command line in refusals, and what a program writes instead.
SPOKEN = (
    (r"`?observe FILE --part (\S+) --sign ([\w-]+)`?", r'observe("\2", "\1")'),
    (r"--part (\S+) --touched", r'touched("\1")'),
    (r"--part (\S+) --found (\S+)", r'found("\1", "\2")'),
    (r"--part (\S+) --sign as-drawn", r'look("\1", True)'),
    (r"--part (\S+) --sign not-as-drawn", r'look("\1", False)'),
    (r"--part (\S+) --sign ([\w-]+)", r'observe("\2", "\1")'),
    (r"--part (\S+) --good", r'tested("\1", True)'),
    (r"`?(?:halfsplit )?undo FILE (\d+)`?", r"undo(\1)"),
    (r"halfsplit meter FILE --kind (\S+),", r'meter="\1",'),
    (r"`?change FILE --feed …`?", "condition(feed=…)"),
    (r"`?change FILE ([^`]+)`?", r'change("\1")'),
    (r"--feed, as", "feed=…, as"),
    (r"--diode asks", "this asks"),
    (r"^--kind (\S+)$", r'use_meter("\1")'),
    (r"^(\S+)=30$", r'weigh("\1", 30)'),
    (r"^--counts (\d+)$", r"counts=\1"),
    (r"--([a-z]\w*)-?(\w*) ([^\s,;]+)", lambda m: f"{_name(m[1], m[2])}={_quoted(m[3])}"),
    (r"--([a-z]\w*)-?(\w*)", lambda m: f"{_name(m[1], m[2])}=…"),
)
PAST = {"": "", "sure": ", or add sure=True if it is so", "anyway": ', or add anyway="reason"'}


def _name(first: str, second: str) -> str:
    return f"{first}_{second}" if second else first


def _quoted(value: str) -> str:
    return value if value.startswith('"') else f'"{value}"'


def spoken(text: str) -> str:
    """A refusal in a program's words."""
    for pattern, instead in SPOKEN:
        text = re.sub(pattern, instead, text)
    return text


def _said(problem: Problem) -> Problem:
    instead = spoken(problem.instead) + PAST[problem.past]
    return replace(problem, wrong=spoken(problem.wrong), instead=instead, past="")


def in_python(method: Callable[P, T]) -> Callable[P, T]:
    """A method whose refusals name what to write in Python."""

    @functools.wraps(method)
    def told(*args: P.args, **named: P.kwargs) -> T:
        try:
            return method(*args, **named)
        except ProblemsError as error:
            raise ProblemsError([_said(p) for p in error.problems]) from error
        except HalfsplitError as error:
            error.args = (spoken(str(error)),)
            raise

    return told


def refuse(where: str, wrong: str, instead: str) -> NoReturn:
    """Raise ProblemsError."""
    raise ProblemsError([Problem("", 0, 0, where, wrong, instead)])


def text(where: str, value: object, example: str) -> str:
    """`value`, which must be text with something in it. Raises ProblemsError."""
    if not isinstance(value, str):
        refuse(where, f"{_shown(value)} is no text", example)
    if not value.strip():
        refuse(where, "there is nothing in this text", example)
    return value


def maybe(where: str, value: object, example: str) -> str | None:
    """`value`, which must be text or None."""
    return None if value is None else text(where, value, f"{example}, or leave it out")


def yes_no(where: str, value: object) -> bool:
    """`value`, which must be True or False, numpy's own let through. Raises ProblemsError."""
    if type(value).__name__ not in ("bool", "bool_"):
        refuse(where, f"{_shown(value)} is neither True nor False", "True or False")
    return bool(value)


def whole(where: str, value: object, example: str, least: int = 1) -> int:
    """`value`, which must be a whole number of at least `least`. Raises ProblemsError."""
    try:
        found = operator.index(value)  # type: ignore[arg-type]
    except TypeError:
        found = least - 1
    if found < least or type(value).__name__ in ("bool", "bool_"):
        refuse(where, f"{_shown(value)} is no whole number from {least} up", example)
    return found


def number(where: str, value: object, example: str) -> float:
    """`value`, which must be a number that is neither infinite nor NaN. Raises ProblemsError."""
    try:
        found = float(value) if isinstance(value, Real) else math.nan
    except OverflowError:
        found = math.inf
    if isinstance(value, bool) or not math.isfinite(found):
        refuse(where, f"{_shown(value)} is no number that can be used", example)
    return found


def measure(where: str, value: object, unit: str, example: str) -> str | None:
    """A setting as typed: text as it is, a number in `unit`, None where none was given."""
    if value is None or isinstance(value, str):
        return maybe(where, value, example)
    found = number(where, value, example)
    return f"{100.0 * found:.9g}%" if unit == "%" else f"{found:.9g}{unit}"


def reading(value: object, quantity: str) -> str:
    """What a meter showed, as text. Raises ProblemsError."""
    if isinstance(value, str):
        return value
    over = ' or "OL" for over range' if quantity in ("ohms", "diode") else ""
    found = number("value", value, f'a number, or text as the meter shows it: "4.99"{over}')
    return as_shown(found, FINEST.get(quantity, USUAL_FINEST)) + SUFFIX.get(quantity, "")


def as_shown(value: float, finest: int) -> str:
    """A number as a meter of COUNTS shows it, or with its own digits, six at most, where those are
    more."""
    if abs(value) > HUGE:
        return f"{value:.6g}"
    own = Decimal(f"{value + 0.0:.6g}")
    step = finest
    while abs(own) >= Decimal(COUNTS).scaleb(step):
        step += 1
    last = min(step, int(own.as_tuple().exponent))
    return f"{own:.{max(-last, 0)}f}"


def _shown(value: object) -> str:
    """What was given, short enough for a sentence."""
    try:
        said: Any = repr(value)
    except Exception:  # a repr may do anything, int's own refuses above 4300 digits
        said = f"this {type(value).__name__}"
    return said if len(said) <= 60 else f"{said[:57]}…"
