"""Rows of a table as parts of a file, and parts of a file as rows of a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ruamel.yaml.comments import CommentedMap

from halfsplit.assembly.draft import Draft
from halfsplit.assembly.file import Reader, entries
from halfsplit.assembly.plain import written
from halfsplit.assembly.shortline import WordError, reads
from halfsplit.assembly.spoken import fields_said, kind_of, split, typed_row
from halfsplit.assembly.table import Table, damage, decimal_comma
from halfsplit.assembly.table_match import NETS, REF, SKIP, WORDS, Matching
from halfsplit.assembly.typed_line import part_problems
from halfsplit.parts import catalogue
from halfsplit.parts.base import REGISTRY
from halfsplit.problems import Problem

_NAMES = ("kind", "type", REF, NETS)  # cells that are names, not quantities
_WORDS = ("note", "touched", "page", "pinout", "made_of", "package", WORDS)
COMMA = "has a comma for its decimal point"


@dataclass(frozen=True)
class Row:
    """One row as a part.

    Attributes
    ----------
    line: of the text it stands on. ref: "" where none can be read. entry: what it would put in.
    what: "new", "changed", "same", or "wrong". problems: of the row, `column` the column from 1.
    """

    line: int
    ref: str
    entry: dict[str, Any]
    what: str
    problems: tuple[Problem, ...] = field(default=())

    def words(self) -> str:
        """The entry as the file would have it."""
        return written(self.entry) if self.entry else ""


def rows_of(draft: Draft, table: Table, matching: Matching, comma: bool = False) -> list[Row]:
    """Every row as a part of the file. With `comma`, a comma in a value is its decimal point.

    A row of a part that is there already changes what its cells say and leaves the rest.
    """
    first = 1 if matching.header else 0
    seen: dict[str, int] = {}
    found = []
    for cells, line in zip(table.rows[first:], table.lines[first:], strict=True):
        row = _row(draft, matching, dict(enumerate(cells)), line, comma)
        if row.ref in seen and row.ref:
            wrong = f"{row.ref} stands on line {seen[row.ref]} already"
            twice = Problem("", line, 0, row.ref, wrong, "each part once")
            row = Row(line, row.ref, row.entry, "wrong", (*row.problems, twice))
        seen.setdefault(row.ref, line)
        found.append(row)
    return found


def _row(draft: Draft, matching: Matching, cells: Mapping[int, str], line: int, comma: bool) -> Row:
    problems: list[Problem] = []
    said: dict[str, str] = {}
    at: dict[str, int] = {}

    def wrong(column: str, what: str, instead: str = "", severity: str = "error") -> None:
        place = at.get(column, -1) + 1
        problems.append(Problem("", line, place, column, what, instead, severity))

    for k, meaning in enumerate(matching.columns):
        cell = cells[k]
        if meaning == SKIP or not cell:
            continue
        at[meaning] = k
        name = meaning in _NAMES or meaning.startswith("net ") or meaning in _terminals()
        sort = "name" if name else "words" if meaning in _WORDS else "value"
        what, instead, severity = damage(cell, sort)
        if what:
            wrong(meaning, what, instead, severity)
        if not name and meaning != "note" and decimal_comma(cell):
            if comma:
                cell = cell.replace(",", ".")
            else:
                point = cell.replace(",", ".")
                wrong(meaning, f"“{cell}” {COMMA}", f"{point}, or have commas read as points")
        said[meaning] = cell
    ref = said.pop(REF, "")
    if not ref:
        wrong(REF, "the row has no reference", "R1, or the row left out")
    elif not Reader(draft.path).reference(ref):
        wrong(REF, f"“{ref}” is no reference", "one part a row, named by one word")
        ref = ""
    elif draft.placed.use_of(ref) is not None:
        use = draft.placed.use_of(ref)
        wrong(REF, f"{ref} comes from `{use}`, a pattern's use", "that use, changed in the file")
    if any(p.severity == "error" for p in problems):
        return Row(line, ref, {}, "wrong", tuple(problems))
    old = draft.entry("parts", ref)
    held = {str(k): v for k, v in old.items()} if isinstance(old, Mapping) else {}
    try:
        entry = _entry(draft, ref, said, held, wrong)
    except WordError as error:
        able: list[str] = [c for c in ("words", "value", "type", "kind") if c in said] or [REF]
        meant = [c for c in able if c in said and said[c] in str(error)]
        wrong((meant or able)[0], str(error), error.instead)
        return Row(line, ref, {}, "wrong", tuple(problems))
    if not any(p.severity == "error" for p in problems):
        for p in part_problems(draft, ref, entry):
            wrong(p.path, p.wrong, p.instead, p.severity)
    bad = any(p.severity == "error" for p in problems)
    same = held and _texts(entry) == _texts(held)
    what = "wrong" if bad else "same" if same else "changed" if held else "new"
    return Row(line, ref, entry, what, tuple(problems))


def _entry(
    draft: Draft, ref: str, said: dict[str, str], held: Mapping[str, Any], wrong: Any
) -> dict[str, Any]:
    """What the cells of a row say, over what the part has already."""
    bare: list[str] = []
    named: dict[str, str] = {}
    nets: list[tuple[int, str]] = []
    value = said.pop("value", "")
    for column, cell in said.items():
        if column == WORDS:
            more, fields = split(cell)
            bare += more
            named |= fields
        elif column == NETS:
            for k, word in enumerate(cell.replace(",", " ").replace(";", " ").split()):
                end, is_, net = word.partition("=")
                if end and is_:
                    named[end] = net
                else:
                    nets.append((k, word))
        elif column.startswith("net "):
            nets.append((int(column[4:]) - 1, cell))
        else:
            named[column] = cell
    _zeros(draft, named, wrong)
    known = {k: str(held[k]) for k in ("kind", "type") if k in held and k not in named}
    said_kind = kind_of(ref, [*bare, *value.split()], {**known, **named}, draft.house)[0]
    kind = REGISTRY.kinds.get(said_kind)
    if value and kind is not None and "value" in kind.model_fields and _reads(kind, value, draft):
        named["value"] = value
    else:
        bare += value.split()
    # What the part is already stands, unless the row says another kind or type.
    if not any(w in REGISTRY.kinds or typed_row(w, draft.house) for w in bare):
        named = {**known, **named}
    fields, kind_name, _ = fields_said(ref, bare, named, draft.house)
    ends = REGISTRY.kinds[kind_name].TERMINALS
    for place, net in nets:
        if place < len(ends):
            fields[ends[place]] = net
        else:
            wrong(
                f"net {place + 1}",
                f"{ref}, a {kind_name}, has {len(ends)} terminals",
                "no net there",
            )
    merged: dict[str, Any] = dict(held)
    for key, text in fields.items():
        below = merged.get(key)
        if isinstance(text, dict) and isinstance(below, Mapping):
            merged[key] = {
                n: {**below.get(n, {}), **w} if isinstance(w, dict) else w for n, w in text.items()
            }
            merged[key] = {**below, **merged[key]}
        else:
            merged[key] = text
    if not held.get("kind") and "type" in held and merged.get("type") == str(held["type"]):
        row = catalogue.load().get(str(held["type"]))
        if row is not None and merged.get("kind") == row.kind:
            del merged["kind"]
    return merged


def _reads(kind: Any, value: str, draft: Draft) -> bool:
    return typed_row(value, draft.house) is None and reads(kind, "value", value)


def _zeros(draft: Draft, named: Mapping[str, str], wrong: Any) -> None:
    """A type of digits alone that is known only with zeros before it lost them on the way."""
    text = named.get("type", "")
    if not text.isdigit() or typed_row(text, draft.house) is not None:
        return
    for zeros in ("0", "00", "000"):
        if typed_row(zeros + text, draft.house) is not None:
            what = f"“{text}” is not known, but {zeros}{text} is: a spreadsheet drops zeros"
            wrong("type", what, f"{zeros}{text}, in a column set to text")
            return


def _terminals() -> set[str]:
    return {t for kind in REGISTRY.kinds.values() for t in kind.TERMINALS}


def _texts(entry: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in entry.items():
        if isinstance(value, Mapping):
            found[str(key)] = _texts(value)
        else:
            found[str(key)] = str(value).lower() if isinstance(value, bool) else str(value)
    return found


def table_of(draft: Draft) -> list[list[str]]:
    """Every part of a file as rows under headings, parts of patterns among them.

    What holds unless noted is written out; line ends inside a note become spaces.
    """
    reader = Reader(draft.path)
    listed, _ = entries(reader, draft.document)
    flat = {ref: _flat("", e) for ref, e in listed.items() if isinstance(e, CommentedMap)}
    names = dict.fromkeys(("kind", "type", "value"))
    ends: dict[str, None] = {}
    every = _terminals()
    for entry in flat.values():
        for name in entry:
            (ends if name in every else names).setdefault(name)
    columns = [n for n in (*names, *ends) if any(n in e for e in flat.values())]
    rows = [[REF, *columns]]
    return rows + [[ref, *(e.get(c, "") for c in columns)] for ref, e in flat.items()]


def _flat(head: str, entry: Mapping[str, Any]) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in entry.items():
        if isinstance(value, Mapping):
            found |= _flat(f"{head}{key}.", value)
        elif value is not None:
            text = str(value).lower() if isinstance(value, bool) else str(value)
            found[f"{head}{key}"] = " ".join(text.split()) if "\n" in text else text
    return found
