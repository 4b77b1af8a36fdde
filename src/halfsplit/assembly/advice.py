"""Plain words for what is wrong in a file: nearest names, YAML faults, field faults."""

from __future__ import annotations

import difflib
import types
import typing
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from halfsplit.parts.base import Part
from halfsplit.parts.yaml_text import BLOCK, FLOW
from halfsplit.quantity import QuantityError

# Two suggestions only when the second is about as close as the first.
_CLOSE = 0.55
_SECOND = 0.08
NAMED = 8  # names listed where none is close; more are not read

# What people write for a terminal or a kind, and what it is called here.
_TERMINALS = {
    "collector": ("c",), "base": ("b",), "emitter": ("e",), "anode": ("a",), "cathode": ("k",),
    "gate": ("g",), "+": ("pos", "plus"), "positive": ("pos", "vpos"), "plus": ("pos",),
    "-": ("neg", "minus"), "negative": ("neg", "vneg"), "minus": ("neg",), "input": ("in",),
    "output": ("out",), "common": ("com",), "ground": ("com",), "gnd": ("com",), "adj": ("com",),
    "adjust": ("com",), "slider": ("wiper",), "w": ("wiper",), "l": ("live",), "n": ("neutral",),
    "1": ("a",), "2": ("b",), "vcc": ("vpos",), "vee": ("vneg",),
}  # fmt: skip
_KINDS = {
    "transistor": "npn or pnp", "thyristor": "scr", "trimmer": "potentiometer",
    "pot": "potentiometer", "rheostat": "potentiometer", "choke": "inductor", "coil": "inductor",
    "battery": "supply", "source": "supply", "cap": "electrolytic, tantalum or film-capacitor",
    "capacitor": "electrolytic, tantalum, ceramic-capacitor or film-capacitor", "led": "diode",
    "op-amp": "opamp", "tube": "triode, pentode or tube-rectifier", "heptode": "pentode",
    "valve": "triode, pentode or tube-rectifier", "tetrode": "pentode",
    "vr-tube": "gas-tube", "stabiliser": "gas-tube", "selenium-rectifier": "selenium",
}  # fmt: skip

# What the YAML reader says (a piece of it) -> what to tell a person, what to write.
_YAML = (
    (FLOW, FLOW, "key: value lines"),
    (BLOCK, BLOCK, "key: value lines"),
    ("duplicate key", "{key} stands twice in one section", "each name once"),
    ("'\\t'", "a tab is used to indent", "spaces"),
    ("another document", "a second document begins here", "one machine a file, without `---`"),
    ("undefined alias", "a value beginning with `*` is a YAML alias", "the text in quotes"),
    ("mapping values are not allowed", "a second colon on one line", "the text in quotes"),
    ("expected ',' or", "a comma is missing here, or the bracket before it is not closed",
     "{key: value, key: value}"),
    ("could not find expected ':'", "this line has no colon after its name", "name: value"),
    ("expected <block end>", "the indentation does not match the lines above",
     "the line as far in as its neighbours"),
    ("'<stream end>'", "the file ends in the middle of an entry", "the rest of the entry"),
    ("end of stream", "quotes opened here are never closed", "the closing quote"),
    ("cannot start any token", "a value cannot begin with this character", "the text in quotes"),
)  # fmt: skip


class WrongRecord(ValueError):
    """Values of a record that do not fit together; for the user, with `instead` what to write."""

    def __init__(self, wrong: str, instead: str = "") -> None:
        super().__init__(wrong)
        self.instead = instead


def near(word: object, known: Iterable[object]) -> str:
    """Advice naming the one or two closest known words, case ignored; "" when none is close."""
    folded = {str(k).lower(): str(k) for k in reversed(list(known))}
    text = str(word).lower()[:80]
    close = difflib.get_close_matches(text, list(folded), n=2, cutoff=_CLOSE)
    ratio = [difflib.SequenceMatcher(None, k, text).ratio() for k in close]
    return " or ".join(
        folded[k] for k, r in zip(close, ratio, strict=True) if r > ratio[0] - _SECOND
    )


def near_or_all(word: object, known: Iterable[object]) -> str:
    """The closest known words, or all of them when none is close."""
    words = [str(k) for k in known]
    return near(word, words) or (f"one of {', '.join(words)}" if words else "")


def hint(word: object, known: Iterable[object]) -> str:
    """How a refusal of a name ends: the closest known one, or the first few of them."""
    words = list(dict.fromkeys(str(k) for k in known))
    close = near(word, words)
    few = f"; there are {', '.join(words[:NAMED])}" + (" …" if len(words) > NAMED else "")
    return f"; did you mean {close}?" if close else few if words else ""


def near_kind(word: object, kinds: Iterable[str]) -> str:
    """Part kind most likely meant."""
    if isinstance(word, str):
        return _KINDS.get(word.lower()) or near_or_all(word, kinds)
    return f"one of {', '.join(kinds)}"


def yaml_words(said: str, key: str) -> tuple[str, str]:
    """What is wrong and what to write, from the YAML reader's own words."""
    for piece, wrong, instead in _YAML:
        if piece in said:
            return wrong.replace("{key}", f"`{key}`"), instead
    return f"not readable as YAML: {said}", "key: value, indented with spaces"


def shown(value: object) -> str:
    """A value from the file, short enough for a message and spelt as YAML spells it."""
    if isinstance(value, Mapping):
        return "a group of `key: value`"
    if isinstance(value, (list, tuple)):
        return "a list"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    text = str(value)
    return f"`{text if len(text) <= 40 else text[:40] + '…'}`"


def at(value: object, location: Iterable[object]) -> object:
    """What the file has at a location below `value`, or None."""
    for step in location:
        if not isinstance(value, Mapping):
            return None
        # A pin written 5: is a whole number to YAML, and a location names it as text.
        value = next((v for k, v in value.items() if str(k) == str(step)), None)
    return value


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if typing.get_origin(annotation) in (dict, typing.Union, types.UnionType):
        return next(filter(None, map(_model_in, typing.get_args(annotation))), None)
    return None


def _descend(kind: type[BaseModel], location: list[str]) -> type[BaseModel]:
    """Record type that holds the last step of a location."""
    for step in location[:-1]:
        info = _fields(kind).get(step)
        inner = _model_in(info.annotation) if info else None
        kind = inner or kind
    return kind


def _fields(kind: type[BaseModel]) -> dict[str, FieldInfo]:
    return {f.alias or n: f for n, f in kind.model_fields.items() if n != "ref"}


def example(kind: type[BaseModel], name: str) -> str:
    """Something that could stand after `name:`, from the field's own description."""
    info = _fields(kind).get(name)
    if info is None:
        return "…"
    if info.examples:
        return str(info.examples[0])
    for mark in info.metadata:
        words = (getattr(mark, "json_schema", None) or {}).get("description", "")
        if "such as " in words:
            return f"<such as {words.partition('such as ')[2]}>"
        if words == "net name":
            return "<net>"
    choices = typing.get_args(info.annotation)
    if choices and all(isinstance(c, str) for c in choices):
        return " or ".join(choices)
    return "…"


_NUMBERS = {"greater_than": ("gt", "more than"), "greater_than_equal": ("ge", "at least"),
            "less_than": ("lt", "less than"), "less_than_equal": ("le", "at most")}  # fmt: skip
_SHAPES = {
    "bool": ("is neither true nor false", "true or false"),
    "int": ("is not a whole number", "a whole number, such as 1974"),
    "float": ("is not a plain number", "a number without unit or prefix, such as 120"),
    "finite": ("is not a plain number", "a number without unit or prefix, such as 120"),
    "string": ("is not text", "it in quotes"),
    "dict": ("stands where `name: {…}` entries belong", "{name: {key: value}}"),
    "model": ("stands where `key: value` entries belong", "{key: value, key: value}"),
}


def _unknown(kind: type[BaseModel], name: str, value: object) -> tuple[str, str]:
    fields = _fields(kind)
    if not issubclass(kind, Part):
        return f"there is no `{name}` here", near_or_all(name, fields)
    wrong = f"`{name}` is not something a part of kind {kind.KIND} has"
    if kind.TERMINALS:
        wrong += f" (terminals: {', '.join(kind.TERMINALS)})"
    meant = [t for t in _TERMINALS.get(name.lower(), ()) if t in kind.TERMINALS]
    unset = [t for t in kind.TERMINALS if not (isinstance(value, Mapping) and t in value)]
    advice = " or ".join(meant) or near(name, fields)
    return wrong, advice or (unset[0] if len(unset) == 1 else "")


def field_words(
    kind: type[BaseModel], errors: Iterable[Any], value: Mapping[str, Any]
) -> list[tuple[str, str, str]]:
    """(dotted place, what is wrong, what to write) of each validation error of one record.

    A field that is missing only because its name is misspelt is not reported twice.
    """
    found: list[tuple[str, str, str]] = []
    advised: set[str] = set()
    for item in sorted(errors, key=lambda e: e["type"] != "extra_forbidden"):
        location = [str(step) for step in item["loc"] if step != "[key]"]
        holder = _descend(kind, location)
        path = ".".join(location)
        if item["type"] == "extra_forbidden":
            wrong, instead = _unknown(holder, location[-1], at(value, location[:-1]))
            advised.add(".".join([*location[:-1], instead]))
        elif item["type"] == "missing" and path in advised:
            continue
        else:
            raw = location[-1] if "[key]" in item["loc"] else at(value, location)
            wrong, instead = _one(holder, item, location, raw)
        found.append((path, wrong, instead))
    return found


def _one(kind: type[BaseModel], item: Any, location: list[str], raw: object) -> tuple[str, str]:
    kind_of = item["type"]
    limits = item.get("ctx") or {}
    cause = limits.get("error")
    name = location[-1] if location else ""
    sample = f"{name}: {example(kind, name)}"
    if kind_of == "missing":
        terminal = issubclass(kind, Part) and name in kind.TERMINALS
        return f"the {'terminal' if terminal else 'value'} `{name}` is missing", sample
    if raw is None and location:
        optional = name in _fields(kind) and not _fields(kind)[name].is_required()
        return f"nothing stands after `{name}:`", sample + (", or leave it out" if optional else "")
    if isinstance(cause, QuantityError):
        return f"“{cause.text}”: {cause.wrong}", cause.instead
    if isinstance(cause, WrongRecord):
        return str(cause), cause.instead
    if isinstance(cause, ValueError):
        if isinstance(raw, (bool, list, Mapping)) and location:
            return f"{shown(raw)} is no value for `{name}`", sample
        return str(cause), ""
    if kind_of in ("literal_error", "enum"):
        wanted = str(limits.get("expected", "")).replace("'", "")
        return f"{shown(raw)} is not one of the choices", wanted
    if kind_of in _NUMBERS:
        key, words = _NUMBERS[kind_of]
        bound = f"{words} {limits[key]:g}"
        return f"{shown(raw)} must be {bound}", f"{name}: <a number {bound}>"
    if kind_of == "too_short":
        least = limits["min_length"]
        entries = "entry" if least == 1 else "entries"
        return f"`{name}` needs at least {least} {entries}", f"{name}: [<entry>, …]"
    for start, (wrong, instead) in _SHAPES.items():
        if kind_of.startswith(start):
            return f"{shown(raw)} {wrong}", instead
    return f"{shown(raw)}: {item['msg'].lower()}", ""
