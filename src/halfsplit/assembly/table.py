"""Tables of parts as spreadsheets have them: text to cells, and what was done to those.

A spreadsheet changes what it is given: part values become dates, type numbers powers of ten,
leading zeros go, points become commas. What can be told is told, cell by cell; nothing is guessed.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

from halfsplit.assembly.workbook import BEGINS, sheet_of
from halfsplit.problems import Problem, ProblemsError

MOST_BYTES = 4_000_000  # of a table: a hundred times the largest machine's parts list
MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 3_000, 200, 2_000
TAB = "\t"
# A cell that begins so is taken for a formula by a spreadsheet, and run. A quote before it keeps it
# text. Source: OWASP, CSV Injection (the list of characters).
FORMULA = ("=", "+", "-", "@", "\t", "\r")
_ERRORS = re.compile(r"#(REF!|NAME\?|VALUE!|N/A|NULL!|NUM!|DIV/0!)|#{3,}", re.IGNORECASE)
_MONTHS = "jan feb mar apr may jun jul aug sep oct nov dec mai okt dez"
_MONTH = "|".join(_MONTHS.split())
_DATE = re.compile(
    rf"\d{{1,2}}[-. /]+({_MONTH})[a-z]*\.?([-. /]+\d{{2,4}})?|({_MONTH})[a-z]*[-. /]+\d{{1,4}}"
    r"|\d{4}-\d{2}-\d{2}([ T]\d{2}:\d{2}(:\d{2})?)?"
    r"|\d{1,2}/\d{1,2}/\d{2,4}|\d{1,2}\.\d{1,2}\.\d{2,4}",
    re.IGNORECASE,
)
# As a spreadsheet writes it; without the sign it may have been typed so, and only values care.
_POWER = re.compile(r"[+-]?\d+([.,]\d+)?E[+-]\d+")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?E[+-]?\d+", re.IGNORECASE)
_COMMA = re.compile(r"[+-]?\d+,\d+\s*[^\d,]*%?")


@dataclass(frozen=True)
class Table:
    """Cells of a table, rows of one length, and the line of the text each row begins at.

    `delimiter`: what stands between cells. `notes`: what was odd about the text, in words.
    """

    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    delimiter: str
    notes: tuple[str, ...] = ()

    @property
    def width(self) -> int:
        """How many columns there are."""
        return len(self.rows[0]) if self.rows else 0


def decoded(data: bytes) -> tuple[str, list[str]]:
    """A table's bytes as text, and what was odd about them. Raises ProblemsError."""
    if len(data) > MOST_BYTES:
        wrong = f"{len(data) / 1e6:.1f} MB is more than the {MOST_BYTES / 1e6:.0f} MB of a table"
        raise ProblemsError([Problem("", 0, 0, "", wrong, "the parts list alone")])
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        wrong = "this is an old or locked workbook of a spreadsheet"
        how = "it saved as xlsx without a password, or its sheet as CSV, UTF-8"
        raise ProblemsError([Problem("", 0, 0, "", wrong, how)])
    for mark, code in (
        (b"\xef\xbb\xbf", "utf-8-sig"),
        (b"\xff\xfe", "utf-16"),
        (b"\xfe\xff", "utf-16"),
    ):
        if data.startswith(mark):
            try:
                return data.decode(code), []
            except UnicodeDecodeError:
                break
    try:
        return data.decode("utf-8"), []
    except UnicodeDecodeError:
        note = "the text is not UTF-8 and was read as Windows-1252: look at µ, Ω and ±"
        return data.decode("cp1252", "replace"), [note]


def read_table(data: bytes | str, delimiter: str = "") -> Table:
    """Cells of a table pasted or saved by a spreadsheet. Raises ProblemsError, nothing else.

    Bytes of a workbook (xlsx) are its first sheet. The delimiter is found unless given: a tab
    where there is one, else semicolon or comma, whichever makes rows of one length. Empty rows and
    columns at the edges are left out.
    """
    if isinstance(data, bytes) and data.startswith(BEGINS):
        return _workbook(data)
    text, notes = (data, []) if isinstance(data, str) else decoded(data)
    text = text.removeprefix("\ufeff")
    if len(text.encode("utf-8", "replace")) > MOST_BYTES:
        return read_table(text.encode("utf-8", "replace"))
    if "\0" in text:
        raise ProblemsError([Problem("", 0, 0, "", "this is not text", "a table saved as CSV")])
    first = text.lstrip().partition("\n")[0].strip()
    told = re.fullmatch(r"sep=(.)", first)  # a line some spreadsheets begin with
    skipped = 0
    if told:
        delimiter = delimiter or told[1]
        skipped = text[: text.index("sep=")].count("\n") + 1
        text = text.lstrip().partition("\n")[2]
    delimiter = delimiter or _delimiter(text)
    rows: list[list[str]] = []
    lines: list[int] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=False)
    before = 0
    try:
        for row in reader:
            start, before = before + 1 + skipped, reader.line_num
            if any("\n" in cell or "\r" in cell for cell in row):
                wrong = "a quote opened in this row is closed only in a later one"
                raise _at(start, wrong, "the cell again without it, or each quote doubled")
            if len(row) > MOST_COLUMNS or any(len(cell) > LONGEST_CELL for cell in row):
                wrong = f"more than {MOST_COLUMNS} columns, or a cell of {LONGEST_CELL} characters"
                raise _at(start, wrong, "the parts list alone")
            cells = [_clean(cell) for cell in row]
            if any(cells):
                rows.append(cells)
                lines.append(start)
            if len(rows) > MOST_ROWS:
                raise _at(start, f"more than {MOST_ROWS} rows", "the parts list alone")
    except csv.Error as error:
        raise _at(reader.line_num + skipped, f"this row cannot be read: {error}") from None
    return _squared(rows, lines, delimiter, notes)


def _workbook(data: bytes) -> Table:
    """The first sheet of a workbook; lines are its rows."""
    if len(data) > MOST_BYTES:
        decoded(data)  # says so
    found, note = sheet_of(data, MOST_ROWS, MOST_COLUMNS)
    rows: list[list[str]] = []
    lines: list[int] = []
    for line, row in enumerate(found, 1):
        if any(len(cell) > LONGEST_CELL or "\n" in cell for cell in row):
            wrong = f"a cell of this row has lines, or over {LONGEST_CELL} characters"
            raise _at(line, wrong, "a line a cell, the parts list alone")
        cells = [_clean(cell) for cell in row]
        if any(cells):
            rows.append(cells)
            lines.append(line)
    return _squared(rows, lines, TAB, [note] if note else [])


def _squared(rows: list[list[str]], lines: list[int], delimiter: str, notes: list[str]) -> Table:
    """Rows of one length, without empty columns."""
    if not rows:
        raise _at(1, "the table is empty", "rows of a reference, a value and nets")
    width = max(len(r) for r in rows)
    full = [r + [""] * (width - len(r)) for r in rows]
    kept = [k for k in range(width) if any(r[k] for r in full)]
    return Table(
        tuple(tuple(r[k] for k in kept) for r in full), tuple(lines), delimiter, tuple(notes)
    )


def _at(line: int, wrong: str, instead: str = "") -> ProblemsError:
    return ProblemsError([Problem("", line, 1, "", wrong, instead)])


def _delimiter(text: str) -> str:
    """A tab where most lines have one; else semicolon or comma, by which lines agree on."""
    lines = [n for n in text.splitlines()[:200] if n.strip()]
    if sum(TAB in n for n in lines) * 2 > len(lines):
        return TAB
    best, most = ",", 0.0
    for mark in (";", ",", TAB):
        counts = [n.count(mark) for n in lines]
        usual = max(set(counts), key=counts.count) if counts else 0
        score = counts.count(usual) / len(counts) if usual else 0.0
        # A comma inside values of a list parted by semicolons is a decimal point.
        if score > most:
            best, most = mark, score
    return best


def _clean(cell: str) -> str:
    """A cell without what spreadsheets put around it, our own quote before a formula included."""
    cell = cell.replace("\u00a0", " ").replace("\u200b", "").strip(" \t\r")
    if cell.startswith("'") and cell[1:2] in (*"=+-@", "'"):
        return cell[1:]
    return cell


def guarded(cell: str) -> str:
    """A cell no spreadsheet takes for a formula; :func:`read_table` takes the quote off again."""
    return f"'{cell}" if cell.startswith((*FORMULA, "'")) else cell


def write_table(rows: Sequence[Sequence[str]], delimiter: str = ",") -> str:
    """Rows as CSV with CR LF (RFC 4180), cells guarded."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\r\n")
    for row in rows:
        writer.writerow([guarded(c) for c in row])
    return out.getvalue()


def damage(cell: str, sort: str) -> tuple[str, str, str]:
    """What a spreadsheet likely did to a cell, what to do, and whether it is "error" or "doubt".

    `sort`: "name" for references, types and nets, "value" for quantities, "words" for others.
    Three empty texts where nothing shows.
    """
    if _ERRORS.fullmatch(cell):
        return f"“{cell}” is an error of the spreadsheet", "the value itself", "error"
    if sort == "words":
        return "", "", ""
    if _DATE.fullmatch(cell):
        how = "the cell again in a column set to text before it is typed, such as 4-7"
        return f"“{cell}” is a date: a spreadsheet makes those of 4-7 or 1/4", how, "error"
    if sort == "name" and _POWER.fullmatch(cell):
        how = "the cell again in a column set to text, such as 1E3"
        return f"“{cell}” is a power of ten: a spreadsheet makes those of 1E3", how, "error"
    if sort == "value" and _NUMBER.fullmatch(cell):
        how = "the value with its prefix, such as 1k"
        return f"“{cell}” may be a value, or what a spreadsheet made of one", how, "doubt"
    return "", "", ""


def decimal_comma(cell: str) -> bool:
    """Whether a cell looks like a quantity with a comma for its decimal point."""
    return _COMMA.fullmatch(cell) is not None
