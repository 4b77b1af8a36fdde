"""Workbooks in and out. What a workbook holds is written and read back here by openpyxl itself."""

from __future__ import annotations

import datetime
import io
import zipfile

import pytest
from openpyxl import Workbook, load_workbook

from halfsplit.assembly.table import damage, read_table
from halfsplit.assembly.workbook import MOST_UNPACKED, workbook_of
from halfsplit.problems import ProblemsError


def saved(book: Workbook) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def test_cells_are_read_as_a_person_sees_them() -> None:
    book = Workbook()
    sheet = book.active
    sheet.append(["Ref", "Wert", "Tol.", "Netz 1", "Netz 2"])
    sheet.append([])
    sheet.append(["R1", 4700, 0.05, "p5", "com"])
    sheet["C3"].number_format = "0%"
    sheet.append(["R2", 2.2, None, "p5", "com"])
    sheet.append(["R3", "4k7", "1%", "=1+1", "com"])
    sheet.append(["R4", datetime.datetime(2026, 7, 4), None, "p5", "com"])
    book.create_sheet("prices")
    table = read_table(saved(book))
    assert table.rows[1] == ("R1", "4700", "5%", "p5", "com")
    assert table.rows[2][:2] == ("R2", "2.2")
    assert table.rows[3][:3] == ("R3", "4k7", "1%")
    assert damage(table.rows[4][1], "value")[2] == "error"  # 4-7 as a sheet kept it
    assert table.lines == (1, 3, 4, 5, 6)
    assert table.notes == ("the workbook has 2 sheets; “Sheet”, the first, was read",)


def test_what_is_written_is_text_in_every_cell() -> None:
    rows = [["reference", "value"], ["R1", "4-7"], ["=1+1", "1E3"], ["007", "bad\x07bell"]]
    sheet = load_workbook(io.BytesIO(workbook_of(rows, "pt3/parts"))).active
    cells = [[(c.value, c.data_type, c.number_format) for c in row] for row in sheet.iter_rows()]
    assert cells[1] == [("R1", "s", "@"), ("4-7", "s", "@")]
    assert cells[2] == [("=1+1", "s", "@"), ("1E3", "s", "@")]
    assert cells[3] == [("007", "s", "@"), ("badbell", "s", "@")]
    assert read_table(workbook_of(rows, "x")).rows[1:3] == (("R1", "4-7"), ("=1+1", "1E3"))


def archive(**files: bytes) -> bytes:
    """A good workbook with some of its files replaced, by name without folder or suffix."""
    book = Workbook()
    book.active.append(["R1", "1k", "p5", "com"])
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(saved(book))) as good, zipfile.ZipFile(out, "w") as bad:
        for info in good.infolist():
            name = info.filename.rpartition("/")[2].partition(".")[0]
            bad.writestr(info.filename, files.get(name, good.read(info)), zipfile.ZIP_DEFLATED)
    return out.getvalue()


BILLION = b"""<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">
<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]><worksheet><sheetData>&b;</sheetData></worksheet>"""


@pytest.mark.parametrize(
    "data",
    [
        b"PK\x03\x04...",
        archive(sheet1=BILLION),
        archive(sheet1=b"<worksheet>"),
        archive(workbook=b""),
        archive(sheet1=b" " * (MOST_UNPACKED + 1)),
        saved(Workbook()),
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 100,
    ],
    ids=["cut", "entities", "broken", "no book", "unfolds", "empty", "old"],
)
def test_what_is_no_table_is_refused_in_words(data: bytes) -> None:
    with pytest.raises(ProblemsError) as refused:
        read_table(data)
    (problem,) = refused.value.problems
    assert problem.wrong and problem.instead


def test_a_row_far_down_costs_no_more_than_looking() -> None:
    book = Workbook()
    book.active.cell(1, 1, "R1")
    book.active.cell(1_000_000, 2, "x")
    with pytest.raises(ProblemsError) as refused:
        read_table(saved(book))
    assert "rows" in refused.value.problems[0].wrong
