"""The boards of the fourth demo machine, its story worked through by commands step by step.

What each step must give is from the design notes of the demo (invented).
"""

from __future__ import annotations

import shutil
import sys
import xml.etree.ElementTree as ET
from io import StringIO
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.cli.helpers import QUILLON, stored

RACK = "boards.yaml"


@pytest.fixture
def rack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo file in a folder of its own that is also the current one."""
    monkeypatch.chdir(tmp_path)
    return Path(shutil.copy(QUILLON, tmp_path / RACK))


def test_the_story_from_empty_backplane_to_the_dead_chip(rack: Path, run: Run) -> None:
    # The order comes first, with what to measure before the first board.
    data = run("boards", RACK, "--json").json
    assert [b["board"] for b in data["boards"]] == ["BP", "ML32", "CP1", "SL2"]
    assert data["next"] == "BP" and len(data["owed"]) == 3

    assert run("boards", RACK, "--fit", "BP").code == 1
    assert run("boards", RACK, "BP.P5=22R", "BP.P12=OL", "BP.N12=OL", "--fit", "BP").code == 0
    assert run("boards", RACK, "BP.P5=5.04V", "BP.P5=0.25A", "BP.P12=12V", "BP.N12=-12V").code == 0

    # Memory alone, +12 V withheld: the shorted tantalum on the -5 V is found before it kills chips.
    ohms = ["ML32.P5=22R", "ML32.P12=110R", "ML32.N12=900R"]
    live = run("boards", RACK, *ohms, "--fit", "ML32")
    assert live.code == 1 and "--withhold P12" in live.err  # it was read at 12 V a moment ago
    assert run("boards", RACK, "--withhold", "P12", "--fit", "ML32").code == 0
    found = run("boards", RACK, "ML32.N5=-0.04V", "--json").json
    assert not found["read"][0]["go"]
    told = run("boards", RACK, "ML32.N5=-0.04V", "--apply", "P12")
    assert told.code == 1 and "ML32 N5: STOP" in told.out
    told = run("boards", RACK)
    assert (
        "next: switch off and take ML32 out" in told.out and "CP1" not in told.out.split("next:")[1]
    )
    refused = run("boards", RACK, "--apply", "P12")
    assert refused.code == 1 and "N5 reads -40.0 mV and must be -5.50 V to -4.50 V" in refused.err
    assert run("boards", RACK, "ML32.N5=-5.1V", "--apply", "P12").code == 0

    # Straps as found, then E4: the start block strap, then the map jumper.
    as_found = ["ML32.W1=out", "ML32.W2=in", "ML32.W3=in", "CP1.JP1=out", "SL2.SW2-6=on"]
    words = [w for item in as_found for w in ("--found", item)]
    sheet = run("settings", RACK, *words, "--json").json
    assert [m["words"] for m in sheet["move"]] == [
        "ML32 W1: out → in",
        "CP1 JP1: out → in",
        "SL2 SW2-6: on → off",
    ]
    for shown in ("E4", "E4 SIZE 0", "0100"):
        blamed = run("settings", RACK, "--code", shown, "--json").json["settings"]
        assert [b["straps"] for b in blamed] == [["ML32 W1: out → in"], ["CP1 JP1: out → in"]]

    moved = ["--moved", "ML32.W1=in", "--moved", "CP1.JP1=in", "--moved", "SL2.SW2-6=off"]
    sheet = run("settings", RACK, *moved, "--json").json
    assert sheet["move"] == [] and sheet["at_odds"] == []
    assert run("settings", RACK, "--code", "E4", "--json").json["settings"] == []
    start = next(b for b in sheet["boards"] if b["board"] == "ML32")["settings"][0]
    assert start["positions"][0] == {"strap": "W1", "found": "out", "now": "in", "to": "in"}

    # A data print before any address test: the advice comes before the ranking.
    early = run("memory", RACK, "--line", "E5 A=5A3C W=0020 R=0000")
    assert early.out.index("Run an address test first") < early.out.index("1. ")
    assert early.out.index("Never pull a chip") < early.out.index("1. ")
    last = run("resume", RACK).out
    assert last.index("Never pull a chip") < last.index("1. ")

    # The address test: MA3, its driver and its resistor element; and no chip to be changed yet.
    address = run("memory", RACK, "--line", "E6 A=.... X=0408", "--json").json
    assert address["causes"][0]["where"] == ["MA3", "driver U5", "resistor RN1 element 3"]
    assert "change no chip" in address["advice"][0]

    # Address passed: now the data print is believed.
    Path("print.txt").write_text(
        "LO 0000 HI 7FFF\nM1 OK\nE5 A=5A3C W=0020 R=0000\n", encoding="utf-8"
    )
    data = run("memory", RACK, "print.txt", "--json").json
    assert data["causes"][0]["where"] == ["U35"]
    assert data["first"][0] == {
        "address": "5A3C", "difference": "0020", "bank": 1, "bits": ["bit 5"]
    }  # fmt: skip
    assert not any("address test first" in a for a in data["advice"])

    # All passes: a march test and a pause test, cold and warm.
    lines = [w for code in ("M1 OK", "M2 OK") for w in ("--line", code)]
    last = run("memory", RACK, *lines, "--json").json
    assert last["clear"] and last["march"]["name"] == "March C-"
    assert "cold and warm" in " ".join(last["advice"])

    kinds = [kind for _, kind, _ in stored(rack)]
    assert kinds.count("board-in") == 2 and kinds.count("strap") == 8
    assert kinds.count("memory") == 4, "every print is kept"


def test_pasted_columns_from_standard_input(
    rack: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = "\n".join(f"{a:04X}, 0055, 0051" for a in range(0x4000, 0x8000, 999))
    monkeypatch.setattr(sys, "stdin", StringIO(f"address test: ok\ndata test\n{lines}\n"))
    ran = run("memory", RACK, "--paste")
    assert ran.code == 0
    assert "1. chip U32 (bank 1, bit 2)" in ran.out


def test_drawings_are_whole(rack: Path, run: Run) -> None:
    ran = run("settings", RACK, "--svg", "sheets", "--json")
    assert [Path(p).name for p in ran.json["drawings"]] == ["ML32.svg", "CP1.svg", "SL2.svg"]
    for path in ran.json["drawings"]:
        assert ET.fromstring(Path(path).read_text(encoding="utf-8")).tag.endswith("svg")


def test_text_of_every_sheet_has_what_a_person_needs(rack: Path, run: Run) -> None:
    order = run("boards", RACK).out
    assert "caution: Power off" in order and "P12 stays off until N5 reads" in order
    assert "all in and at work: P5 4.35 A of 5.00 A" in order
    sheet = run("settings", RACK, "--found", "ML32.W1=out").out
    assert "move ML32 W1: out → in" in sheet and "●" in sheet
    table = run("memory", RACK, "--march").out
    assert "March C-" in table and "48/48" in table and "pause test" in table


@pytest.mark.parametrize(
    ("code", "line"),
    [
        (1, "boards boards.yaml ML32.P5=5"),
        (1, "boards boards.yaml ML32.P77=5V"),
        (1, "settings boards.yaml --found ML32.W1=up"),
        (1, "settings boards.yaml --want CP1.map=17-bit"),
        (1, "settings boards.yaml --want memory=7FFF"),
        (1, "memory boards.yaml bad.txt"),
        (1, "boards bad.yaml"),
        (1, "boards boards.yaml --fit CP1"),
        (1, "boards boards.yaml ML32.N12=1k"),
        (1, "boards boards.yaml ML32.N5=-5.1V"),
        (2, "memory boards.yaml"),
        (3, "boards none.yaml"),
        (3, "boards boards.yaml --fit CP7"),
        (3, "boards boards.yaml --apply P7"),
        (3, "boards boards.yaml --out CP1"),
        (3, "settings boards.yaml --code E99"),
        (3, "memory boards.yaml none.txt"),
        (3, "memory boards.yaml --board CP1 --line x"),
    ],
)
def test_refusals_say_why_store_nothing_and_have_their_code(
    rack: Path, run: Run, code: int, line: str
) -> None:
    Path("bad.yaml").write_text("machine: x\nboards: {A: {worth: 99}}\n", encoding="utf-8")
    Path("bad.txt").write_text("5A3C 0020 0x\n", encoding="utf-8")
    ran = run(*line.split())
    assert ran.code == code, ran.out + ran.err
    assert (ran.out + ran.err).strip()
    if "bad.txt" in line:  # a print is typed at the bench: kept, though nothing in it counts
        assert [e[2]["text"] for e in stored(rack)] == ["5A3C 0020 0x\n"]
    else:
        assert stored(rack) == []
    as_json = run(*line.split(), "--json")
    assert as_json.json.get("problems") or as_json.json["code"] == code


def test_the_schema_is_printed(rack: Path, run: Run) -> None:
    assert run("boards", RACK, "--schema").json["title"] == "Halfsplit boards"


def test_a_print_is_told_in_its_own_words_and_what_lies_outside_is_left_out(
    rack: Path, run: Run
) -> None:
    ran = run("memory", RACK, "--line", "E5 A=FFFFF W=0020 R=0000")
    assert "E5 A=FFFFF W=0020 R=0000: a word came back wrong" in ran.out and "{A}" not in ran.out
    assert "differs by" not in ran.out and "outside this board, left out: FFFFF" in ran.out
    assert "nothing failed at an address of this board" in ran.out
    ran = run("memory", RACK, "--line", "E4 SIZE 0")
    assert 'settings RACK --code "E4 SIZE 0"' in ran.out
    ran = run("memory", RACK, "--line", "what is this")
    assert "1 line not understood, such as: what is this" in ran.out
    assert "write a message of the table of codes" in ran.out
