"""In-house markings: read with their places, used by assemblies, told by the command."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.assembly.file import load
from halfsplit.parts.house import HOUSE, house_numbers, read_house

GOOD = """\
"HM-2207": {type: 2N3906, says: cross-reference in the service manual, confidence: sure}
"72136": {type: 1N4004, says: found beside it on a later drawing, confidence: guess}
"""
MACHINE = """\
assembly: marked parts
common: com
parts:
  V1: {kind: supply, volts: 5V, pos: a, neg: com}
  R1: {kind: resistor, value: 1k, a: a, b: b}
  Q1: {type: HM-2207, c: com, b: com, e: b}
  CR1: {type: "72136", a: b, k: com}
"""
PLAIN = """\
assembly: without markings
parts:
  V1: {kind: supply, volts: 5V, pos: a, neg: com}
  R1: {kind: resistor, value: 1k, a: a, b: com}
"""


@pytest.fixture(autouse=True)
def _own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HALFSPLIT_CONFIG", str(tmp_path / "config"))


def machine(folder: Path, house: str = GOOD, text: str = MACHINE) -> Path:
    (folder / HOUSE).write_text(house, encoding="utf-8")
    path = folder / "m.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_marking_stands_for_its_type_and_keeps_who_says_so(tmp_path: Path) -> None:
    assembly, problems = load(machine(tmp_path))
    assert assembly is not None, [str(p) for p in problems]
    q1, cr1 = assembly.parts["Q1"], assembly.parts["CR1"]
    assert (q1.KIND, q1.type, q1.confidence) == ("pnp", "2N3906", "sure")
    assert "HM-2207" in str(q1.note) and "service manual" in str(q1.note)
    assert (cr1.KIND, cr1.type, cr1.confidence) == ("rectifier", "1N4004", "guess")


def test_what_the_line_says_wins(tmp_path: Path) -> None:
    text = MACHINE.replace("b: com, e: b}", "b: com, e: b, note: mine, confidence: likely}")
    assembly, _ = load(machine(tmp_path, text=text))
    assert assembly is not None
    assert (assembly.parts["Q1"].note, assembly.parts["Q1"].confidence) == ("mine", "likely")


def test_beside_the_machine_goes_before_the_users_own(tmp_path: Path) -> None:
    (tmp_path / "config").mkdir()
    own = "{type: BC557, says: me, confidence: guess}"
    own = f'"HM-2207": {own}\n"X9": {own.replace("BC557", "BC547")}\n'
    (tmp_path / "config" / HOUSE).write_text(own, encoding="utf-8")
    (tmp_path / HOUSE).write_text(GOOD, encoding="utf-8")
    found, problems = house_numbers(tmp_path)
    assert problems == []
    assert found["HM-2207"].type == "2N3906" and found["X9"].type == "BC547"
    assert found["X9"].line == 2


def test_without_the_file_nothing_changes(tmp_path: Path) -> None:
    path = machine(tmp_path)
    (tmp_path / HOUSE).unlink()
    assembly, problems = load(path)
    assert assembly is None
    assert any("HM-2207" in p.wrong and "not in the catalogue" in p.wrong for p in problems)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("1234: {type: 2N3906, says: me, confidence: sure}", "1:1: 1234: a marking that"),
        ('"2N3055": {type: 2N3906, says: me, confidence: sure}', "1:1: 2N3055: this is"),
        ('"X1": {type: 2N3906, confidence: sure}', ":1:1: X1.says: a marking needs its says"),
        ('"X1": {type: 2N39O6Q, says: me, confidence: sure}', "1:8: X1.type: type"),
        ('"X1": {type: 2N3906, says: me, confidence: maybe}', "X1.confidence: how sure"),
        ('"X1": {type: 2N3906, says: me, confidance: sure}', "confidance. Write confidence"),
        ('"X1": {type: [2N3906], says: me, confidence: sure}', "X1.type: words belong here"),
        ('"X1": 2N3906', ":1:1: X1: a marking needs its type and who says so"),
        ("- X1", "the file must list markings"),
        ('"X1": {type: 2N3906', "not readable as YAML"),
        (GOOD + '"HM - 2207": {type: BC557, says: me, confidence: sure}', "3:1: HM - 2207:"),
    ],
)
def test_a_bad_line_is_told_at_its_place_and_stops_nothing(
    tmp_path: Path, line: str, said: str
) -> None:
    assembly, problems = load(machine(tmp_path, line + "\n", PLAIN))
    told = [str(p) for p in problems if HOUSE in p.file]
    assert assembly is not None and any(said in t for t in told), told
    assert all(p.severity == "doubt" for p in problems)


def test_good_lines_of_a_bad_file_are_used(tmp_path: Path) -> None:
    (tmp_path / HOUSE).write_text(GOOD + '"X1": {type: nonesuch}\n', encoding="utf-8")
    found, problems = read_house(tmp_path / HOUSE)
    assert set(found) == {"HM-2207", "72136"} and len(problems) == 3


def test_a_file_that_is_no_text_is_a_problem(tmp_path: Path) -> None:
    (tmp_path / HOUSE).write_bytes(b"\xff\xfe\x00")
    found, problems = read_house(tmp_path / HOUSE)
    assert found == {} and "cannot be read" in problems[0].wrong


def test_a_type_without_a_circuit_is_refused_in_an_assembly(tmp_path: Path) -> None:
    text = MACHINE + '  U1: {type: "4116", a: a}\n'
    assembly, problems = load(machine(tmp_path, text=text))
    assert assembly is None
    assert any("4116 is a chip" in p.wrong and p.line == 8 for p in problems)


def test_a_stand_in_for_a_type_without_a_circuit_is_only_a_doubt(tmp_path: Path) -> None:
    text = PLAIN + '  U1: {type: "4116", kind: resistor, value: 360R, a: a, b: com}\n'
    assembly, problems = load(machine(tmp_path, text=text))
    assert assembly is not None and assembly.parts["U1"].KIND == "resistor"
    assert [p.severity for p in problems if "4116" in p.wrong] == ["doubt"]
