"""Straps of the demo, both ways, and every kind of disagreement between boards."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from halfsplit.boards.conflicts import conflicts
from halfsplit.boards.file import load_rack
from halfsplit.boards.model import Rack
from halfsplit.boards.picture import rows, svg_picture, text_picture
from halfsplit.boards.settings import (
    filled,
    meaningless,
    moves,
    read_choices,
    solve,
    why_absent,
)

Straps = dict[tuple[str, str], str]


def straps(rack: Rack, **other: str) -> Straps:
    """Every strap as delivered, but `ML32_W1="out"` and the like."""
    found: Straps = {}
    for name, setting in rack.settings().items():
        board = name.partition(".")[0]
        place = setting.table()[setting.usual or ""]
        found |= {(board, s): p for s, p in zip(setting.of, place, strict=True)}
    for name, position in other.items():
        board, strap = name.split("_")
        key = (board, strap.replace("x", "-"))
        assert key in found
        found[key] = position
    return found


def test_start_block_straps_count_with_in_as_nought(rack: Rack) -> None:
    # Design notes: W1-W3 binary, in = 0, W1 the lowest bit.
    table = rack.settings()["ML32.start"].table()
    assert table["0"] == ("in", "in", "in")
    assert table["1"] == ("out", "in", "in")
    assert table["6"] == ("in", "out", "out")


def test_rate_switches_follow_the_table(rack: Rack) -> None:
    table = rack.settings()["SL2.rate"].table()
    assert table["9600"] == ("on", "on", "on", "off")
    assert table["110"] == ("off",) * 4
    assert set(table) == {"110", "300", "1200", "9600"}


def test_reading_straps_undoes_placing_them(rack: Rack) -> None:
    for name, setting in rack.settings().items():
        board = name.partition(".")[0]
        for choice, place in setting.table().items():
            now = {(board, s): p for s, p in zip(setting.of, place, strict=True)}
            assert read_choices(rack, now)[name] == choice


def test_the_story_is_solved_with_the_fewest_straps(rack: Rack) -> None:
    now = straps(rack, ML32_W1="out", CP1_JP1="out", SL2_SW2x6="on")
    plan = solve(rack, read_choices(rack, now), rack.wanted, rack.wanted_memory)
    assert plan.conflicts == ()
    assert [m.words() for m in moves(rack, now, plan.choices)] == [
        "ML32 W1: out → in",
        "CP1 JP1: out → in",
        "SL2 SW2-6: on → off",
    ]


def test_as_delivered_nothing_is_at_odds(rack: Rack) -> None:
    now = read_choices(rack, straps(rack))
    assert conflicts(rack, filled(rack, now), rack.wanted_memory) == []
    assert solve(rack, now, rack.wanted, rack.wanted_memory).changed == ()


def test_absent_low_memory_names_start_strap_then_map_jumper(rack: Rack) -> None:
    now = read_choices(rack, straps(rack, ML32_W1="out", CP1_JP1="out"))
    blames = why_absent(rack, now, 0, 0x3FF)
    assert [(b.setting, b.to, b.puts_back) for b in blames] == [
        ("ML32.start", "0", True),
        ("CP1.map", "15-bit", False),
    ]


def test_with_right_straps_no_setting_is_blamed(rack: Rack) -> None:
    assert why_absent(rack, read_choices(rack, straps(rack)), 0, 0x3FF) == []


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        ({"ML32_W1": "out"}, "beyond the map", "6000..9FFF lies beyond the 15-bit map"),
        ({"ML32_W1": "out"}, "gap", "nothing answers at 0000..1FFF"),
        ({"CP1_JP1": "out"}, "gap", "nothing answers at 8000..FFFF of the 16-bit map"),
        ({"ML32_W4": "out"}, "gap", "nothing answers at 4000..7FFF"),
        ({"ML32_W7": "out"}, "rule", "exactly one source: now 0 instead of 1"),
        ({"CP1_SW1x5": "on", "ML32_W5": "out"}, "rule", "halting on parity"),
        ({"SL2_W11": "in"}, "duplicate address", "both answer at device address 10"),
    ],
)
def test_each_disagreement_is_told(
    rack: Rack, change: dict[str, str], kind: str, words: str
) -> None:
    choices = filled(rack, read_choices(rack, straps(rack, **change)))
    found = conflicts(rack, choices)
    assert any(c.kind == kind and words in c.words for c in found), found


TWO = """
machine: Two boards
numbers: octal
word: 16
width: 16
boards:
  A:
    worth: 1
    settings:
      start: {means: start, of: [S1, S2], kind: switch, one: on, first: high}
      parity:
        {means: parity, of: [S3], choices: {yes: in, no: out}, fitted: {yes: parity chips}}
      end: {means: terminator, of: [T1], choices: {fitted: in, none: out}}
    windows: {all: {setting: start, step: 4K, words: 4K, bits: 16}}
  B:
    worth: 1
    settings:
      start: {means: start, of: [S1, S2], kind: switch, one: off, first: high}
      end: {means: terminator, of: [T1], choices: {fitted: in, none: out}}
    windows: {all: {setting: start, step: 4K, words: 4K, bits: 8}}
rules:
  ends: {exactly: 2, among: {A.end: fitted, B.end: fitted}, why: one terminator at each end}
"""


@pytest.fixture
def two(tmp_path: Path) -> Rack:
    """Two memory boards that can disagree in the ways the demo cannot."""
    path = tmp_path / "two.yaml"
    path.write_text(TWO, encoding="utf-8")
    rack, problems = load_rack(path)
    assert rack is not None, problems
    return rack


def test_overlap_width_fitting_and_terminators(two: Rack) -> None:
    base = {"A.start": "1", "B.start": "2", "A.parity": "no", "A.end": "fitted", "B.end": "fitted"}
    kinds = [(c.kind, c.words) for c in conflicts(two, base)]
    assert kinds == [("width", "B all has 8 data bits, the machine 16")]
    found = {c.kind: c.words for c in conflicts(two, {**base, "B.start": "1"})}
    assert found["overlap"] == "A all and B all overlap at 010000..017777"
    found = {c.kind: c.words for c in conflicts(two, {**base, "A.parity": "yes"})}
    assert found["not fitted"] == "A.parity is yes, but parity chips is not fitted on A"
    found = {c.kind: c.words for c in conflicts(two, {**base, "B.end": "none"})}
    assert "now 1 instead of 2" in found["rule"]


def test_polarity_differs_between_boards_and_is_kept(two: Rack) -> None:
    settings = two.settings()
    assert settings["A.start"].table()["1"] == ("off", "on")
    assert settings["B.start"].table()["1"] == ("on", "off")


def test_the_fewest_changes_fill_the_memory_wanted(two: Rack) -> None:
    now: dict[str, str | None] = dict.fromkeys(two.settings(), None)
    now |= {"A.start": "1", "B.start": "1", "A.end": "fitted", "B.end": "fitted", "A.parity": "no"}
    plan = solve(two, now, {}, (0, 0o17777))
    assert {c.kind for c in plan.conflicts} == {"width"}  # no strap mends an 8-bit board
    assert sorted([plan.choices["A.start"], plan.choices["B.start"]]) == ["0", "1"]


def test_a_pattern_that_means_nothing_is_told(rack: Rack) -> None:
    now = straps(rack, SL2_SW2x4="on")  # 1111 is not in the rate table
    found = meaningless(rack, now)
    assert [c.settings for c in found] == [("SL2.rate",)]
    assert read_choices(rack, now)["SL2.rate"] is None


def test_pictures_show_where_each_strap_goes_and_which_move(rack: Rack) -> None:
    now = straps(rack, ML32_W1="out")
    plan = solve(rack, read_choices(rack, now), rack.wanted, rack.wanted_memory)
    items = rows(rack, "ML32", plan.choices, now)
    text = text_picture(items)
    assert text[0] == "start = 0  (start block of 8K words)"
    assert re.sub(" +", " ", text[2]).strip() == "in ● ● ●"
    assert re.sub(" +", " ", text[3]).strip() == "out ○ · ·"
    assert text[4].split() == ["move"]
    drawing = svg_picture("ML32", items)
    assert drawing.count("<rect") == 1 + 2 * 7  # the sheet, and two places for each of seven straps
    assert drawing.count("stroke-dasharray") == 1, "just one strap stands elsewhere now"
    assert drawing.count(">move<") == 1 and drawing.count(">look<") == 0
    # A strap nobody looked at is not drawn as one that stands wrong.
    del now[("ML32", "W4")]
    drawing = svg_picture("ML32", rows(rack, "ML32", plan.choices, now))
    assert drawing.count(">move<") == 1 and drawing.count(">look<") == 1
    assert drawing.count('fill="#c2410c"') == 3, "one strap: its name, its place, its word"
