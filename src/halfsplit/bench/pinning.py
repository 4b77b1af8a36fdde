"""Putting pictures of a machine beside its file, and pinning on them what is where."""

from __future__ import annotations

import io
import threading
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq

from halfsplit.assembly.model import Assembly
from halfsplit.assembly.text import TextError, read_text
from halfsplit.bench.pictures_in import keep_picture, put_whole
from halfsplit.bench.pins_file import Picture, Pin, Pins, fault, load_pins
from halfsplit.parts.yaml_text import keeping
from halfsplit.problems import HalfsplitError, NotFoundError, Problem, ProblemsError

_HEAD = """\
# Where nets, parts and points are on the pictures in the folder beside this file.
# x from the left, y from the top, as shares of the picture.
"""
_WRITING = threading.Lock()  # pages of one program; two programs are kept apart by the journal


def add_picture(assembly: Assembly, data: bytes, title: str = "") -> tuple[str, Picture]:
    """Take in a picture; returns the name pins use for it, and its record.

    `title` is for people only. The same picture again is the one there was.
    Raises ProblemsError for what is no picture or when the file of pins has errors, HalfsplitError
    when it cannot be written. On disk when this returns.
    """
    with _WRITING:
        pins = _usable(assembly)
        kept = keep_picture(data, pins.folder)
        for name, there in pins.pictures.items():
            if there.file == kept.file:
                return name, there
        number = 1 + len(pins.pictures)
        while f"picture-{number}" in pins.pictures:
            number += 1
        name = f"picture-{number}"
        words = "".join(c for c in title if c.isprintable()).strip()[:80]
        size = {"width": kept.width, "height": kept.height}
        entry: dict[str, Any] = {"file": kept.file, **size} | ({"title": words} if words else {})
        document = _document(pins)
        _section(document, "pictures", CommentedMap)[name] = _flow(entry)
        _put(pins, document)
        return name, Picture(**entry)


def remove_picture(assembly: Assembly, name: str) -> None:
    """Take a picture and its pins out of the file; the picture itself stays in the folder.

    Raises NotFoundError, ProblemsError or HalfsplitError.
    """
    with _WRITING:
        pins = _usable(assembly)
        if name not in pins.pictures:
            raise NotFoundError(f"there is no picture {name}")
        document = _document(pins)
        del document["pictures"][name]
        listed = document.get("pins")
        for k in reversed(range(len(listed or ()))):
            if str(listed[k]["picture"]) == name:
                del listed[k]
        _put(pins, document)


def put_pin(
    assembly: Assembly,
    picture: str,
    x: float,
    y: float,
    *,
    net: str | None = None,
    part: str | None = None,
    point: str | None = None,
    terminal: str | None = None,
    note: str = "",
) -> Pin:
    """Pin a net, part or point; on disk when this returns.

    The same thing pinned again within a hundredth of the picture moves the pin.
    Raises ProblemsError when the pin is wrong or the file has errors, HalfsplitError when it cannot
    be written.
    """
    fields: dict[str, Any] = {"picture": picture, "x": round(x, 4), "y": round(y, 4)}
    named = {"net": net, "part": part, "point": point, "terminal": terminal}
    fields |= {k: v for k, v in named.items() if v is not None}
    if note:
        fields["note"] = "".join(c for c in note if c.isprintable())[:200]
    try:
        pin = Pin(**fields)
    except ValueError as error:
        wrong = f"this is no pin: {_first_words(error)}"
        raise ProblemsError([Problem("", 0, 0, "pin", wrong, "x and y from 0 to 1")]) from error
    with _WRITING:
        pins = _usable(assembly)
        wrong, instead, at = fault(assembly, list(pins.pictures), pin)
        if wrong:
            raise ProblemsError([Problem("", 0, 0, at, wrong, instead)])
        document = _document(pins)
        listed: Any = _section(document, "pins", CommentedSeq)
        for k in reversed(range(len(listed))):
            if _same_place(pins.pins[k], pin):
                del listed[k]
        listed.append(_flow(fields))
        _put(pins, document)
    return pin


def remove_pin(assembly: Assembly, pin: Pin) -> None:
    """Take a pin out. Raises NotFoundError when it is not there, ProblemsError, HalfsplitError."""
    with _WRITING:
        pins = _usable(assembly)
        if pin not in pins.pins:
            raise NotFoundError("this pin is not there any more")
        document = _document(pins)
        del document["pins"][pins.pins.index(pin)]
        _put(pins, document)


def _same_place(a: Pin, b: Pin) -> bool:
    named = (a.picture, a.what, a.name, a.terminal) == (b.picture, b.what, b.name, b.terminal)
    return named and abs(a.x - b.x) < 0.01 and abs(a.y - b.y) < 0.01


def _first_words(error: ValueError) -> str:
    listed: Any = getattr(error, "errors", list)()
    return str(listed[0]["msg"]).removeprefix("Value error, ") if listed else str(error)


def _usable(assembly: Assembly) -> Pins:
    """The pins as on disk now; a file somebody is mending by hand is never written over."""
    pins, problems = load_pins(assembly)
    errors = [p for p in problems if p.severity == "error"]
    if errors:
        raise ProblemsError(errors)
    return pins


def _document(pins: Pins) -> CommentedMap:
    """The file as it is, comments and order kept, to be changed and put back."""
    try:
        text = read_text(pins.file) if pins.file.exists() else ""
    except TextError as error:
        raise ProblemsError([error.problem(pins.file)]) from None
    found = _yaml().load(text or _HEAD)
    if isinstance(found, CommentedMap):
        return found
    made = CommentedMap()
    made.yaml_set_start_comment(_HEAD.replace("# ", "").rstrip("\n"))
    return made


def _section(document: CommentedMap, name: str, kind: type[Any]) -> Any:
    if document.get(name) is None:
        document[name] = kind()
    return document[name]


def _flow(fields: dict[str, Any]) -> CommentedMap:
    entry = CommentedMap(fields)
    entry.fa.set_flow_style()
    return entry


def _yaml() -> YAML:
    yaml = keeping()
    yaml.preserve_quotes = True
    yaml.width = 4096  # an entry a line, so that changes are told line by line
    return yaml


def _put(pins: Pins, document: CommentedMap) -> None:
    out = io.BytesIO()
    _yaml().dump(document, out)
    try:
        put_whole(pins.file, out.getvalue())
    except OSError as error:
        raise HalfsplitError(
            f"{pins.file}: cannot be written: {error.strerror or error}"
        ) from error
