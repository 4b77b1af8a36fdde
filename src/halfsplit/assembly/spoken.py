"""A part said in words, and its entry in the file said back in words.

As :mod:`halfsplit.assembly.shortline`, and besides ``field=value`` for what no bare word can say:
``R12`` with ``4k7 1% page=3 note="read badly"``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from halfsplit.assembly.designator import ASK, ELECTROLYTIC, FILM, KINDS, letters
from halfsplit.assembly.pattern import put
from halfsplit.assembly.shortline import (
    BY_UNIT,
    ShortLine,
    WordError,
    main_field,
    reads,
    short_line,
)
from halfsplit.parts import catalogue
from halfsplit.parts.base import REGISTRY, Part
from halfsplit.parts.house import HouseNumber
from halfsplit.quantity import QuantityError, parse

_WORD = re.compile(r"""([A-Za-z_][\w.]*)=("(?:[^"\\]|\\.)*"|\S*)|(\S+)""")


def split(text: str) -> tuple[list[str], dict[str, str]]:
    """Bare words, and what is said by ``field=value``."""
    bare: list[str] = []
    named: dict[str, str] = {}
    for field, value, word in _WORD.findall(text):
        if word:
            bare.append(word)
        else:
            quoted = len(value) > 1 and value[0] == value[-1] == '"'
            named[field] = re.sub(r"\\(.)", r"\1", value[1:-1]) if quoted else value
    return bare, named


def kind_of(
    ref: str, bare: Iterable[str], named: Mapping[str, str], house: Mapping[str, HouseNumber]
) -> tuple[str, bool]:
    """Kind of a part by its words, and whether it was only guessed from the reference.

    Raises WordError with what to write where neither tells.
    """
    listed = list(bare)
    if named.get("kind"):
        return named["kind"], False
    for word in listed:
        if word in REGISTRY.kinds:
            return word, False
    for word in [named.get("type", ""), *listed]:
        row = typed_row(word, house)
        if word and row is not None and row.modelled:
            return row.kind, False
    first = letters(ref)
    found = [k for k in KINDS.get(first, ()) if _reads_all(ref, listed, k)]
    if first == "C" and found:
        found = [_capacitor(listed)]
    if found:
        return found[0], True
    if first in KINDS:
        return KINDS[first][0], True  # what is wrong with the words is said of that
    wrong = f"{ref} does not say what sort of part it is" if ref else "no reference stands here"
    raise WordError(wrong, ASK.get(first, "its kind first, such as resistor, zener or npn"))


def typed_row(word: str, house: Mapping[str, HouseNumber]) -> Any:
    """Catalogue row a word names, by an in-house marking too; None for none."""
    if not word:
        return None
    known = house.get(catalogue.same(word))
    return catalogue.load().get(word) or (catalogue.load().get(known.type) if known else None)


def _reads_all(ref: str, words: list[str], kind: str) -> bool:
    try:
        short_line(" ".join([ref, *words]), kind)
    except WordError:
        return False
    return True


def _capacitor(words: list[str]) -> str:
    for word in words:
        try:
            value = parse(word, "F")
        except QuantityError:
            continue
        return (
            "electrolytic"
            if value >= ELECTROLYTIC
            else "film-capacitor"
            if value >= FILM
            else "ceramic-capacitor"
        )
    return "electrolytic"


def fields_of(
    ref: str, text: str, house: Mapping[str, HouseNumber]
) -> tuple[dict[str, Any], str, bool]:
    """What the words of a part say: its fields but for terminals, its kind, whether guessed.

    The kind is among the fields unless a catalogue type tells it. Raises WordError.
    """
    return fields_said(ref, *split(text), house)


def fields_said(
    ref: str, bare: list[str], named: Mapping[str, str], house: Mapping[str, HouseNumber]
) -> tuple[dict[str, Any], str, bool]:
    """As :func:`fields_of`, words and named fields apart."""
    bare = list(bare)
    kind, guessed = kind_of(ref, bare, named, house)
    if kind not in REGISTRY.kinds:
        raise WordError(f"there is no kind `{kind}`", "one of " + ", ".join(REGISTRY.kinds))
    fields: dict[str, Any] = {}
    marked = next((w for w in bare if _is_type(w, kind, house)), None)
    if marked is not None:
        fields["type"] = marked
        bare.remove(marked)
    try:
        line = short_line(" ".join([ref or "?", *bare]), kind) if bare else ShortLine(ref, {}, {})
    except WordError as error:
        by_name = "the field by its name, field=value"
        close = error.instead.partition(", or ")[0] if ", or " in error.instead else ""
        raise WordError(str(error), f"{close}, or {by_name}" if close else by_name) from None
    fields |= line.fields
    for field, value in named.items():
        put(fields, field, value)
    row = typed_row(str(fields.get("type", "")), house)
    if "kind" not in fields and not (row is not None and row.kind == kind):
        fields = {"kind": kind, **fields}
    return fields, kind, guessed


def _is_type(word: str, kind: str, house: Mapping[str, HouseNumber]) -> bool:
    """Whether a word is an in-house marking; catalogue types the short line reads itself."""
    return catalogue.same(word) in house and catalogue.load().get(word) is None


def words_of(
    ref: str, entry: Mapping[str, Any], ends: Iterable[str], house: Mapping[str, HouseNumber]
) -> str:
    """Words that say an entry's fields but for its terminals; read back they say just these.

    Bare words where they do, as a parts list has it, else ``field=value``.
    """
    left = set(ends)
    fields = {str(k): v for k, v in entry.items() if str(k) not in left}
    short = _bare(fields)
    try:
        back, _, _ = fields_of(ref, short, house)
    except WordError:
        back = {}
    if back == {k: _text(v) for k, v in fields.items()}:
        return short
    return " ".join(_named("", fields))


def _text(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(k): _text(v) for k, v in value.items()}
    return str(value).lower() if isinstance(value, bool) else str(value)


def _bare(fields: Mapping[str, Any]) -> str:
    name = str(fields.get("kind", ""))
    row = catalogue.load().get(str(fields.get("type", "")))
    kind = REGISTRY.kinds.get(name or (row.kind if row else ""))
    first, rest = [], []
    for field, value in fields.items():
        text = _text(value)
        if field in ("kind", "type") and isinstance(text, str) and text.split() == [text]:
            first.append(text)
        elif kind is not None and isinstance(text, str) and _says(kind, field, text):
            rest.append(text)
        else:
            rest += _named("", {field: value})
    return " ".join([*first, *rest])


def _says(kind: type[Part], field: str, text: str) -> bool:
    if text.split() != [text] or "=" in text:
        return False
    main = main_field(kind)
    return field == main or (field in BY_UNIT and reads(kind, field, text))


def _named(head: str, fields: Mapping[str, Any]) -> list[str]:
    found = []
    for field, value in fields.items():
        name = f"{head}{field}"
        if isinstance(value, Mapping):
            found += _named(f"{name}.", value)
            continue
        text = str(_text(value))
        plain = text and text.split() == [text] and '"' not in text
        escaped = text.replace("\\", "\\\\").replace('"', '\\"')
        found.append(f"{name}={text}" if plain else f'{name}="{escaped}"')
    return found
