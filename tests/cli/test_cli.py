"""Every command, typed as at the bench: what it stores and what it prints."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from halfsplit.cli.app import app
from halfsplit.journal import journal_path
from tests.cli.conftest import TRAY, Run
from tests.cli.helpers import COMMANDS, stored

# -- what the commands do -------------------------------------------------------------------------


def test_a_bad_reading_does_not_lose_the_good_ones(tray: Path, run: Run) -> None:
    ran = run("read", "pt3.yaml", "p5=4.9.8", "n12=-12.04", "nonesuch=1")
    assert ran.code == 1
    assert "N12 -12.04 V" in ran.out
    assert "4.9.8" in ran.out and "nonesuch" in ran.out
    assert [b["text"] for _, kind, b in stored(tray) if kind == "read"] == ["-12.04"]
    data = run("read", "pt3.yaml", "p5=x", "p12=12.1", "--json").json
    assert [e["body"]["net"] for e in data["stored"]] == ["p12"]
    assert [p["path"] for p in data["problems"]] == ["p5"]


def test_over_range_is_kept_but_not_weighed(tray: Path, run: Run) -> None:
    before = run("suspects", "pt3.yaml", "--json").json
    ran = run("read", "pt3.yaml", "p5=OL")
    assert ran.code == 0 and "kept, not weighed" in ran.out
    ((_, _, body),) = [e for e in stored(tray) if e[1] == "read"]
    assert (body["state"], body["text"], body["value"]) == ("over", "OL", None)
    assert run("suspects", "pt3.yaml", "--json").json == before
    resumed = run("resume", "pt3.yaml", "--json").json
    assert resumed["readings"] == 1 and resumed["last_readings"][0]["body"]["text"] == "OL"


def test_a_reading_carries_condition_and_meter(tray: Path, run: Run) -> None:
    run("meter", "pt3.yaml", "--ohms", "1M", "--accuracy", "1.5%", "--counts", "4")
    run("read", "pt3.yaml", "p1:P12=0.41", "p5=30mV", "--load", "half", "--ripple")
    first, second = (b for _, kind, b in stored(tray) if kind == "read")
    assert (first["net"], first["against"]) == ("p1", "p12")
    assert (second["quantity"], second["value"], second["resolution"]) == ("ripple", 0.03, 0.001)
    assert (first["condition"]["feed"], first["condition"]["load"]) == ("raws", "half")
    assert first["meter"]["ohms"] == 1e6
    assert (first["meter"]["fraction"], first["meter"]["counts"]) == (0.015, 4)
    assert run("resume", "pt3.yaml", "--json").json["condition"]["load"] == "half"


def test_a_refused_change_leaves_the_load_as_it_was(tray: Path, run: Run) -> None:
    before = stored(tray)
    assert run("change", "pt3.yaml", "R99", "removed", "--load", "half").code == 3
    assert run("change", "pt3.yaml", "R3", "removed", "--load", "nonesuch").code == 3
    assert stored(tray) == before
    assert run("change", "pt3.yaml", "R3", "removed", "--load", "half").code == 0
    now = stored(tray)[-1][2]["condition"]
    assert now["load"] == "half" and [c["part"] for c in now["changes"]] == ["R3"]


def open_items(run: Run) -> list[str]:
    ran = run("resume", "pt3.yaml", "--json")
    assert ran.code == 0
    items: list[str] = ran.json["open_items"]
    return items


def test_changes_are_open_items_until_put_right(tray: Path, run: Run) -> None:
    assert open_items(run) == []
    for change in ("R12 lift a", "C4 removed"):
        assert run("change", "pt3.yaml", *change.split()).code == 0
    assert open_items(run) == ["C4 removed", "R12 lead a lifted"]
    text = run("resume", "pt3.yaml").out
    assert "Open item: C4 removed" in text and "Open item: R12 lead a lifted" in text
    assert run("change", "pt3.yaml", "C4 fitted value=33u").code == 0
    assert run("change", "pt3.yaml", "r12", "put-back").code == 0
    assert open_items(run) == []
    assert "C4 fitted as value 33u" in run("resume", "pt3.yaml").out
    assert run("undo", "pt3.yaml").code == 0  # R12 was not put back after all
    assert [c["what"] for c in stored(tray)[-1][2]["condition"]["changes"]] == ["fitted", "lifted"]


def test_undo_and_its_undo_change_the_verdict_and_back(tray: Path, run: Run) -> None:
    none = run("suspects", "pt3.yaml", "--json").json
    run("read", "pt3.yaml", "n12=-1.83")
    one = run("suspects", "pt3.yaml", "--json").json
    assert one["groups"] != none["groups"] and one["readings"] == 1
    ran = run("undo", "pt3.yaml")
    assert ran.code == 0 and "entry #2 is undone" in ran.out
    assert run("suspects", "pt3.yaml", "--json").json == none
    assert run("undo", "pt3.yaml", "3").code == 0
    assert run("suspects", "pt3.yaml", "--json").json == one


def test_next_before_and_after_readings(tray: Path, run: Run) -> None:
    before = run("next", "pt3.yaml", "--json").json
    first = before["checks"][0]
    assert before["act"] is None and first["outcomes"] and first["at"]
    assert first["condition"]["feed"] == "raws"
    assert run("read", "pt3.yaml", f"{first['net']}=0.02").code == 0
    after = run("next", "pt3.yaml", "--json").json
    assert (after["checks"][0]["net"], after["checks"][0]["quantity"]) != (
        first["net"],
        first["quantity"],
    )
    text = run("next", "pt3.yaml").out
    assert "probe on" in text and "raws" in text


BOARD = """\
assembly: divider board
parts:
  V1: {kind: supply, volts: 12V, pos: vin, neg: com}
  R1: {kind: resistor, value: 1k, a: vin, b: mid}
  R2: {kind: resistor, value: 2k2, a: mid, b: low}
  R3: {kind: resistor, value: 2k2, a: low, b: com}
"""


def test_enough_known_ends_in_proof_out_of_circuit(tray: Path, run: Run) -> None:
    Path("board.yaml").write_text(BOARD, encoding="utf-8")
    assert run("read", "board.yaml", "vin=12.01", "mid=12.00", "low=0.00").code == 0
    act = run("next", "board.yaml", "--json").json["act"]
    assert act["group"] == ["R2 open"] and act["weight"] > 0.9
    text = run("next", "board.yaml").out
    assert "Enough is known to act: R2 open" in text
    assert "Prove R2 open out of circuit, or with one lead lifted" in text
    assert "caution: fed by supply: switch that off first" in text


def test_off_proposes_no_powered_reading(tray: Path, run: Run) -> None:
    assert run("change", "pt3.yaml", "--feed", "off").code == 0
    data = run("next", "pt3.yaml", "--json").json
    assert "off" in data["blocked"]
    assert {c["quantity"] for c in data["checks"]} == {"ohms"}  # nothing that needs power


def test_export_restores_a_lost_journal(tray: Path, run: Run) -> None:
    run("read", "pt3.yaml", "p5=4.98", "n12=OL")
    run("undo", "pt3.yaml", "2")
    run("observe", "pt3.yaml", "Ω µ – ü")
    text = run("export", "pt3.yaml").out
    document = run("export", "pt3.yaml", "--json").out
    Path("export.json").write_text(document, encoding="utf-8")
    assert run("restore", "pt3.yaml", "export.json").code == 2  # the journal is still there
    assert run("export", "pt3.yaml").out == text
    journal_path(tray).unlink()
    assert run("restore", "pt3.yaml", "export.json").code == 0
    assert run("export", "pt3.yaml").out == text
    assert run("export", "pt3.yaml", "--json").out == document


def test_edit_changes_one_value_and_no_other_byte(tray: Path, run: Run) -> None:
    before = TRAY.read_bytes()
    assert run("edit", "pt3.yaml", "parts.R6.value", "2k0").code == 0
    line = b"R6:   {kind: resistor, value: 2k2,"
    assert before.count(line) == 1
    assert tray.read_bytes() == before.replace(line, line.replace(b"2k2", b"2k0"))
    assert run("edit", "pt3.yaml", "parts.R6.value", "2k2").code == 0
    assert tray.read_bytes() == before
    assert run("edit", "pt3.yaml", "parts.R6.value", "banana").code == 1
    assert run("edit", "pt3.yaml", "parts.R6", "banana").code in (1, 3)
    assert run("edit", "pt3.yaml", "parts.R6.walue", "2k").code == 1
    assert tray.read_bytes() == before
    assert sorted(p.name for p in tray.parent.glob("pt3*")) == [
        "pt3.journal",
        "pt3.journal.lock",
        "pt3.yaml",
    ]


def unprinted(file: Path) -> str:
    """The text without what the drawing prints, which names nets, loads and feeds again."""
    return re.sub(r"(?ms)^(printed|numbering):.*?(?=^\S)", "", file.read_text())


@pytest.mark.parametrize(
    ("old", "new", "lost"),
    [
        (r"\b(a|b|net): ref\b", r"\1: reference", "net ref"),
        (r"  half:", "  halved:", "load half"),
        (r"  raws:", "  benches:", "feed raws"),
        (r"  R3: ", "  R301: ", "part R3"),
    ],
)
def test_an_entry_the_file_no_longer_fits_is_named_never_guessed_at(
    tray: Path, run: Run, old: str, new: str, lost: str
) -> None:
    assert run("change", "pt3.yaml", "R3 removed", "--load", "half").code == 0
    assert run("read", "pt3.yaml", "ref=4.99").code == 0
    tray.write_text(re.sub(old, new, unprinted(tray)))
    assert run("check", "pt3.yaml").code == 0  # nothing is wrong with the file as such
    ran = run("suspects", "pt3.yaml")
    assert ran.code == 1
    assert lost in ran.out and "journal entry" in ran.out and "undo" in ran.out
    assert run("export", "pt3.yaml").code == 0


def test_the_way_out_of_a_stale_entry_works(tray: Path, run: Run) -> None:
    assert run("read", "pt3.yaml", "ref=4.99").code == 0
    tray.write_text(re.sub(r"\b(a|b|net): ref\b", r"\1: reference", unprinted(tray)))
    said = run("suspects", "pt3.yaml")
    assert said.code == 1
    way_out = re.search(r"halfsplit undo FILE (\d+)", said.out)
    assert way_out
    assert run("undo", "pt3.yaml", way_out[1]).code == 0
    assert run("suspects", "pt3.yaml").code == 0


def test_demo_steps_are_commands_as_typed(cache: Path, tmp_path: Path, run: Run) -> None:
    (tmp_path / "file").write_text("")
    assert run("demo", "--keep", str(tmp_path / "file")).code == 1
    steps = run("demo", "--keep", str(tmp_path / "d"), "--json").json["commands"]
    assert {step[0] for step in steps} <= set(COMMANDS)
    for argv in steps:
        app.parse_args(argv, exit_on_error=False, print_error=False)
