"""Every command, typed as at the bench: what it stores, what it prints, and its exit code."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from halfsplit.bench import Session
from halfsplit.cli import main
from halfsplit.cli.app import app
from halfsplit.journal import Journal, journal_path
from halfsplit.problems import ExitCode
from tests.cli.conftest import TRAY, Ran, Run

ROOT = Path(__file__).resolve().parents[2]
NO_SOURCE = ROOT / "tests" / "files" / "bad" / "no_source.yaml"
COMMANDS = sorted(name for name in app if not name.startswith("-"))


def stored(file: Path) -> list[tuple[int, str, dict[str, Any]]]:
    with Journal.open(journal_path(file)) as journal:
        return [(e.seq, e.kind, dict(e.body)) for e in journal.entries()]


# -- exit codes ------------------------------------------------------------------------------

CODES: list[tuple[int, str]] = [
    (0, "check pt3.yaml"),
    (0, "expect pt3.yaml p5 N12 TP4"),
    (0, "read pt3.yaml p5=4.98 TP1=-12.04 p1:p12=0.41"),
    (0, "read pt3.yaml p5=50mV --ripple"),
    (0, "observe pt3.yaml smell --part Q10 --touched"),
    (0, "change pt3.yaml R3 removed"),
    (0, "change pt3.yaml --load p5=2R,p12=1A"),
    (0, "meter pt3.yaml --ohms 1M --accuracy 1% --counts 3"),
    (0, "undo pt3.yaml"),
    (0, "undo pt3.yaml 1"),
    (0, "suspects pt3.yaml --most 2"),
    (0, "next pt3.yaml"),
    (0, "resume pt3.yaml"),
    (0, "export pt3.yaml"),
    (0, "edit pt3.yaml parts.R6.value 2k0"),
    (0, "schema"),
    (0, "--help"),
    (0, "--version"),
    (0, ""),
    (1, "check bad.yaml"),
    (1, "expect bad.yaml p5"),
    (1, "suspects bad.yaml"),
    (1, "read pt3.yaml p5=4.98.1"),
    (1, "read pt3.yaml p5"),
    (1, "read pt3.yaml"),
    (1, "read pt3.yaml p5=4.9 p5=x nonesuch=1"),
    (1, "expect pt3.yaml --load p5=0R"),
    (1, "observe pt3.yaml smell --touched"),
    (1, "change pt3.yaml"),
    (1, "change pt3.yaml R3"),
    (1, "change pt3.yaml R3 exploded"),
    (1, "change pt3.yaml R3 lift q"),
    (1, "change pt3.yaml R3 fitted value=banana"),
    (1, "change pt3.yaml CR5 fitted type=2N3055"),
    (1, "meter pt3.yaml --ohms banana"),
    (1, "edit pt3.yaml parts.R6.value banana"),
    (1, "restore pt3.yaml pt3.yaml"),
    (2, "frobnicate pt3.yaml"),
    (2, "check"),
    (2, "check pt3.yaml extra"),
    (2, "next pt3.yaml --frobnicate"),
    (2, "suspects pt3.yaml --most some"),
    (2, "suspects pt3.yaml --most 0"),
    (2, "undo pt3.yaml last"),
    (2, "meter pt3.yaml --counts few"),
    (2, "observe pt3.yaml"),
    (2, "edit pt3.yaml parts.R6.value"),
    (3, "check none.yaml"),
    (3, "next none.yaml"),
    (3, "edit none.yaml parts.R6.value 2k"),
    (3, "expect pt3.yaml nonesuch"),
    (3, "expect pt3.yaml --load nonesuch"),
    (3, "expect pt3.yaml --feed nonesuch"),
    (3, "read pt3.yaml nonesuch=1"),
    (3, "read pt3.yaml p5:nonesuch=1"),
    (3, "read pt3.yaml p5=1 --feed nonesuch"),
    (3, "observe pt3.yaml smell --part Q99"),
    (3, "change pt3.yaml R99 removed"),
    (3, "change pt3.yaml R3 put-back"),
    (3, "edit pt3.yaml parts.R99.value 2k"),
    (3, "undo pt3.yaml 99"),
    (3, "restore pt3.yaml none.json"),
]


@pytest.mark.parametrize(("code", "line"), CODES, ids=[line for _, line in CODES])
def test_exit_code(tray: Path, run: Run, code: int, line: str) -> None:
    shutil.copy(NO_SOURCE, "bad.yaml")
    before = stored(tray)
    ran = run(*line.split())
    assert ran.code == code, ran.out + ran.err
    if code:
        assert (ran.out + ran.err).strip(), "a refusal must say why"
        if not line.startswith("read pt3.yaml p5=4.9 "):
            assert stored(tray) == before, "a refused command stored something"


def test_busy_journal_is_exit_code_5(tray: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(Journal.open.__func__.__kwdefaults__, "wait", 0.1)  # type: ignore[attr-defined]
    with Journal.open(journal_path(tray)):
        ran = run("read", "pt3.yaml", "p5=1")
        as_json = run("read", "pt3.yaml", "p5=1", "--json")
    assert ran.code == as_json.code == ExitCode.BUSY == 5
    assert f"in use by process {os.getpid()}" in ran.err
    assert as_json.json["code"] == 5


def test_damaged_journal_is_said_and_left_alone(tray: Path, run: Run) -> None:
    journal_path(tray).write_bytes(b"not a journal at all\n" * 50)
    ran = run("resume", "pt3.yaml")
    assert ran.code == 1 and "restore" in ran.err
    assert journal_path(tray).read_bytes() == b"not a journal at all\n" * 50


def test_ctrl_c_is_exit_code_130(tray: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Session, "suspects", stopped)
    ran = run("suspects", "pt3.yaml")
    assert ran.code == 130 and "on disk" in ran.err
    with Journal.open(journal_path(tray), wait=0):
        pass  # the lock is free again


# -- JSON ------------------------------------------------------------------------------------

AS_JSON = {
    "change": "change pt3.yaml R12 lift a",
    "check": "check pt3.yaml",
    "demo": "demo --keep shown",
    "edit": "edit pt3.yaml rails.P5.note new",
    "expect": "expect pt3.yaml p5 live --all-loads",
    "export": "export pt3.yaml",
    "meter": "meter pt3.yaml --counts 1",
    "next": "next pt3.yaml",
    "observe": "observe pt3.yaml hum",
    "read": "read pt3.yaml p5=OL n12=-1.83",
    "restore": "restore new.yaml export.json",
    "resume": "resume pt3.yaml",
    "schema": "schema",
    "suspects": "suspects pt3.yaml",
    "undo": "undo pt3.yaml",
}


@pytest.mark.parametrize("name", COMMANDS)
def test_json_of_every_command_parses(tray: Path, run: Run, name: str) -> None:
    assert run("read", "pt3.yaml", "p5=1.06", "sum=OL").code == 0
    Path("export.json").write_text(run("export", "pt3.yaml", "--json").out, encoding="utf-8")
    ran = run(*AS_JSON[name].split(), "--json")
    assert ran.code == 0 and ran.err == ""
    assert ran.json


@pytest.mark.parametrize(
    "line",
    [
        "check bad.yaml",
        "next bad.yaml",
        "next none.yaml",
        "read pt3.yaml nonesuch=1 p5=x",
        "undo pt3.yaml 99",
        "undo pt3.yaml x",
        "change pt3.yaml R3",
        "suspects pt3.yaml --most 0",
        "edit pt3.yaml parts.R6.value banana",
        "restore pt3.yaml none.json",
    ],
)
def test_json_of_a_refusal_parses(tray: Path, run: Run, line: str) -> None:
    shutil.copy(NO_SOURCE, "bad.yaml")
    ran = run(*line.split(), "--json")
    assert ran.code in (1, 2, 3)
    assert ran.json.get("problems") or ran.json["code"] == ran.code


# -- what the commands do --------------------------------------------------------------------


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


def test_a_part_already_found_ends_in_proof_and_repair(tray: Path, run: Run) -> None:
    """C4 short by the readings of the demo: act on it, and a new one clears the suspicion."""
    assert run("read", "pt3.yaml", "n12=-1.83", "p5=1.06", "sum=4.90").code == 0
    act = run("next", "pt3.yaml", "--json").json["act"]
    assert act["group"] == ["C4 short"]
    assert act["prove"]["C4 short"]


def test_off_proposes_no_powered_reading(tray: Path, run: Run) -> None:
    assert run("change", "pt3.yaml", "--feed", "off").code == 0
    data = run("next", "pt3.yaml", "--json").json
    assert data["checks"] == [] and "off" in data["blocked"]


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
    assert sorted(p.name for p in tray.parent.iterdir()) == [
        "pt3.journal",
        "pt3.journal.lock",
        "pt3.yaml",
    ]


@pytest.mark.parametrize(
    ("old", "new", "lost"),
    [
        ("net: ref, ", "net: p5, ", None),  # only the point's name moves
        ("ref", "reference", "net ref"),
        ("  half:", "  halved:", "load half"),
        ("  raws:", "  benches:", "feed raws"),
        ("  R3: ", "  R301: ", "part R3"),
    ],
)
def test_an_entry_the_file_no_longer_fits_is_named_never_guessed_at(
    tray: Path, run: Run, old: str, new: str, lost: str | None
) -> None:
    assert run("change", "pt3.yaml", "R3 removed", "--load", "half").code == 0
    assert run("read", "pt3.yaml", "ref=4.99").code == 0
    text = tray.read_text()
    if old == "ref":  # the net, wherever it stands
        text = re.sub(r"(b|a|net): ref\b", r"\1: reference", text)
    tray.write_text(text.replace(old, new) if old != "ref" else text)
    ran = run("suspects", "pt3.yaml")
    if lost is None:
        assert ran.code == 0
        return
    assert ran.code == 1
    assert lost in ran.out and "journal entry" in ran.out and "undo" in ran.out
    assert run("export", "pt3.yaml").code == 0


def test_the_way_out_of_a_stale_entry_works(tray: Path, run: Run) -> None:
    assert run("read", "pt3.yaml", "ref=4.99").code == 0
    tray.write_text(re.sub(r"(b|a|net): ref\b", r"\1: reference", tray.read_text()))
    said = run("suspects", "pt3.yaml")
    assert said.code == 1
    way_out = re.search(r"halfsplit undo FILE (\d+)", said.out)
    assert way_out
    assert run("undo", "pt3.yaml", way_out[1]).code == 0
    assert run("suspects", "pt3.yaml").code == 0


def test_demo_runs_every_step(cache: Path, tmp_path: Path, run: Run) -> None:
    (tmp_path / "file").write_text("")
    assert run("demo", "--keep", str(tmp_path / "file")).code == 1
    steps = run("demo", "--keep", str(tmp_path / "d"), "--json").json["commands"]
    assert {step[0] for step in steps} <= set(COMMANDS)
    for argv in steps:
        app.parse_args(argv, exit_on_error=False, print_error=False)


# -- bad input -------------------------------------------------------------------------------

HOSTILE: list[list[str]] = [
    ["check", ""],
    ["check", "."],
    ["check", "/"],
    ["check", "/dev/null"],
    ["check", "a\0b"],
    ["check", "x" * 5000],
    ["check", "pt3.yaml/x"],
    ["check", "\udcff.yaml"],
    ["check", "[bold]x[/bold].yaml"],
    ["next", ""],
    ["next", "."],
    ["next", "\udcff.yaml"],
    ["next", "pt3.journal"],
    ["read", "pt3.yaml", ""],
    ["read", "pt3.yaml", "="],
    ["read", "pt3.yaml", "=5"],
    ["read", "pt3.yaml", "p5="],
    ["read", "pt3.yaml", "p5:=5"],
    ["read", "pt3.yaml", ":p5=5"],
    ["read", "pt3.yaml", "a:b:c=5"],
    ["read", "pt3.yaml", "p5==5"],
    ["read", "pt3.yaml", "p5=nan"],
    ["read", "pt3.yaml", "p5=-inf"],
    ["read", "pt3.yaml", "p5=1e999"],
    ["read", "pt3.yaml", "p5=" + "9" * 5000],
    ["read", "pt3.yaml", "p5=٤.٩٨"],
    ["read", "pt3.yaml", "p5=\udcff"],
    ["read", "pt3.yaml", "\udcff=5"],
    ["read", "pt3.yaml", "p5=[/red]"],
    ["read", "pt3.yaml", "[/red]=5"],
    ["read", "pt3.yaml", "p5=-0.02", "--ripple"],
    ["read", "pt3.yaml", "p5=1", "--load", ""],
    ["read", "pt3.yaml", "p5=1", "--load", "=,="],
    ["read", "pt3.yaml", "p5=1", "--load", "p5=-2R"],
    ["read", "pt3.yaml", "p5=1", "--load", "p5=2R,p5=,"],
    ["read", "pt3.yaml", "p5=1", "--feed", ""],
    ["observe", "pt3.yaml", ""],
    ["observe", "pt3.yaml", "\udcff"],
    ["observe", "pt3.yaml", "x", "--part", ""],
    ["observe", "pt3.yaml", "x", "--part", "", "--touched"],
    ["change", "pt3.yaml", ""],
    ["change", "pt3.yaml", " "],
    ["change", "pt3.yaml", "R3"],
    ["change", "pt3.yaml", "R3 lift"],
    ["change", "pt3.yaml", "R3 lift a b"],
    ["change", "pt3.yaml", "R3 removed twice"],
    ["change", "pt3.yaml", "R3 fitted a=p5"],
    ["change", "pt3.yaml", "R3 fitted value"],
    ["change", "pt3.yaml", "R3 fitted value=-1k"],
    ["change", "pt3.yaml", "R3 fitted =1k"],
    ["change", "pt3.yaml", "CR5 fitted type=1N99999"],
    ["change", "pt3.yaml", "T1 fitted windings=none"],
    ["change", "pt3.yaml", "\udcff removed"],
    ["meter", "pt3.yaml", "--ohms", "0"],
    ["meter", "pt3.yaml", "--ohms", "-10M"],
    ["meter", "pt3.yaml", "--ohms", "\udcff"],
    ["meter", "pt3.yaml", "--accuracy", "-1%"],
    ["meter", "pt3.yaml", "--accuracy", "200%"],
    ["meter", "pt3.yaml", "--counts", "nan"],
    ["meter", "pt3.yaml", "--counts", "-1"],
    ["meter", "pt3.yaml", "--counts", "inf"],
    ["undo", "pt3.yaml", "0"],
    ["undo", "pt3.yaml", "-1"],
    ["undo", "pt3.yaml", "9" * 30],
    ["suspects", "pt3.yaml", "--most", "-5"],
    ["suspects", "pt3.yaml", "--most", "1e3"],
    ["expect", "pt3.yaml", ""],
    ["expect", "pt3.yaml", "p5 "],
    ["expect", "pt3.yaml", "--load", "p5=1e999R"],
    ["edit", "pt3.yaml", "", ""],
    ["edit", "pt3.yaml", ".", "x"],
    ["edit", "pt3.yaml", "parts", "x"],
    ["edit", "pt3.yaml", "parts.R6.value", ""],
    ["edit", "pt3.yaml", "parts.R6.value", "\udcff"],
    ["edit", "pt3.yaml", "parts.R6.value", "1k}\nparts: {"],
    ["edit", ".", "parts.R6.value", "1k"],
    ["edit", "x" * 5000, "parts.R6.value", "1k"],
    ["restore", "new.yaml", "."],
    ["restore", "new.yaml", "\udcff"],
    ["restore", "", "pt3.yaml"],
    ["demo", "--keep", "/dev/null/x"],
    ["demo", "--keep", "a\0b"],
    ["\udcff"],
    ["--"],
    ["--json"],
    ["check", "--json"],
]


def described(argv: list[str]) -> str:
    return ascii(" ".join(argv))[:60]


@pytest.mark.parametrize("argv", HOSTILE, ids=described)
def test_hostile_arguments_are_refused_in_words(tray: Path, run: Run, argv: list[str]) -> None:
    before, text = stored(tray), tray.read_bytes()
    ran = run(*argv)
    accepted = (["--"], ["read", "pt3.yaml", "p5=1", "--load", ""])
    if argv in accepted:
        assert ran.code == 0
        return
    assert ran.code in (1, 2, 3), ran.out + ran.err
    assert (ran.out + ran.err).strip()
    assert stored(tray) == before and tray.read_bytes() == text


WORDS = st.one_of(
    st.sampled_from(
        ["pt3.yaml", "p5=1", "n12=-1", "p5", "R3", "removed", "fitted", "value=1k", "lift", "a", "put-back", "--json", "--load", "--feed", "half", "off", "none", "raws", "--part", "Q10", "--touched", "--ripple", "--ohms", "10M", "--counts", "2", "undo", "1", "-1", "--", "-h", "--no-json", "--all-loads", "--keep", "parts.R6.value", "=", ":", ".", ",", "%"]
    ),
    st.text(max_size=8),
)


@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    name=st.sampled_from([c for c in COMMANDS if c not in ("demo", "next", "suspects", "resume")]),
    words=st.lists(WORDS, max_size=5),
)
def test_any_words_end_in_an_exit_code(tray: Path, run: Run, name: str, words: list[str]) -> None:
    """Commands that solve every fault are left out: any new condition takes them seconds."""
    ran = run(name, "pt3.yaml", *words)
    assert ran.code in (0, 1, 2, 3)
    shutil.copy(TRAY, tray)


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_a_terminal_without_ohm_signs_still_gets_its_words(tray: Path, encoding: str) -> None:
    ran = subprocess.run(
        [sys.executable, "-c", "from halfsplit.cli import main; main()"]
        + ["edit", "pt3.yaml", "parts.R6.value", "2k0"],
        env={**os.environ, "PYTHONIOENCODING": encoding},
        capture_output=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert b"2k2" in ran.stdout and b"2k0" in ran.stdout and ran.stderr == b""


# -- help ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(run: Run, name: str) -> None:
    summary = (app[name].help or "").strip().splitlines()[0]
    assert len(summary) > 20 and summary.endswith((".", '".'))
    ran = run(name, "--help")
    assert ran.code == 0
    assert " ".join(summary.split()[:4]) in " ".join(ran.out.split())
    assert "--json" in ran.out


def test_every_command_with_results_speaks_json() -> None:
    assert set(AS_JSON) == set(COMMANDS)


def test_documents_name_only_commands_that_exist() -> None:
    named = set()
    for document in [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]:
        for block in re.findall(r"`{3}.*?`{3}|`[^`\n]+`", document.read_text(), flags=re.S):
            named |= set(re.findall(r"\bhalfsplit ([a-z]+)\b", block))
    assert {"check", "read", "next"} <= named <= set(COMMANDS)
    assert main(["--version"]) == 0


def test_installed_program_returns_the_exit_code(tray: Path) -> None:
    program = [sys.executable, "-c", "from halfsplit.cli import main; main()"]
    bad = subprocess.run([*program, "check", "none.yaml", "--json"], capture_output=True, text=True)
    assert bad.returncode == 3
    assert json.loads(bad.stdout)["problems"]
    assert Ran(bad.returncode, bad.stdout, bad.stderr).json["file"] == "none.yaml"
