"""The commands wire, line and console: what they say, what they refuse, what they keep."""

from __future__ import annotations

import os
import shutil
import subprocess
import threading
import tty
from pathlib import Path

import numpy as np
import pytest

from halfsplit.boards.port import Port
from tests.boards.synthesis import synth
from tests.boards.test_console_file import BAD
from tests.cli.conftest import CONSOLE, Run
from tests.cli.helpers import PROGRAM, stored


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo console file in a folder of its own, with a bad file and a capture beside it."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(CONSOLE, "console.yaml")
    Path("bad.yaml").write_text(BAD, encoding="utf-8")
    made = synth(np.random.default_rng(5), 20.0)
    rows = "".join(f"{a:.9f},{b:.4f}\n" for a, b in zip(made.t, made.v, strict=True))
    Path("scope.csv").write_text("time,volts\n" + rows, encoding="utf-8")
    Path("few.csv").write_text("0,0\n1,1\n2,0\n", encoding="utf-8")
    Path("log.txt").write_bytes(b"QM 2.1\r\nE4 SIZE 0\r\n\xff\x00junk")
    return tmp_path


CODES: list[tuple[int, str]] = [
    (0, "wire console.yaml J3 T1"),
    (0, "wire console.yaml J3 T2"),
    (0, "wire console.yaml J3 T3"),
    (0, "wire console.yaml T2 T3 --svg a.svg --sheet a.html"),
    (0, "wire console.yaml J3 T1 --cable as-found"),
    (0, "wire console.yaml --cable planned"),
    (0, "line console.yaml"),
    (0, "line console.yaml --board SL-2 --want 300-7E1"),
    (0, "line console.yaml --switch 111010000 --against 9600-8N1"),
    (0, "line --capture scope.csv"),
    (0, "line --typed HELLO --appeared HeLLo"),
    (0, "line console.yaml --appeared qqq --cable as-found"),
    (0, "console console.yaml"),
    (0, "console console.yaml --paste log.txt"),
    (0, "console console.yaml --lamps 0100"),
    (0, "console console.yaml --lamps leds=1000"),
    (0, "check console.yaml"),
    (1, "check bad.yaml"),
    (1, "wire console.yaml J3"),
    (1, "wire console.yaml J3 J3"),
    (1, "wire bad.yaml J4 J4"),
    (1, "wire console.yaml T2 T1 --idle T9.1=3V"),
    (1, "wire console.yaml J3 T1 --idle T1.2=banana"),
    (1, "wire console.yaml J3 T1 --svg none/c.svg"),
    (1, "line"),
    (1, "line bad.yaml"),
    (1, "line console.yaml --want 9600"),
    (1, "line console.yaml --want 4800-8N1"),
    (1, "line console.yaml --switch 1"),
    (1, "line --capture console.yaml"),
    (1, "line --capture scope.csv --channel 0"),
    (1, "line --capture ."),
    (1, "console console.yaml --port /dev/null --line banana"),
    (1, "console console.yaml --port /dev/null --eol tab"),
    (1, "console console.yaml --paste ."),
    (1, "wire console.yaml J3 T1 --idle T1.2=9V"),
    (1, "console console.yaml --before 0"),
    (2, "line --typed HELLO"),
    (2, "wire"),
    (2, "console console.yaml --before last"),
    (3, "wire none.yaml J3 T1"),
    (3, "wire console.yaml J3 T7"),
    (3, "wire console.yaml --cable nonesuch"),
    (1, "wire console.yaml --cable planned --idle T1.2=9V"),
    (3, "wire console.yaml J3 T1 --idle T1.99=-9V"),
    (3, "line console.yaml --board nonesuch"),
    (3, "line --capture none.csv"),
    (3, "line --appeared x --cable as-found"),
    (3, "console none.yaml"),
    (3, "console console.yaml --port /dev/ttyNONE9"),
    (3, "console console.yaml --paste none.txt"),
    (3, "console console.yaml --lamps 0000"),
    (4, "line --capture few.csv"),
]


@pytest.mark.parametrize(("code", "line"), CODES, ids=[line for _, line in CODES])
def test_exit_code(here: Path, run: Run, code: int, line: str) -> None:
    ran = run(*line.split())
    assert ran.code == code, ran.out + ran.err
    assert (ran.out + ran.err).strip()
    as_json = run(*line.split(), "--json")
    assert as_json.code == code and as_json.json
    if code:
        assert not stored(here / "console.yaml")


HOSTILE = [
    ["wire", "\udcff.yaml", "a", "b"],
    ["wire", "console.yaml", "", ""],
    ["wire", "console.yaml", "[red]", "T1"],
    ["wire", "console.yaml", "J3", "T1", "--idle", ""],
    ["wire", "console.yaml", "J3", "T1", "--idle", "="],
    ["wire", "console.yaml", "J3", "T1", "--sheet", "a\0b"],
    ["line", "--appeared", "\udcff"],
    ["line", "--appeared", "→"],
    ["line", "--appeared", ""],
    ["line", "--capture", "a\0b"],
    ["line", "--capture", "/dev/null"],
    ["line", "console.yaml", "--switch", "[/red]"],
    ["line", "console.yaml", "--want", "9" * 400 + " 8N1"],
    ["console", "console.yaml", "--port", ""],
    ["console", "console.yaml", "--port", "a\0b"],
    ["console", "console.yaml", "--port", "/dev/null"],
    ["console", "console.yaml", "--seconds", "nan", "--port", "/dev/null"],
    ["console", "console.yaml", "--paste", "a\0b"],
    ["console", "console.yaml", "--before", "-5"],
    ["console", "console.yaml", "--lamps", "[/red]"],
]


@pytest.mark.parametrize("argv", HOSTILE, ids=[repr(a) for a in HOSTILE])
def test_hostile_words_end_in_words_and_a_code(here: Path, run: Run, argv: list[str]) -> None:
    ran = run(*argv)
    assert ran.code in (0, 1, 2, 3, 4, 5) and (ran.out + ran.err).strip()


def test_demo_story_step_by_step(here: Path, run: Run) -> None:
    """Cable as found, garbage, plan, parity switch, first line of the monitor, E4."""
    ran = run("wire", "console.yaml", "--cable", "as-found")
    assert "RX+" in ran.out and "floats" in ran.out
    words = ("--typed", "AAAAAA", "--appeared", r"\x8d\x12q\xfeT\x03")
    told = run("line", "console.yaml", *words, "--cable", "as-found", "--json").json
    assert told["causes"][0]["cause"] == "floating" and told["causes"][0]["share"] > 0.99
    alone = run("line", *words, "--json").json
    assert alone["causes"][0]["cause"] == "floating"
    made = run("wire", "console.yaml", "J3", "T1", "--sheet", "c.html", "--json").json
    assert made["ties"][0]["pin"] == "J3-5 (RX+)" and Path("c.html").read_text(encoding="utf-8")
    moved = run("line", "console.yaml", "--json").json
    assert moved["move"] == ["position 6: open (off), now closed (on)"]
    said = run("console", "console.yaml", "--paste", "log.txt")
    assert "W1 to W3" in said.out and "3 lines, 2 of them known" in said.out


def test_ends_that_differ_are_joined_through_converters(here: Path, run: Run) -> None:
    """Both lists, what feeds the converters, drawing and sheet; 0.18 V is hand-argued."""
    ran = run("wire", "console.yaml", "T2", "T3", "--svg", "a.svg", "--sheet", "a.html")
    for words in ("T2 to the converters", "T3 to the converters", "fed with", "1200 Bd"):
        assert words in ran.out
    assert "4N33-5" in Path("a.svg").read_text(encoding="utf-8")
    assert "T3 to the converters" in Path("a.html").read_text(encoding="utf-8")
    found = run("wire", "console.yaml", "T2", "T3", "--json").json["converter"]
    assert {"from": "T2-S- (sender -)", "to": "loop source-2"}.items() <= found["wires"][2].items()
    least = min(m["spare"] for k in found["links"] for m in k["margins"] if m["unit"] == "V")
    assert least == pytest.approx(0.18)
    bad = run("wire", "console.yaml", "J3", "T3", "--idle", "T3.TX=-9V", "--json")
    assert bad.code == 1 and not bad.json["read"][0]["good"]


def test_unknown_end_is_measured_then_planned(here: Path, run: Run) -> None:
    text = CONSOLE.read_text(encoding="utf-8").replace("end: DTE", "end: unknown")
    text = text.replace("mark: -12..-5V, space: 5..12V", "note: not known")
    Path("u.yaml").write_text(text, encoding="utf-8")
    first = run("wire", "u.yaml", "J3", "T1", "--json").json
    assert first["verdict"] == "measure" and set(first["if"]) == {"T1 is DTE", "T1 is DCE"}
    assert {c["at"] for c in first["checks"]} == {"T1-2 (TD)", "T1-3 (RD)"}
    found = run(
        "wire", "u.yaml", "J3", "T1", "--idle", "T1.2=-9.1V", "--idle", "T1.3=0.1V", "--json"
    ).json
    assert found["verdict"] == "join" and found["measured"] == {"T1": "DTE"}
    both = run("wire", "u.yaml", "J3", "T1", "--idle", "T1.2=-9V", "--idle", "T1.3=-9V", "--json")
    assert both.json["verdict"] == "measure"  # two pins at mark: no end drives both


def test_capture_is_read(here: Path, run: Run) -> None:
    made = synth(np.random.default_rng(5), 20.0)
    found = run("line", "--capture", "scope.csv", "--json").json
    assert found["nominal"] == made.nominal and found["mark"] == made.mark
    assert [ord(c) for c in found["text"]] == made.values
    assert found["snr"] == pytest.approx(20, abs=1.5)


def test_a_live_session_over_a_port(here: Path) -> None:
    """The command itself, at a pseudo-terminal: explains, keeps, and sends only what was typed."""
    machine, ours = os.openpty()
    tty.setraw(ours)
    command = [
        *PROGRAM,
        "console",
        "console.yaml",
        "--port",
        os.ttyname(ours),
        "--line",
        "9600-8N1",
    ]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdin and process.stdout
        assert "every byte is kept" in process.stdout.readline()
        os.write(machine, b"E4 SIZE 0\r\n")
        process.stdin.write("D 100\n")
        process.stdin.flush()
        assert os.read(machine, 100) == b"D 100\r"
        process.stdin.close()
        out = process.stdout.read()
        assert process.wait(20) == 0
    os.set_blocking(machine, False)
    with pytest.raises(BlockingIOError):
        os.read(machine, 1)
    os.close(machine)
    os.close(ours)
    assert "W1 to W3" in out and "11 bytes came and " in out
    rows = [(b["way"], b["pieces"][0][1]) for _, kind, b in stored(here / "console.yaml")]
    assert sorted(rows) == [("in", "E4 SIZE 0\r\n"), ("out", "D 100\r")]


def test_the_log_is_read_back_by_pages(here: Path, run: Run) -> None:
    text = "".join(f"LO 0000 HI {k:04X}\r\n" for k in range(9000))
    Path("long.txt").write_text(text, encoding="ascii", newline="")
    assert run("console", "console.yaml", "--paste", "long.txt").code == 0
    page = run("console", "console.yaml", "--json").json
    assert page["lines"][-1]["text"] == "LO 0000 HI 2327" and page["earlier"]
    before = run("console", "console.yaml", "--before", str(page["earlier"]), "--json").json
    assert before["lines"][-1]["entry"] < page["earlier"]
    assert f"--before {page['earlier']}" in run("console", "console.yaml").out


def test_an_idle_voltage_is_held_against_what_the_pin_should_read(here: Path, run: Run) -> None:
    good = run("wire", "console.yaml", "J3", "T1", "--idle", "T1.2=-9V")
    assert good.code == 0 and "T1-2 (TD) reads -9.00 V, as it should" in good.out
    bad = run("wire", "console.yaml", "J3", "T1", "--idle", "T1.2=9V", "--idle", "T1.3=0.1V")
    assert bad.code == 1 and "do not join yet: T1-2 (TD) reads 9.00 V" in " ".join(bad.out.split())
    assert "This cable will do" not in bad.out
    assert "the other sign: it sends, or holds a break" in " ".join(bad.out.split())
    # the other end is a sender as well: two senders would meet on one wire
    ran = run("wire", "console.yaml", "J3", "T1", "--idle", "T1.3=-9V", "--json")
    assert ran.code == 1 and [r["good"] for r in ran.json["read"]] == [False]
    assert "two drivers would meet" in ran.json["read"][0]["words"]


def test_two_ends_that_differ_are_told_apart_from_what_to_move(here: Path, run: Run) -> None:
    far = run("line", "console.yaml", "--against", "9000-7E1", "--json").json
    assert ["too far apart" in words for words in far["apart"]] == [True, False]
    assert all(words.startswith("position") for words in far["move"])
    near = run("line", "console.yaml", "--against", "9500-8N1", "--json").json
    assert near["apart"] == []


def test_a_problem_of_the_command_line_has_no_empty_place(here: Path, run: Run) -> None:
    assert run("wire", "console.yaml", "J3").out.startswith("error wire: name two connectors")


def test_a_port_that_goes_away_tells_what_is_kept(
    here: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pulled out in mid-line: the code says so, and what came is on disk; garbage is named."""
    machine, ours = os.openpty()
    tty.setraw(ours)
    name = os.ttyname(ours)

    def pulled_out() -> None:
        os.close(ours)
        os.close(machine)

    def opened(port: Port) -> Port:
        os.write(machine, b"\x80" * 30)  # what came before the port was open is lost
        threading.Timer(1.0, pulled_out).start()
        return port

    monkeypatch.setattr(Port, "__enter__", opened)
    ran = run("console", "console.yaml", "--port", name, "--seconds", "20")
    assert ran.code == 1 and "went away" in ran.err and "30 bytes came and " in ran.out
    assert "30 of 30 bytes are no text" in " ".join(ran.out.split())
    rows = [b["pieces"] for _, kind, b in stored(here / "console.yaml") if kind == "console"]
    assert "".join(text for pieces in rows for _, text in pieces) == "\x80" * 30
    bad = run("console", "console.yaml", "--port", "/dev/null", "--flow", "dtr", "--eol", "tab")
    assert bad.code == 1 and "--flow" in bad.out and "--eol" in bad.out


def test_the_caution_stands_before_what_is_measured_under_it(here: Path, run: Run) -> None:
    said = run("wire", "console.yaml", "J3", "T1", "--sheet", "a.html").out
    at = said.index("caution: between the two commons")
    assert said.index("Before joining") < at < said.index("should read")
    assert "60 V direct" in " ".join(said[at : at + 120].split())
    page = (here / "a.html").read_text(encoding="utf-8")
    assert page.index("IEC 61010-1") < page.index("should read")
    sheet = run("wire", "console.yaml", "J3", "T1", "--json").json
    assert "IEC 61010-1" in next(c for c in sheet["checks"] if c["caution"])["caution"]
