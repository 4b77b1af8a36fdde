"""Sheets of workbooks (xlsx, ISO/IEC 29500): cells as text, and rows of text as a sheet.

A workbook is an archive of XML from anywhere, so its size unpacked is looked at before it is read.
"""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Iterator, Sequence

from halfsplit.problems import Problem, ProblemsError

BEGINS = b"PK\x03\x04"
MOST_UNPACKED, MOST_FILES = 16_000_000, 300  # bytes, and files in the archive
FARTHEST_ROW = 50_000  # rows looked through, empty ones too
DIGITS = 15  # a sheet keeps numbers as doubles: more are not what was typed


def sheet_of(data: bytes, most_rows: int, most_columns: int) -> tuple[Iterator[list[str]], str]:
    """Rows of a workbook's first visible sheet as text, and a note where it has more than one.

    Empty rows come too, so that places stay right. Raises ProblemsError, nothing else; the rows
    do so while they are taken.
    """
    _fits(data)
    try:
        from openpyxl import load_workbook

        book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
        sheets = [s for s in book.worksheets if s.sheet_state == "visible"]
    except Exception as error:  # a damaged archive raises whatever its parts run into
        raise _unread(error) from None
    if not sheets:
        raise _wrong("this workbook has no sheet to be seen", "the parts list on a sheet")
    note = ""
    if len(sheets) > 1:
        note = f"the workbook has {len(sheets)} sheets; “{sheets[0].title}”, the first, was read"

    def rows() -> Iterator[list[str]]:
        full = 0
        try:
            sheets[0].reset_dimensions()  # a claim of the file, wrong in many
            for k, row in enumerate(sheets[0].iter_rows(max_row=FARTHEST_ROW + 1)):
                cells = [_text(cell.value, cell.number_format or "") for cell in row]
                full += any(cells)
                while cells and not cells[-1]:
                    cells.pop()
                if k >= FARTHEST_ROW or full > most_rows or len(cells) > most_columns:
                    wrong = f"more than {most_rows} rows or {most_columns} columns"
                    raise _wrong(wrong, "the parts list alone", k + 1)
                yield cells
        except ProblemsError:
            raise
        except Exception as error:
            raise _unread(error) from None

    return rows(), note


def _fits(data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            listed = archive.infolist()
            size = sum(i.file_size for i in listed)
    except Exception as error:  # as above: it is anybody's archive
        raise _unread(error) from None
    if len(listed) > MOST_FILES or size > MOST_UNPACKED:
        wrong = f"this workbook is {size / 1e6:.0f} MB in {len(listed)} files once unpacked"
        raise _wrong(wrong, f"the parts list alone, up to {MOST_UNPACKED / 1e6:.0f} MB")


def _text(value: object, look: str) -> str:
    """A cell as a person reads it. A date stays one, so that it is told where a value belongs."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, (int, float)):
        if look.endswith("%"):
            return f"{value * 100.0:.{DIGITS}g}%"
        return str(value) if isinstance(value, int) else f"{value:.{DIGITS}g}".upper()
    if isinstance(value, (datetime.datetime, datetime.date)):
        return value.isoformat(" ") if isinstance(value, datetime.datetime) else value.isoformat()
    return str(value)


def workbook_of(rows: Sequence[Sequence[str]], title: str) -> bytes:
    """Rows of text as a workbook of one sheet, every cell text: no program makes dates of them."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Font

    book = Workbook(write_only=True)
    sheet = book.create_sheet("".join(c for c in title if c not in r"\/*?:[]'")[:31] or "parts")
    sheet.freeze_panes = "A2"
    for k, row in enumerate(rows):
        cells = []
        for text in row:
            cell = WriteOnlyCell(sheet, ILLEGAL_CHARACTERS_RE.sub("", text))
            cell.data_type = "s"  # else what begins with = would be a formula, and run
            cell.number_format = "@"
            if k == 0:
                cell.font = Font(bold=True)
            cells.append(cell)
        sheet.append(cells)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _wrong(wrong: str, instead: str, line: int = 0) -> ProblemsError:
    return ProblemsError([Problem("", line, 1 if line else 0, "", wrong, instead)])


def _unread(error: Exception) -> ProblemsError:
    wrong = f"this workbook cannot be read ({type(error).__name__})"
    return _wrong(wrong, "it saved anew as xlsx, or its sheet as CSV, UTF-8")
