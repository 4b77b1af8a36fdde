"""A part in a few words, as a parts list has it: ``R6 2k2 1%`` or ``C1 33000u 16V``.

The first word is the reference. Then, in any order: a kind or a catalogue type, the value, and
whatever else its own unit tells (1 % tolerance, 0.5W power, 16V rating, 20mohm series resistance).
"""

from __future__ import annotations

import typing
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from halfsplit.assembly.advice import near
from halfsplit.parts import catalogue
from halfsplit.parts import kinds as _kinds
from halfsplit.parts.base import REGISTRY, Part

assert _kinds  # importing it fills the registry
# Fields a word may fill, the first that can read it; the value of its kind comes before these.
BY_UNIT = ("tolerance", "set", "power", "volts", "amps", "esr", "resistance", "ripple")
# What stands in the place of a value where a kind has none.
MAIN = {"fuse": "amps", "supply": "volts", "mains": "volts", "relay": "coil", "fan": "volts"}
# Kinds whose rows in the catalogue serve for one another.
ALIKE = ({"diode", "rectifier"},)


class WordError(ValueError):
    """A word that cannot be placed; carries what to write instead."""

    def __init__(self, wrong: str, instead: str = "") -> None:
        super().__init__(wrong)
        self.instead = instead


@dataclass(frozen=True)
class ShortLine:
    """A reference and what its words say, with the word each field came from (by place)."""

    ref: str
    fields: dict[str, str]
    at: dict[str, int]


def words(text: str) -> list[str]:
    """The words of a short line."""
    return text.split()


@cache
def _adapter(kind: type[Part], field: str) -> TypeAdapter[Any]:
    info = kind.model_fields[field]
    annotation: Any = info.annotation
    for mark in info.metadata:
        annotation = typing.Annotated[annotation, mark]
    return TypeAdapter(annotation)


def reads(kind: type[Part], field: str, word: str) -> bool:
    """Whether a field of a kind can take a word."""
    try:
        _adapter(kind, field).validate_python(word)
    except (ValidationError, ValueError):
        return False
    return True


def _choices(kind: type[Part]) -> Iterator[tuple[str, str]]:
    """Words a kind knows by themselves, such as wirewound or T, and their fields."""
    for name, info in kind.model_fields.items():
        if name in ("kind", "confidence"):
            continue
        for option in typing.get_args(info.annotation):
            if isinstance(option, str):
                yield option, name


def serves(row_kind: str, kind: str) -> bool:
    """Whether a catalogue row of one kind may stand in a place drawn for another."""
    return row_kind == kind or any({row_kind, kind} <= group for group in ALIKE)


def main_field(kind: type[Part]) -> str:
    """The field its bare value goes to; "" when it has none."""
    return "value" if "value" in kind.model_fields else MAIN.get(kind.KIND, "")


def short_line(text: str, kind_name: str) -> ShortLine:
    """Read a short line for a place drawn for a kind. Raises WordError."""
    listed = words(text)
    if not listed:
        raise WordError("no reference stands here", "a reference, such as R13")
    fields: dict[str, str] = {}
    at: dict[str, int] = {}
    rest: list[tuple[int, str]] = []
    for place, word in enumerate(listed[1:], 1):
        if word in REGISTRY.kinds:
            fields["kind"], at["kind"] = word, place
            kind_name = word
        else:
            rest.append((place, word))
    for place, word in list(rest):
        row = catalogue.load().get(word)
        drawn = REGISTRY.kinds.get(kind_name)
        if row is None or (drawn is not None and not serves(row.kind, drawn.KIND)):
            continue
        fields["type"], at["type"] = word, place  # "7805" is never a value where it is a type
        rest.remove((place, word))
    kind = REGISTRY.kinds.get(kind_name)
    if kind is None:
        raise WordError(f"there is no kind `{kind_name}`", near(kind_name, REGISTRY.kinds))
    for place, word in rest:
        field = _field_of(kind, word, fields)
        if field is None:
            wrong = f"`{word}` is not understood of a part of kind {kind.KIND}"
            more = f"{listed[0]}: {{…}} beside it, with the field by name"
            close = near(word, [*REGISTRY.kinds, *(w for w, _ in _choices(kind))])
            raise WordError(wrong, f"{close}, or {more}" if close else more)
        fields[field], at[field] = word, place
    return ShortLine(listed[0], fields, at)


def _field_of(kind: type[Part], word: str, taken: dict[str, str]) -> str | None:
    for option, name in _choices(kind):
        if word == option and name not in taken:
            return name
    main = main_field(kind)
    if main and main not in taken and reads(kind, main, word):
        return main
    for name in BY_UNIT:  # a bare number there would be a guess
        named = name in kind.model_fields and name not in taken and not word[-1].isdigit()
        if named and reads(kind, name, word):
            return name
    return None
