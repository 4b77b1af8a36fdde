"""The plain form of a file: every part on a line of its own, patterns left behind."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.nodes import MappingNode, ScalarNode

from halfsplit.assembly.file import Reader, entries, load
from halfsplit.assembly.pattern import Placed
from halfsplit.assembly.text import read_text
from halfsplit.parts import catalogue
from halfsplit.parts.base import REGISTRY
from halfsplit.parts.yaml_text import composed
from halfsplit.problems import HalfsplitError, NotFoundError, ProblemsError

GONE = ("patterns", "unless_noted")  # sections a plain file does not have
_WORD = re.compile(r"[A-Za-z0-9µΩ_.+-][\w.+/%µΩ-]*( [\w.+/%µΩ-]+)*")


def plain_text(path: Path) -> str:
    """The file with every pattern written out, comments and everything else as they were.

    Raises NotFoundError or ProblemsError for a file that does not load.
    """
    assembly, problems = load(path)
    if assembly is None:
        if "no such file" in problems[0].wrong:
            raise NotFoundError(f"{path}: there is no such file")
        raise ProblemsError(problems)
    source = read_text(path)
    reader = Reader(path)
    document = reader.read()
    root = composed(source)
    if document is None or not isinstance(root, MappingNode):
        raise HalfsplitError(f"{path} changed while it was read; run this again")
    found, placed = entries(reader, document)
    lines = [
        "",
        *(
            line
            for name, parts in placed.uses.items()
            for line in [*_above(source, reader.lines[f"patterns.{name}"][0]), *_use(name, parts)]
        ),
    ]
    edits = [(start, end, "") for name in GONE for start, end in _section(source, root, name)]
    typed = next((v for k, v in root.value if k.value == "parts"), None)
    body = "\n".join(lines) + "\n" if len(lines) > 1 else ""
    if isinstance(typed, MappingNode) and typed.value:
        edits += _noted(source, typed, found)
        if body and typed.flow_style:
            at = typed.end_mark.index - 1
            more = ", ".join(line.strip() for line in lines if ": {" in line)
            edits.append((at, at, f", {more}"))
        elif body:
            at = line_end(source, typed.value[-1][1].end_mark.index)
            edits.append((at, at, re.sub(r"^  ", " " * typed.start_mark.column, body, flags=re.M)))
    elif body:
        start = next(start for name in GONE for start, _ in _section(source, root, name))
        for start, end in _section(source, root, "parts"):
            edits.append((start, end, ""))
        start = next(start for start, _ in _section(source, root, "patterns"))
        edits.append((start, start, "parts:\n" + body.removeprefix("\n")))
    text = source
    for start, end, new in sorted(edits, key=lambda e: (e[0], e[1] > e[0]), reverse=True):
        text = text[:start] + new + text[end:]
    return text.replace("\r\n", "\n").replace("\n", "\r\n") if "\r\n" in source else text


def _section(source: str, root: MappingNode, name: str) -> list[tuple[int, int]]:
    """Where a top section stands: from its key to the next key, comments before that left out."""
    keys = [k for k, _ in root.value]
    for at, key in enumerate(keys):
        if key.value == name:
            start = int(key.start_mark.index)
            end = int(keys[at + 1].start_mark.index) if at + 1 < len(keys) else len(source)
            kept = source[start:end].splitlines(keepends=True)
            while len(kept) > 1 and kept[-1].startswith("#"):  # of the section after it
                end -= len(kept.pop())
            return [(start, end)]
    return []


def line_end(source: str, index: int) -> int:
    """Place after the last line with something on it at or before an index."""
    kept = source[:index].rstrip()
    end = source.find("\n", len(kept))
    return len(source) if end < 0 else end + 1


def _above(source: str, line: int) -> list[str]:
    """Comment lines right above a line of the file (from 1)."""
    listed = source.splitlines()
    first = line - 1
    while first > 0 and listed[first - 1].lstrip().startswith("#"):
        first -= 1
    return [f"  {text.strip()}" for text in listed[first : line - 1]]


def _use(name: str, parts: list[Placed]) -> list[str]:
    width = max((len(p.ref) for p in parts), default=0) + 1
    return [f"  # {name}", *(f"  {p.ref + ':':{width}} {written(p.entry())}" for p in parts), ""]


def written(entry: Mapping[str, Any]) -> str:
    """One entry as it is typed: kind, type, values, then terminals."""
    kind = str(entry.get("kind", ""))
    row = catalogue.load().get(str(entry.get("type", "")))
    if not kind and row is not None:
        kind = row.kind
    ends = REGISTRY.kinds[kind].TERMINALS if kind in REGISTRY.kinds else ()
    first = [k for k in ("kind", "type") if k in entry]
    middle = [k for k in entry if k not in ("kind", "type", *ends)]
    listed = [*first, *middle, *(t for t in ends if t in entry)]
    return "{" + ", ".join(f"{k}: {value_text(entry[k])}" for k in listed) + "}"


def value_text(value: Any) -> str:
    """One value as it is typed inside braces, in quotes where it would be read otherwise."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{k}: {value_text(v)}" for k, v in value.items()) + "}"
    if isinstance(value, bool):
        return str(value).lower()
    text = str(value)
    loose = isinstance(value, str) and not _same(text)
    if loose or not _WORD.fullmatch(text):
        return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return text


def _same(text: str) -> bool:
    """Whether a bare text is read back as that text."""
    try:
        read: Any = YAML(typ="safe", pure=True).load(f"[{text}]")
    except Exception:  # whatever it is, quotes help
        return False
    return bool(read == [text])


def _noted(source: str, typed: MappingNode, found: Mapping[str, Any]) -> list[tuple[int, int, str]]:
    """What holds unless noted, written on the lines of the parts it holds for."""
    edits = []
    for key, node in typed.value:
        entry = found.get(key.value)
        if not isinstance(node, MappingNode) or not isinstance(entry, Mapping):
            continue
        there = {k.value for k, _ in node.value if isinstance(k, ScalarNode)}
        more = {k: v for k, v in entry.items() if str(k) not in there}
        if not more:
            continue
        if node.flow_style:
            end = int(node.end_mark.index) - 1
            at = len(source[:end].rstrip().rstrip(","))
            edits.append((at, at, "".join(f", {k}: {value_text(v)}" for k, v in more.items())))
        else:
            first = node.value[0][0].start_mark
            line = source.rfind("\n", 0, first.index) + 1
            lead = " " * int(first.column)
            edits.append(
                (line, line, "".join(f"{lead}{k}: {value_text(v)}\n" for k, v in more.items()))
            )
    return edits


def write_plain(path: Path, to: Path) -> Path:
    """Write the plain form of a file to another, which must not be there yet, and read it back.

    Raises HalfsplitError when it is there, cannot be written or does not say the same.
    """
    text = plain_text(path)
    try:
        with to.open("x", encoding="utf-8", newline="") as stream:
            stream.write(text)
    except FileExistsError:
        raise HalfsplitError(f"{to} is there already; name a new file") from None
    except OSError as error:
        raise HalfsplitError(f"{to}: cannot be written: {error.strerror or error}") from error
    before, after = load(path)[0], load(to)[0]
    if before is None or after is None or dict(before.parts) != dict(after.parts):
        to.unlink()
        raise HalfsplitError(f"{path} could not be written as plain parts that say the same")
    return to
