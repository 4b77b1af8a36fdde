"""What is typed into one field at the bench: a reading, and where it was taken if that is said."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from halfsplit.bench.example import reading_example
from halfsplit.bench.words import UNITS, reading_words
from halfsplit.problems import Problem, ProblemsError
from halfsplit.quantity import QuantityError, Unit, parse_reading

if TYPE_CHECKING:
    from halfsplit.bench.noting import Noter
    from halfsplit.journal import Entry

QUANTITIES = ("volts", "ac", "ripple", "frequency", "amps", "ohms", "diode")


@dataclass(frozen=True)
class Typed:
    """A reading as typed.

    Attributes
    ----------
    text: what the meter showed. at: where the red lead was; a part for amperes. other: the black
    lead's net, "" for common. quantity: one of `QUANTITIES`. meter: name of the ohmmeter, "" for
    the usual one. sure: whether a reading far too large was meant. instrument: which meter sent it,
    where nobody typed it.
    """

    text: str
    at: str
    other: str = ""
    quantity: str = "volts"
    meter: str = ""
    sure: bool = False
    instrument: Mapping[str, Any] | None = None


def placed(bench: Noter, typed: Typed) -> Typed:
    """The reading with its place and its value told apart.

    ``4.98`` is read at the place named beside the field; ``p5 4.98``, ``p5=4.98`` and
    ``p1:p12=0.41`` name their own.
    """
    head, sign, rest = typed.text.partition("=")
    if not sign:
        unit: Unit = UNITS.get(typed.quantity, "V")
        try:
            parse_reading(typed.text, unit)
            return typed
        except QuantityError:
            head, sign, rest = typed.text.strip().partition(" ")
        known = _part if typed.quantity == "amps" else bench.assembly.find_net
        if not sign or not all(known(name) for name in head.split(":")):
            return typed
    at, _, other = head.strip().partition(":")
    return replace(typed, text=rest.strip(), at=at, other=other)


def _part(name: str) -> str:
    return name if any(c.isdigit() for c in name) and name[:1].isalpha() else ""


def heard(bench: Noter, typed: Typed) -> dict[str, Any]:
    """What would be stored: `words`, the `condition` it is of, and the reading's `body`.

    Raises ProblemsError or NotFoundError as storing it would.
    """
    body = _body(bench, placed(bench, typed))
    words = reading_words(bench.assembly, body)
    return {"words": words, "condition": bench.condition.words(), "body": body}


def store(bench: Noter, typed: Typed, key: str | None = None) -> Entry:
    """Store a reading as typed; the same `key` stores it once."""
    entry: Entry = _verbs(bench, placed(bench, typed), key)[1]()
    return entry


def _body(bench: Noter, typed: Typed) -> dict[str, Any]:
    body: dict[str, Any] = _verbs(bench, typed, None)[0]()
    return body


def _verbs(
    bench: Noter, typed: Typed, key: str | None
) -> tuple[Callable[[], Any], Callable[[], Any]]:
    """How to check this reading, and how to store it."""
    kind: Any = typed.quantity
    if kind not in QUANTITIES:
        wrong = f"there is no quantity {kind}"
        raise ProblemsError([Problem("", 0, 0, "", wrong, ", ".join(QUANTITIES))])
    if not typed.at:
        like = reading_example(bench.assembly)
        raise ProblemsError([Problem("", 0, 0, "", "says not where it was read", like)])
    if kind == "amps":
        return (
            lambda: bench.reading_current(typed.at, typed.text),
            lambda: bench.read_current(typed.at, typed.text, key=key, instrument=typed.instrument),
        )
    meter = None
    if kind in ("ohms", "diode"):
        from halfsplit.bench.dead import find_ohmmeter

        meter = find_ohmmeter(typed.meter or None, kind == "diode")
    named: dict[str, Any] = {
        "against": typed.other or None,
        "ohmmeter": meter,
        "sure": typed.sure,
    }
    flags: dict[str, Any] = {name: True for name in ("ripple", "ac", "frequency") if name == kind}
    return (
        lambda: bench.reading(typed.at, typed.text, kind, **named),
        lambda: bench.read(
            typed.at, typed.text, key=key, instrument=typed.instrument, **named, **flags
        ),
    )
