"""A typed file held against itself: what disagrees, which slip explains it, what undoes it."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from halfsplit.bench.proofread import Proof, proofread, undo_slip
from halfsplit.problems import NotFoundError, ProblemsError

ROOT = Path(__file__).resolve().parents[2]
RIGHT = ROOT / "tests" / "files" / "bench-follower.yaml"


def typed(folder: Path, old: str, new: str) -> Path:
    """The right file with one slip in it."""
    source = RIGHT.read_text(encoding="utf-8")
    assert source.count(old) == 1, old
    path = folder / "typed.yaml"
    path.write_text(source.replace(old, new), encoding="utf-8")
    return path


def undone(found: Proof, number: int, path: Path) -> str:
    """The file's text once an explanation's edit is made."""
    undo_slip(path, found.explanations[number])
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "first"),
    [
        ("value: 470R", "value: 4k7", "R1 value 4k7 is 470R"),
        ("value: 470R", "value: 47R", "R1 value 47R is 470R"),
        ("value: 5.6V", "value: 6.5V", "CR1 value"),
        ("value: 2k2, power: 0.25W, a: mid", "value: 22k, power: 0.25W, a: mid", "R4 value 22k"),
        ("a: com, k: zr", "a: zr, k: com", "CR1 has leads exchanged"),
        ("c: raw, b: zr, e: out", "c: out, b: zr, e: raw", "Q1 has leads exchanged"),
        ("pos: out, neg: com", "pos: com, neg: out", "C1 has leads exchanged"),
        ("a: out, b: mid", "a: zr, b: mid", "R3 a zr is out"),
        ("kind: npn", "kind: pnp", "Q1 kind pnp is npn"),
        ("mid: 2.44V", "mid: 4.24V", "sheet mid 4.24V is itself mistyped"),
    ],
)
def test_a_slip_is_named_first_and_undone(old: str, new: str, first: str, tmp_path: Path) -> None:
    path = typed(tmp_path, old, new)
    found = proofread(path)
    assert found.disagreements
    assert found.explanations[0].words.startswith(first), [e.words for e in found.explanations]
    if found.explanations[0].edits and first != "CR1 value":
        assert undone(found, 0, path) == RIGHT.read_text(encoding="utf-8")
        assert not proofread(path).disagreements


def test_a_value_nobody_makes_is_asked_about_though_nothing_leans_on_it(tmp_path: Path) -> None:
    path = typed(tmp_path, "value: 1k, power", "value: 1k04, power")
    found = proofread(path)
    assert any(d.path == "parts.R2.value" and d.gives == "1k04" for d in found.disagreements)
    assert found.explanations[0].place == "R2 value"


def test_a_misspelled_net_keeps_the_file_from_loading_and_is_put_right(tmp_path: Path) -> None:
    path = typed(tmp_path, "a: out, b: mid", "a: outt, b: mid")
    found = proofread(path)
    assert found.explanations[0].words.startswith("R3 a outt is out")
    assert undone(found, 0, path) == RIGHT.read_text(encoding="utf-8")


def test_a_part_left_out_is_named_by_the_numbering_and_placed(tmp_path: Path) -> None:
    line = re.search(r"  R4: .*\n", RIGHT.read_text(encoding="utf-8"))
    assert line
    path = typed(tmp_path, line[0], "")
    found = proofread(path)
    first = found.explanations[0]
    assert (first.sort, first.part) == ("left out", "R4")
    assert "mid" in first.now and "com" in first.now
    undo_slip(path, first)
    assert re.search(
        r"^  R4: \{kind: resistor, value: 2k2, a: mid, b: com\}$", path.read_text(), re.M
    )
    assert not proofread(path).disagreements


def test_a_reference_misread_is_renamed(tmp_path: Path) -> None:
    path = typed(tmp_path, "R2: ", "R7: ")
    found = proofread(path)
    assert found.explanations[0].words.startswith("R7 is R2 on the drawing")
    assert undone(found, 0, path) == RIGHT.read_text(encoding="utf-8")


def test_numbers_before_and_after_are_told(tmp_path: Path) -> None:
    found = proofread(
        typed(tmp_path, "value: 2k2, power: 0.25W, a: mid", "value: 22k, power: 0.25W, a: mid")
    )
    first = found.explanations[0]
    mid = next(c for c in first.changes if c[0] == "mid 2.44V")
    assert mid[2].startswith("4.4") and mid[3].startswith("2.4") and mid[4]
    assert first.left == 0
    assert sum(e.weight for e in found.explanations) + found.unexplained < 1.001


def test_a_part_over_its_rating_is_flagged(tmp_path: Path) -> None:
    # 12 V less 5.6 V over 470 ohm take 87 mW.
    found = proofread(typed(tmp_path, "value: 470R, power: 0.5W", "value: 470R, power: 0.05W"))
    assert any("R1 takes 0.08" in d.says or "R1 takes 8" in d.says for d in found.disagreements)
    assert found.explanations[0].place == "R1 power"


@pytest.mark.parametrize(
    "file", ["hd40/pt3.yaml", "stile17/ob8.yaml", "type88/supply.yaml", "tl6/su6.yaml"]
)
def test_right_files_are_let_alone(file: str) -> None:
    found = proofread(ROOT / "examples" / file)
    assert found.disagreements == () and found.explanations == ()
    assert found.claims > 30


def test_an_entry_that_cannot_be_read_is_left_to_check(tmp_path: Path) -> None:
    with pytest.raises(ProblemsError):
        proofread(typed(tmp_path, "value: 470R", "value: 470X"))
    with pytest.raises(NotFoundError):
        proofread(tmp_path / "none.yaml")


@pytest.fixture(scope="module")
def slips() -> ModuleType:
    path = ROOT / "proofs" / "typing_slips.py"
    spec = importlib.util.spec_from_file_location("typing_slips", path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("number", [6, 9, 24])
def test_seeded_slips_of_the_tray_are_named(slips: ModuleType, number: int) -> None:
    assert 1 <= slips.run_case("hd40/pt3", 1, number)["place"] <= 3


def test_a_slip_that_is_not_named_counts_as_such(slips: ModuleType, tmp_path: Path) -> None:
    path = typed(tmp_path, "value: 470R", "value: 4k7")
    found = proofread(path)
    first = found.explanations[0]
    assert slips.named(first, "decade or letter", "R1", path, RIGHT) == (True, True)
    assert slips.named(first, "decade or letter", "R1", RIGHT, path) == (False, False)
    assert slips.named(first, "part left out", "R2", path, RIGHT) == (True, True)
    other = typed(tmp_path, "value: 1k, power", "value: 10k, power")
    assert not slips.named(first, "decade or letter", "R2", other, RIGHT)[0]
