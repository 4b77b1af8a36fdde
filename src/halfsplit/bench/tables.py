"""A table of parts into a machine's file as one edit, and the file's parts out as a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from halfsplit.assembly.draft import draft
from halfsplit.assembly.table import Table, read_table, write_table
from halfsplit.assembly.table_match import Matching, checked, guess
from halfsplit.assembly.table_parts import COMMA, Row, rows_of, table_of
from halfsplit.assembly.workbook import workbook_of
from halfsplit.bench.typing_in import TypingIn
from halfsplit.problems import HalfsplitError, NotFoundError, Problem, ProblemsError


@dataclass(frozen=True)
class Looked:
    """A table looked at against a file: its cells, what its columns are, its rows as parts."""

    table: Table
    matching: Matching
    rows: tuple[Row, ...]

    def count(self, what: str) -> int:
        """How many rows are new, changed, same or wrong."""
        return sum(r.what == what for r in self.rows)

    @property
    def commas(self) -> bool:
        """Whether a row is wrong for a decimal comma alone."""
        return any(COMMA in p.wrong for r in self.rows for p in r.problems)

    def as_dict(self) -> dict[str, Any]:
        """Plain data, for a page or ``--json``."""
        heads = self.table.rows[0] if self.matching.header else ()
        return {
            "header": self.matching.header,
            "columns": [
                {"heading": heads[k] if heads else "", "is": m}
                for k, m in enumerate(self.matching.columns)
            ],
            "delimiter": {"\t": "tab"}.get(self.table.delimiter, self.table.delimiter),
            "notes": list(self.table.notes),
            "commas": self.commas,
            "counts": {w: self.count(w) for w in ("new", "changed", "same", "wrong")},
            "rows": [
                {
                    "line": r.line,
                    "reference": r.ref,
                    "what": r.what,
                    "entry": r.words(),
                    "problems": [p.as_dict() for p in r.problems],
                }
                for r in self.rows
            ],
        }


def look(
    desk: TypingIn,
    data: bytes | str,
    *,
    header: bool | None = None,
    columns: Mapping[int, str] | None = None,
    comma: bool = False,
) -> Looked:
    """A table as it would go into a file, nothing written.

    `columns`: what the user says of some, by place from 0; the rest is guessed. `comma`: whether a
    comma in a value is its decimal point. Raises ProblemsError for what is no table or cannot be
    matched, NotFoundError.
    """
    at = desk.look()
    if at.assembly is None:
        if any("no such file" in p.wrong for p in at.wrong):
            raise NotFoundError(f"{desk.file}: there is no such file")
        raise ProblemsError(list(at.wrong))
    table = read_table(data)
    guessed = guess(table, header)
    said = [*guessed.columns]
    for place, meaning in (columns or {}).items():
        if not 0 <= place < table.width:
            wrong = f"there is no column {place + 1}"
            raise ProblemsError([Problem("", 0, 0, "", wrong, f"1 to {table.width}")])
        said = [
            "leave out" if m == meaning and meaning != "leave out" else m for m in said
        ]  # the user's word takes a meaning from where it was guessed
        said[place] = meaning
    matching = replace(guessed, columns=tuple(said))
    checked(matching, table)
    return Looked(table, matching, tuple(rows_of(at, table, matching, comma)))


def fill(desk: TypingIn, looked: Looked, *, leave_out: bool = False) -> str:
    """Write a table's rows to the file as one edit; returns words.

    Rows that are wrong stop it, unless `leave_out` says to go on without them. Raises
    ProblemsError with all of them, ChangedError, HalfsplitError.
    """
    wrong = [p for r in looked.rows if r.what == "wrong" for p in r.problems]
    errors = [p for p in wrong if p.severity == "error"]
    if errors and not leave_out:
        raise ProblemsError(errors)
    entries = {r.ref: r.entry for r in looked.rows if r.what in ("new", "changed")}
    if not entries:
        raise HalfsplitError("no row says anything the file does not have already")
    words = f"{looked.count('new')} parts new, {looked.count('changed')} changed"
    left = looked.count("wrong")
    words += f", {left} rows left out" if left else ""
    desk.write_many(entries, f"a table: {words}")
    return words


def table_text(file: Path, delimiter: str = ",") -> str:
    """Every part of a file as CSV. Raises NotFoundError, ProblemsError."""
    return write_table(_parts(file), delimiter)


def table_workbook(file: Path) -> bytes:
    """The same as a workbook (xlsx)."""
    return workbook_of(_parts(file), f"{file.stem} parts")


def _parts(file: Path) -> list[list[str]]:
    at = draft(file)
    if at.assembly is None:
        if any("no such file" in p.wrong for p in at.wrong):
            raise NotFoundError(f"{file}: there is no such file")
        raise ProblemsError(list(at.wrong))
    return [list(row) for row in table_of(at)]
