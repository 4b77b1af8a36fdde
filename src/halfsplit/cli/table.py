"""Commands about tables of parts: a machine's parts out as CSV, and a table in."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError, Problem, ProblemsError

if TYPE_CHECKING:
    from halfsplit.bench.tables import Looked

MOST_SHOWN = 60  # rows of a look at a table


def table(
    file: Path,
    *,
    to: Annotated[
        Path | None, Parameter(help="new file to write it to; NAME.xlsx is a workbook")
    ] = None,
    tabs: Annotated[bool, Parameter(help="tabs between cells, to paste into a sheet")] = False,
    json: Json = False,
) -> int:
    """The file's parts as a table, CSV or xlsx that `fill` reads back: a row a part."""
    from halfsplit.bench.tables import table_text, table_workbook

    if to is None:
        text = table_text(file, "\t" if tabs else ",")
        return emit({"text": text}, json, lambda: sys.stdout.write(text))
    if to.suffix.lower() == ".xlsx":
        data = table_workbook(file)
    else:
        data = table_text(file, "\t" if tabs else ",").encode()
    try:
        with to.open("xb") as stream:
            stream.write(data)
    except FileExistsError:
        raise HalfsplitError(f"{to} is there already; name a new file") from None
    except OSError as error:
        raise HalfsplitError(f"{to}: cannot be written: {error.strerror or error}") from error
    return emit({"written": str(to)}, json, lambda: show.say(f"written to {to}"))


def fill(
    file: Path,
    table: Path,
    *,
    column: Annotated[
        list[str] | None, Parameter(help="what a column is, by heading or place: Wert=value")
    ] = None,
    header: Annotated[bool | None, Parameter(help="whether the first row is headings")] = None,
    decimal_comma: Annotated[bool, Parameter(help="4,7k is 4.7k")] = False,
    leave_out: Annotated[bool, Parameter(help="go on without the rows that are wrong")] = False,
    look: Annotated[bool, Parameter(help="show what would be written, write nothing")] = False,
    json: Json = False,
) -> int:
    """Parts of a table (CSV, cells with tabs, xlsx) into the file as one edit, columns matched."""
    from halfsplit.bench import tables
    from halfsplit.bench.typing_in import TypingIn

    desk, data = TypingIn(file), _read(table)
    try:
        looked = tables.look(desk, data, header=header, comma=decimal_comma)
        if column:
            places = _columns(looked, column)
            looked = tables.look(
                desk, data, header=looked.matching.header, columns=places, comma=decimal_comma
            )
    except ProblemsError as error:
        if column is None or not any("references" in p.wrong for p in error.problems):
            raise ProblemsError([_of(table, p) for p in error.problems]) from None
        first = tables.look(desk, data, header=header, columns={0: "reference"})
        places = _columns(first, column)
        looked = tables.look(
            desk, data, header=first.matching.header, columns=places, comma=decimal_comma
        )
    said = ""
    if not look:
        try:
            said = tables.fill(desk, looked, leave_out=leave_out)
        except ProblemsError as error:
            raise ProblemsError([_of(table, p) for p in error.problems]) from None
    code = ExitCode.PROBLEMS if look and looked.count("wrong") else ExitCode.OK
    emit(looked.as_dict() | {"written": said}, json, lambda: _shown(looked, table, said))
    return code


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise NotFoundError(f"{path}: there is no such file") from None
    except OSError as error:
        raise HalfsplitError(f"{path}: cannot be read: {error.strerror or error}") from None


def _of(path: Path, problem: Problem) -> Problem:
    return Problem(**{**problem.as_dict(), "file": problem.file or str(path)})


def _columns(looked: Looked, said: list[str]) -> dict[int, str]:
    """Columns as the user calls them: by heading, or by place from 1."""
    heads = list(looked.table.rows[0]) if looked.matching.header else []
    found: dict[int, str] = {}
    problems = []
    for text in said:
        name, is_, meaning = text.rpartition("=")
        if name in heads:
            found[heads.index(name)] = meaning
        elif is_ and name.isdigit():
            found[int(name) - 1] = meaning
        else:
            known = ", ".join(h for h in heads if h) or f"1 to {looked.table.width}"
            wrong = f"there is no column {name or text}"
            problems.append(Problem("", 0, 0, "", wrong, f"HEADING=value; columns: {known}"))
    if problems:
        raise ProblemsError(problems)
    return found


def _shown(looked: Looked, path: Path, said: str) -> None:
    heads = looked.as_dict()["columns"]
    told = ", ".join(f"{h['heading'] or k}: {h['is']}" for k, h in enumerate(heads, 1))
    show.say(f"Columns: {told}")
    left = [h["heading"] or str(k) for k, h in enumerate(heads, 1) if h["is"] == "leave out"]
    if left:
        show.say(f"Is one of those left out needed? Say what it is, as in --column '{left[0]}=a'")
    if looked.commas:
        show.say("--decimal-comma takes the commas in values for decimal points")
    for note in looked.table.notes:
        show.say(note)
    if not said:
        made = Table(title=path.name, title_justify="left")
        for head in ("line", "reference", "", "as the file would have it, or what is wrong"):
            made.add_column(head)
        for row in looked.rows[:MOST_SHOWN]:
            wrong = " ".join(
                str(Problem("", 0, 0, p.path, p.wrong, p.instead)) for p in row.problems
            )
            made.add_row(str(row.line), escape(row.ref), row.what, escape(wrong or row.words()))
        show.out.print(made)
        if len(looked.rows) > MOST_SHOWN:
            show.say(f"and {len(looked.rows) - MOST_SHOWN} more rows")
        return
    show.say(said)
