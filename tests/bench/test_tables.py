"""Tables of parts in and out: the same circuit again, columns matched, damage told."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.assembly.circuits import Typed, typed_parts

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.draft import draft
from halfsplit.assembly.entry_edit import put_entries
from halfsplit.assembly.entry_text import compose
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.new_file import new_file
from halfsplit.assembly.table import MOST_BYTES, guarded, read_table, write_table
from halfsplit.assembly.typed_line import read_line
from halfsplit.bench.tables import Looked, fill, look, table_text, table_workbook
from halfsplit.bench.typing_in import TypingIn
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.kept_under import table_folder
from halfsplit.problems import HalfsplitError, ProblemsError

ROOT = Path(__file__).parents[2]
DEMOS = [ROOT / "examples" / f for f in ("hd40/pt3.yaml", "stile17/ob8.yaml")]
DEMOS += [ROOT / "examples" / f for f in ("type88/supply.yaml", "tl6/su6.yaml")]
DEMOS += [ROOT / "tests/files/by-pattern/pt3.yaml"]


def without_parts(file: Path, to: Path) -> Path:
    """A copy of a file without its parts and patterns, everything else there."""
    source = file.read_text(encoding="utf-8")
    root = compose(source)
    assert root is not None
    keys = [(k.value, int(k.start_mark.index)) for k, _ in root.value]
    ends = [start for _, start in keys[1:]] + [len(source)]
    gone = ("parts", "patterns", "unless_noted")
    kept = [source[a:b] for (name, a), b in zip(keys, ends, strict=True) if name not in gone]
    to.write_text("".join(kept), encoding="utf-8")
    return to


@pytest.mark.parametrize("file", DEMOS, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_a_demo_out_as_a_table_and_in_again_gives_the_solver_the_same(
    file: Path, tmp_path: Path
) -> None:
    """Field by field, and by the hash of circuit, values and every single fault."""
    bare = without_parts(file, tmp_path / file.name)
    desk = TypingIn(bare)
    looked = look(desk, table_text(file).encode())
    assert looked.matching.header and {r.what for r in looked.rows} == {"new"}
    fill(desk, looked)
    (first, _), (second, problems) = load(file), load(bare)
    assert first is not None and second is not None and problems == []
    assert first.parts == second.parts and list(first.parts) == list(second.parts)
    machines = [Machine(first), Machine(second)]
    faults = [[h.changes for h in single_faults(m.assembly)] for m in machines]
    assert len(faults[0]) > 50
    for part in ("rails", "points", "feeds", "loads", "mains", "common"):
        assert getattr(first, part) == getattr(second, part), part
    for load_ in {first.default_load(), [*first.loads][-1]}:
        at = Condition(first.default_feed(), load_)
        told = [table_folder(m, at, f) for m, f in zip(machines, faults, strict=True)]
        assert told[0] == told[1]


@pytest.mark.parametrize("file", DEMOS[:4], ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_a_demo_out_as_a_workbook_and_in_again_has_the_same_parts(
    file: Path, tmp_path: Path
) -> None:
    bare = without_parts(file, tmp_path / file.name)
    desk = TypingIn(bare)
    looked = look(desk, table_workbook(file))
    assert looked.matching.header and {r.what for r in looked.rows} == {"new"}
    fill(desk, looked)
    (first, _), (second, problems) = load(file), load(bare)
    assert first is not None and second is not None and problems == []
    assert first.parts == second.parts and list(first.parts) == list(second.parts)


def test_a_table_into_the_file_it_came_from_changes_no_byte(tmp_path: Path) -> None:
    for file in DEMOS[:4]:
        copy = Path(shutil.copy(file, tmp_path))
        looked = look(TypingIn(copy), table_text(copy))
        assert {r.what for r in looked.rows} == {"same"}
        with pytest.raises(HalfsplitError, match="no row says anything"):
            fill(TypingIn(copy), looked)
        assert copy.read_bytes() == file.read_bytes()


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(lines=typed_parts(), delimiter=st.sampled_from(",;\t"))
def test_random_circuits_out_and_in_are_the_same(
    tmp_path_factory: pytest.TempPathFactory, lines: list[Typed], delimiter: str
) -> None:
    folder = tmp_path_factory.mktemp("tables")
    first, second = new_file(folder / "a.yaml", "A"), new_file(folder / "b.yaml", "B")
    at = draft(first)
    typed = [read_line(at, t.name, t.words, t.ends) for t in lines]
    put_entries(first, "parts", {t.name: t.entry for t in typed}, lambda _: None)
    text = table_text(first, delimiter)
    cells = text.replace('"', "").split(delimiter)
    assert not any(c.startswith(("=", "+", "-", "@")) for c in cells)
    desk = TypingIn(second)
    fill(desk, look(desk, text))
    one, other = draft(first).assembly, draft(second).assembly
    assert one is not None and other is not None and len(one.parts) == len(lines)
    assert one.parts == other.parts


def seen(text: str | bytes, tmp_path: Path, file: str = "", **said: object) -> Looked:
    path = tmp_path / "m.yaml"
    path.write_text(file or "assembly: M\nparts:\n", encoding="utf-8")
    return look(TypingIn(path), text, **said)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("R1\t4k7 1%\tp5\tcom\nQ1\t2N3055\tp5\tb\tcom\n", "reference words net 1 net 2 net 3"),
        ("Ref,Value,Nets\nR1,4k7,p5 com\n", "reference value nets"),
        (
            "Pos;Wert;Netz 1;Pin 2;Lot\nR1;4k7;p5;com;3\n",
            "reference value net 1 net 2 leave out",
        ),
        ("Designator,Type,Collector,Base,Emitter\nQ1,2N3055,a,b,c\n", "reference type c b e"),
        ("reference,kind,value,pos,neg\nC1,tantalum,22u,p5,com\n", "reference kind value pos neg"),
        ("Item,Tol,Value,Pin 1,Pin 2\nR1,1%,4k7,a,b\n", "reference tolerance value net 1 net 2"),
        ("sep=;\nRef;Value;Nets\nR1;4k7;a b\n", "reference value nets"),
        ("kind,Lot\nresistor,R1\nresistor,R2\n", "kind reference"),
    ],
)
def test_columns_are_guessed_by_heading_and_content(
    text: str, columns: str, tmp_path: Path
) -> None:
    assert " ".join(seen(text, tmp_path).matching.columns) == columns


def test_a_column_is_what_the_user_says(tmp_path: Path) -> None:
    text = "R1,4k7,p5,com\nR2,1k,p5,com\n"
    found = seen(text, tmp_path, columns={2: "net 2", 3: "net 1"})
    assert found.matching.columns == ("reference", "words", "net 2", "net 1")
    assert found.rows[0].entry == {"kind": "resistor", "value": "4k7", "a": "com", "b": "p5"}
    for wrong in ({0: "nonesuch"}, {9: "note"}, {0: "note"}):
        with pytest.raises(ProblemsError):
            seen(text, tmp_path, columns=wrong)
    assert seen(text, tmp_path, header=True).rows[0].ref == "R2"


HEAD = "Ref;Value;Type;Net 1;Net 2\n"


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("R1;04. Jul;;a;b", "a date: a spreadsheet makes those of 4-7"),
        ("R1;4-Jul;;a;b", "a date"),
        ("R1;2026-07-04;;a;b", "a date"),
        ("R1;4/7/2026;;a;b", "a date"),
        ("R1;1k;;Jan-12;b", "a date"),
        ("D1;;1.00E+03;a;b", "a power of ten"),
        ("D1;;2E+05;a;b", "a power of ten"),
        ("R1;1E3;;a;b", "what a spreadsheet made of one"),
        ("R1;4,7k;;a;b", "comma for its decimal point. Write 4.7k"),
        ("R1;#REF!;;a;b", "an error of the spreadsheet"),
        ("R1;########;;a;b", "an error of the spreadsheet"),
        ("Q1;;221;a;b", "a spreadsheet drops zeros. Write 0221"),
        ("R1, R2;1k;;a;b", "no reference"),
        (";1k;;a;b", "no reference"),
        ("R1;banana;;a;b", "`banana` is not understood"),
        ("R1;1k;;a;", "`b` is missing"),
        ("C1;100u;;a;b\nC1;10u;;a;b", "C1 stands on line 2 already"),
        ("R1;=HYPERLINK(1);;a;b", "is not understood"),
    ],
)
def test_damage_is_told_in_words_and_never_written(row: str, says: str, tmp_path: Path) -> None:
    house = '"0221": {type: 2N3906, says: service manual, confidence: sure}\n'
    (tmp_path / "house-numbers.yaml").write_text(house, encoding="utf-8")
    found = seen(f"{HEAD}{row}\nR9;1k;;a;b\n", tmp_path)
    wrong = [r for r in found.rows if r.what == "wrong"]
    assert len(wrong) == 1 and any(says in str(p) for p in wrong[0].problems), found.rows
    assert all(p.line == wrong[0].line for p in wrong[0].problems)
    desk = TypingIn(tmp_path / "m.yaml")
    with pytest.raises(ProblemsError):
        fill(desk, found)
    fill(desk, found, leave_out=True)
    assert wrong[0].ref not in desk.look().entries("parts") or "stands on" in says
    assert "R9" in desk.look().entries("parts")


def test_commas_are_points_only_where_that_is_said(tmp_path: Path) -> None:
    text = "Ref;Value;Net 1;Net 2\nR1;4,7k;a;b\nR2;1k;a;b\n"
    assert seen(text, tmp_path).commas and not seen(text, tmp_path, comma=True).commas
    assert seen(text, tmp_path, comma=True).rows[0].entry["value"] == "4.7k"


def test_marks_and_codes_of_other_programs(tmp_path: Path) -> None:
    rows = "Ref,Value,Net 1,Net 2\r\nC1,10µ,a,b\r\n"
    for data in (rows.encode("utf-8-sig"), rows.encode("utf-16"), rows.encode("cp1252")):
        found = seen(data, tmp_path)
        assert found.rows[0].entry["value"] == "10µ"
        assert bool(found.table.notes) == (data == rows.encode("cp1252"))
    assert seen("Ref,Value,Nets\nR1, 4k7\u00a0,'=x b\n", tmp_path).rows[0].entry["a"] == "=x"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"\n ; ;\n", "empty"),
        (b"PK\x03\x04rest", "workbook"),
        (b"a\0b", "not text"),
        (b'Ref,Value\nR1,"4k7\nR2,1k\n', "a quote opened"),
        (b"x" * (MOST_BYTES + 1), "more than"),
        (b"," * 500 + b"R1", "columns"),
        (b"R1," + b"x" * 3000, "characters"),
        (b"R1,1k,a,b\n" * 3001, "rows"),
        (b"Ref,Value\n", "no row below"),
    ],
)
def test_what_is_no_table_is_refused_in_words(data: bytes, says: str, tmp_path: Path) -> None:
    with pytest.raises(ProblemsError, match=says):
        seen(data, tmp_path)


PIECES = ["R1", "=1", '"', ",", ";", "\t", "\n", "4k7", "Ref", "'"]


@settings(max_examples=150, deadline=None)
@given(
    st.one_of(
        st.binary(max_size=400),
        st.text(max_size=300),
        st.lists(st.sampled_from(PIECES), max_size=60).map("".join),
    )
)
def test_any_bytes_are_a_table_or_refused_in_words(data: bytes | str) -> None:
    try:
        found = read_table(data)
    except ProblemsError as error:
        assert error.problems and all(p.wrong for p in error.problems)
        return
    assert found.rows and len({len(r) for r in found.rows}) == 1


@settings(max_examples=100, deadline=None)
@given(
    st.lists(
        st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1),
        min_size=1,
        max_size=5,
    )
)
def test_any_cell_is_read_back_and_none_is_a_formula(cells: list[str]) -> None:
    row = ["R1", *cells]
    text = write_table([row, row])
    assert read_table(text, ",").rows == (tuple(row), tuple(row))
    assert not any(guarded(c).startswith(("=", "+", "-", "@")) for c in cells)


def test_rows_over_parts_that_are_there_keep_what_they_do_not_say(tmp_path: Path) -> None:
    file = "assembly: M\nparts:\n  R1: {kind: resistor, value: 1k, power: 1W, a: x, b: y} # kept\n"
    found = seen("Ref,Value\nR1,2k2\n", tmp_path, file)
    assert found.rows[0].what == "changed"
    desk = TypingIn(tmp_path / "m.yaml")
    assert fill(desk, found) == "0 parts new, 1 changed"
    now = desk.file.read_text(encoding="utf-8")
    assert now == file.replace("1k", "2k2")
    assert desk.undo() == "taken back: a table: 0 parts new, 1 changed"
    assert desk.file.read_text(encoding="utf-8") == file
