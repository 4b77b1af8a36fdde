"""Printed volts, printed ohms and the numbering of a drawing: read, checked, and edited in step."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.assembly.edit import apply_edits
from halfsplit.assembly.file import load, load_anyway
from halfsplit.assembly.printed import Numbering, gaps
from halfsplit.faults.slips import Edit
from halfsplit.problems import NotFoundError, ProblemsError

RIGHT = Path(__file__).resolve().parents[1] / "files" / "bench-follower.yaml"


def with_text(folder: Path, old: str, new: str) -> Path:
    source = RIGHT.read_text(encoding="utf-8")
    assert old in source
    path = folder / "a.yaml"
    path.write_text(source.replace(old, new, 1), encoding="utf-8")
    return path


def test_printed_volts_and_ohms_are_read_with_their_last_digit() -> None:
    assembly, problems = load(RIGHT)
    assert assembly is not None and not problems
    sheet, dead = assembly.printed["sheet"], assembly.printed["dead"]
    assert (sheet.load, sheet.within) == ("half", 0.03)
    assert (sheet.volts["zr"].value, sheet.volts["zr"].resolution) == (5.63, 0.01)
    assert dead.ohms == {"mid": 1300.0, "out": 815.0}


@pytest.mark.parametrize(
    ("old", "new", "where", "says"),
    [
        ("zr: 5.63V", "zz: 5.63V", "printed.sheet.volts.zz", "there is no net `zz`"),
        ("zr: 5.63V", "zr: OL", "printed.sheet.volts.zr", "prints a number"),
        ("load: half, within", "load: full, within", "printed.sheet.load", "no load `full`"),
        ("load: half, within", "feed: wall, within", "printed.sheet.feed", "no feed `wall`"),
        ("within: 3%, volts", "within: 3%, volt", "printed.sheet.volt", ""),
        ("ohms: {mid: 1.30k", "ohms: {mod: 1.30k", "printed.dead.ohms.mod", "no net `mod`"),
        ("dead:", "hum: {ripple: {zr: 20}}\n  dead:", "printed.hum.ripple.zr", "no unit"),
        ("dead:", "hum: {ripple: {zr: -20mV}}\n  dead:", "printed.hum.ripple.zr", "above nought"),
        ("dead:", "hum: {ripple: {zz: 20mV}}\n  dead:", "printed.hum.ripple.zz", "no net `zz`"),
        ("last: [S1,", "last: [S,", "numbering.last", "no reference with a number"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(
    old: str, new: str, where: str, says: str, tmp_path: Path
) -> None:
    assembly, problems = load(with_text(tmp_path, old, new))
    assert assembly is None
    found = [p for p in problems if p.path == where]
    assert found and says in found[0].wrong and found[0].line > 1


def test_an_entry_that_prints_nothing_is_refused(tmp_path: Path) -> None:
    path = with_text(
        tmp_path,
        "sheet: {load: half, within: 3%, volts: {",
        "more: {load: half}\n  sheet: {load: half, volts: {",
    )
    assembly, problems = load(path)
    assert assembly is None
    assert any(p.path == "printed.more" and "nothing is printed" in p.wrong for p in problems)


def test_gaps_follow_the_numbering_and_its_units() -> None:
    said = Numbering(last=["R5", "U2B", "Q1"], unused=["R3"])
    found = gaps(said, ["R1", "R2", "R4", "R7", "R3", "U1", "U2A", "Q1", "C9", "SW"])
    assert found.missing == ("R5", "U2B")
    assert set(found.extra) == {"R7", "R3"}
    assert gaps(None, ["R1"]).missing == ()


def test_a_gap_in_the_numbering_is_a_doubt_and_stops_nothing(tmp_path: Path) -> None:
    assembly, problems = load(with_text(tmp_path, "last: [S1, R4", "last: [S1, R5"))
    assert assembly is not None
    assert [(p.severity, p.path) for p in problems] == [("doubt", "numbering")]


def test_a_file_wrong_as_a_circuit_is_read_anyway(tmp_path: Path) -> None:
    path = with_text(tmp_path, "a: out, b: mid", "a: outt, b: mid")
    assert load(path)[0] is None
    assembly, problems = load_anyway(path)
    assert assembly is not None and assembly.parts["R3"].terminals()["a"] == "outt"
    assert any("only this one terminal" in p.wrong for p in problems)


def test_edits_made_together_change_their_lines_and_no_other_byte(tmp_path: Path) -> None:
    path = with_text(tmp_path, "a: com, k: zr", "a: zr, k: com")
    edits = [Edit("set", "parts.CR1.a", "com"), Edit("set", "parts.CR1.k", "zr")]
    lines = apply_edits(path, edits)
    assert [n for n, _, _ in lines] == [8]
    assert path.read_bytes() == RIGHT.read_bytes()


def test_a_part_is_put_behind_another_and_a_reference_renamed(tmp_path: Path) -> None:
    path = with_text(tmp_path, "R2:  ", "R9:  ")
    assert apply_edits(path, [Edit("rename", "R9", "R2")])[0][2].startswith("  R2:  {")
    assert path.read_bytes() == RIGHT.read_bytes()
    entry = "{kind: resistor, value: 10k, a: mid, b: com}"
    number, was, now = apply_edits(path, [Edit("insert", "R5", entry, "R4")])[0]
    before = RIGHT.read_text(encoding="utf-8").splitlines()
    assert (was, now) == ("", f"  R5: {entry}") and before[number - 2].startswith("  R4:")
    assert path.read_text(encoding="utf-8").replace(f"{now}\n", "") == RIGHT.read_text()


def test_an_edit_that_would_break_the_file_leaves_it(tmp_path: Path) -> None:
    path = with_text(tmp_path, "assembly", "assembly")
    with pytest.raises(ProblemsError):
        apply_edits(path, [Edit("set", "parts.R3.a", "nowhere"), Edit("set", "parts.R3.b", "else")])
    with pytest.raises(NotFoundError):
        apply_edits(path, [Edit("rename", "R99", "R2")])
    assert path.read_bytes() == RIGHT.read_bytes()


def test_a_file_already_wrong_may_be_put_right_one_slip_at_a_time(tmp_path: Path) -> None:
    path = with_text(tmp_path, "a: out, b: mid", "a: outt, b: mid")
    path.write_text(path.read_text().replace("pos: out, neg", "pos: oout, neg"), encoding="utf-8")
    apply_edits(path, [Edit("set", "parts.R3.a", "out")])
    assert load(path)[0] is None
    with pytest.raises(ProblemsError):
        apply_edits(path, [Edit("set", "parts.R3.a", "outt")])
