"""Exit codes and JSON of every command."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from halfsplit.bench import Session
from halfsplit.journal import Journal, journal_path
from halfsplit.problems import ExitCode
from tests.cli.conftest import Run
from tests.cli.helpers import COMMANDS, FOLLOWER, NO_SOURCE, QUILLON, stored

# -- exit codes -----------------------------------------------------------------------------------

CODES: list[tuple[int, str]] = [
    (0, "check pt3.yaml"),
    (0, "proofread pt3.yaml"),
    (3, "proofread pt3.yaml --fix 1"),
    (3, "proofread none.yaml"),
    (2, "proofread pt3.yaml --fix 0"),
    (0, "expect pt3.yaml p5 N12 TP4"),
    (0, "read pt3.yaml p5=4.98 TP1=-12.04 p1:p12=0.41"),
    (0, "read pt3.yaml p5=50mV --ripple"),
    (0, "read pt3.yaml v5r=0.32 --ac"),
    (0, "read pt3.yaml v5r=100Hz --frequency"),
    (0, "observe pt3.yaml smell --part Q10 --touched"),
    (0, "change pt3.yaml R3 removed"),
    (0, "power pt3.yaml --load half"),
    (0, "leans pt3.yaml"),
    (0, "gate pt3.yaml --trip P5=6.2V"),
    (1, "gate pt3.yaml --trip P5"),
    (3, "gate pt3.yaml --override nonesuch --why because"),
    (3, "card pt3.yaml R99"),
    (0, "change pt3.yaml --load p5=2R,p12=1A"),
    (0, "part"),
    (0, "part --kind thyratron"),
    (0, "part 2n3055 ECC83 4116*16 74LS138*2"),
    (1, "part 4116*many"),
    (3, "part ZZ9999"),
    (3, "part --kind nonesuch"),
    (3, "part 2N3055 --of none.yaml"),
    (0, "meter pt3.yaml --ohms 1M --accuracy 1% --counts 3"),
    (0, "ohms pt3.yaml p12 sum"),
    (0, "ohms pt3.yaml TP1 com --diode"),
    (0, "ohms pt3.yaml N12 com --meter ohms-1mA --load half"),
    (0, "read pt3.yaml n12:com=1.5 --ohms --feed off"),
    (0, "read pt3.yaml n12:com=OL --diode --feed off"),
    (0, "load pt3.yaml P5 --stock 1R/50W*4,10R/25W*4"),
    (0, "protect pt3.yaml P5"),
    (0, "protect pt3.yaml P5 --trip 6.3V --trip 6.31V --trip 6.3V --knee 6.7A --short 4.5A"),
    (0, "reform pt3.yaml C1 --rule half-hour"),
    (0, "reform pt3.yaml C1 --rule four-hours --volts 10V --amps 300uA --minutes 5"),
    (0, "discharge pt3.yaml"),
    (0, "discharge pt3.yaml C1 --to 1V --through 47R --measured 0.4V"),
    (1, "load pt3.yaml P5 --stock 1R"),
    (1, "load pt3.yaml P6 --stock 1R/50W"),
    (1, "load pt3.yaml P5 --stock 1R/50W --pieces 0"),
    (0, "protect pt3.yaml P5 --hold-up 20ms"),
    (1, "protect pt3.yaml --trip 6.3V"),
    (1, "protect pt3.yaml P5 --trip banana"),
    (1, "reform pt3.yaml C1"),
    (1, "reform pt3.yaml C1 --rule four-hours --volts 10V"),
    (1, "reform pt3.yaml C6 --rule four-hours"),
    (1, "reform pt3.yaml C1 --rule half-hour --target 40V"),
    (1, "discharge pt3.yaml R1"),
    (1, "discharge pt3.yaml --measured 0.4V"),
    (2, "load pt3.yaml P5"),
    (2, "reform pt3.yaml"),
    (3, "protect pt3.yaml P6"),
    (3, "protect pt3.yaml --feed nonesuch"),
    (3, "reform pt3.yaml C99 --rule four-hours"),
    (3, "reform pt3.yaml C1 --rule nonesuch"),
    (3, "discharge pt3.yaml C99"),
    (4, "load pt3.yaml P5 --stock 1R/50W*4 --feed off"),
    (0, "picture pt3.yaml --svg out/whole.svg"),
    (0, "picture pt3.yaml --block P5 --block source --svg blocks.svg"),
    (3, "picture pt3.yaml --block nonesuch --svg x.svg"),
    (1, "picture pt3.yaml --block P5 --around R21 --svg x.svg"),
    (0, "compare pt3.yaml pt3.yaml"),
    (1, "compare pt3.yaml bad.yaml"),
    (3, "compare none.yaml pt3.yaml"),
    (3, "compare pt3.yaml pt3.yaml --block nonesuch --svg x.svg"),
    (0, "picture pt3.yaml --around R21 --hops 2 --notes --svg r21.svg"),
    (0, "picture pt3.yaml --load-curve P5 --svg p5.svg"),
    (0, "picture pt3.yaml --wave v5r --feed mains --load half --svg v5r.svg"),
    (0, "report pt3.yaml --quick --html r.html --pdf r.pdf --label l.pdf --worksheet w.html"),
    (1, "picture pt3.yaml"),
    (1, "picture pt3.yaml --around R21 --leans --svg x.svg"),
    (1, "picture pt3.yaml --captured x.csv --svg x.svg"),
    (1, "picture pt3.yaml --drill pt3.yaml --svg x.svg"),
    (1, "picture pt3.yaml --svg pt3.yaml/x.svg"),
    (1, "picture bad.yaml --svg x.svg"),
    (1, "report pt3.yaml"),
    (1, "report pt3.yaml --label label.txt"),
    (2, "picture pt3.yaml --hops 0 --svg x.svg"),
    (3, "picture pt3.yaml --around nonesuch --svg x.svg"),
    (3, "picture pt3.yaml --wave v5r --feed mains --captured none.csv --svg x.svg"),
    (3, "picture pt3.yaml --load-curve P9 --svg x.svg"),
    (3, "picture pt3.yaml --limit-curve P9 --svg x.svg"),
    (3, "picture pt3.yaml --reform C1 --svg x.svg"),
    (3, "picture pt3.yaml --drill none.json --svg x.svg"),
    (4, "picture pt3.yaml --wave v5r --svg x.svg"),
    (0, "undo pt3.yaml"),
    (0, "undo pt3.yaml 1"),
    (0, "suspects pt3.yaml --most 2"),
    (0, "next pt3.yaml"),
    (0, "resume pt3.yaml"),
    (0, "export pt3.yaml"),
    (0, "edit pt3.yaml parts.R6.value 2k0"),
    (0, "schema"),
    (0, "pack pt3.yaml"),
    (0, "pack pt3.yaml --to pt3.zip --journal without-notes --no-pictures"),
    (1, "pack bad.yaml --to bad.zip"),
    (2, "pack pt3.yaml --journal some"),
    (2, "pack pt3.yaml --to pt3.yaml"),
    (3, "pack none.yaml"),
    (1, "unpack pt3.yaml --to new"),
    (3, "unpack none.zip"),
    (0, "outcomes pt3.yaml"),
    (0, "outcomes pt3.yaml --finished --to o.json"),
    (1, "outcomes pt3.yaml --to o.json"),
    (1, "outcomes pt3.yaml C4=short"),
    (3, "outcomes pt3.yaml C99=short"),
    (1, "pool pt3.yaml"),
    (3, "pool none.json"),
    (3, "weights pt3.yaml --pool none.json"),
    (0, "weights pt3.yaml --pool none"),
    (0, "patterns"),
    (0, "patterns crowbar"),
    (3, "patterns nonesuch"),
    (0, "new bench.yaml"),
    (1, "new bench.txt"),
    (2, "new pt3.yaml"),
    (0, "table pt3.yaml"),
    (0, "table pt3.yaml --to parts.csv"),
    (0, "table pt3.yaml --to parts.xlsx"),
    (0, "table bad.yaml"),  # wrong as a circuit, and still a table of its parts
    (2, "table pt3.yaml --to pt3.yaml"),
    (3, "table none.yaml"),
    (1, "fill pt3.yaml bad.yaml"),
    (3, "fill pt3.yaml none.csv"),
    (3, "fill none.yaml pt3.yaml"),
    (0, "plain pt3.yaml"),
    (0, "plain pt3.yaml --to plain.yaml"),
    (1, "plain bad.yaml"),
    (2, "plain pt3.yaml --to pt3.yaml"),
    (3, "plain none.yaml"),
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
    (1, "ohms pt3.yaml p12 P12"),
    (1, "ohms bad.yaml p5 com"),
    (1, "ohms pt3.yaml p5 com --diode --meter auto"),
    (1, "read pt3.yaml n12=1.5 --ohms"),
    (1, "read pt3.yaml n12=1.5 --ohms --ripple --feed off"),
    (1, "read pt3.yaml p5=0.1 --ac --ripple"),
    (1, "read pt3.yaml p5=0.1 --ac --frequency"),
    (1, "read pt3.yaml p5=0.1 --ac --ohms --feed off"),
    (2, "ohms pt3.yaml p12"),
    (3, "ohms pt3.yaml p12 nonesuch"),
    (3, "ohms pt3.yaml p12 com --meter nonesuch"),
    (3, "ohms pt3.yaml p12 com --fault C4"),
    (3, "read pt3.yaml n12=1.5 --meter nonesuch --feed off"),
    (2, "frobnicate pt3.yaml"),
    (2, "check"),
    (2, "check pt3.yaml extra"),
    (2, "next pt3.yaml --frobnicate"),
    (2, "suspects pt3.yaml --most some"),
    (2, "suspects pt3.yaml --most 0"),
    (2, "undo pt3.yaml last"),
    (2, "meter pt3.yaml --counts few"),
    (1, "observe pt3.yaml"),
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


# -- JSON -----------------------------------------------------------------------------------------

AS_JSON = {
    "app": "app --list",
    "pack": "pack pt3.yaml --to pt3.zip",
    "unpack": "unpack packed.zip --to new",
    "outcomes": "outcomes pt3.yaml --finished --to o.json",
    "pool": "pool field.json --to merged.json",
    "boards": "boards boards.yaml BP.P5=22R",
    "change": "change pt3.yaml R12 lift a",
    "check": "check pt3.yaml",
    "compare": "compare pt3.yaml pt3.yaml --block P5 --svg x.svg",
    "console": "console console.yaml",
    "demo": "demo --keep shown",
    "discharge": "discharge pt3.yaml C1 --measured 5V",
    "load": "load pt3.yaml --stock 1R/50W*4,10R/25W*4",
    "proofread": "proofread pt3.yaml",
    "protect": "protect pt3.yaml P5 --trip 7.5V",
    "reform": "reform pt3.yaml C1 --rule half-hour --volts 10V --amps 1mA",
    "edit": "edit pt3.yaml rails.P5.note new",
    "expect": "expect pt3.yaml p5 live --all-loads",
    "export": "export pt3.yaml",
    "instruments": "instruments simulated:4.98V",
    "line": "line console.yaml",
    "memory": "memory boards.yaml print.txt",
    "meter": "meter pt3.yaml --counts 1",
    "next": "next pt3.yaml",
    "observe": "observe pt3.yaml hum",
    "ohms": "ohms pt3.yaml s1a com",
    "read": "read pt3.yaml p5=OL n12=-1.83",
    "restore": "restore new.yaml export.json",
    "resume": "resume pt3.yaml",
    "schema": "schema",
    "settings": "settings boards.yaml --found ML32.W1=out",
    "suspects": "suspects pt3.yaml",
    "trail": "trail pt3.yaml",
    "weights": "weights pt3.yaml C4=30",
    "drill": "drill follower.yaml --cases 1 --kinds single --seed 3",
    "undo": "undo pt3.yaml",
    "power": "power pt3.yaml --load half",
    "leans": "leans pt3.yaml",
    "gate": "gate pt3.yaml",
    "card": "card pt3.yaml F2",
    "part": "part 2N3055 4116*16",
    "patterns": "patterns crowbar",
    "picture": "picture pt3.yaml --around R21",
    "plain": "plain pt3.yaml",
    "new": "new bench.yaml",
    "table": "table pt3.yaml",
    "fill": "fill pt3.yaml more.csv --look",
    "plan": "plan pt3.yaml",
    "report": "report pt3.yaml --quick",
    "wire": "wire console.yaml J3 T1",
}


@pytest.mark.parametrize("name", COMMANDS)
def test_json_of_every_command_parses(tray: Path, run: Run, name: str) -> None:
    assert run("read", "pt3.yaml", "p5=1.06", "sum=OL").code == 0
    shutil.copy(QUILLON, "boards.yaml")
    shutil.copy(FOLLOWER, "follower.yaml")
    Path("more.csv").write_text("R90,1k,p5,com\n", encoding="utf-8")
    Path("print.txt").write_text("E5 A=5A3C W=0020 R=0000\n", encoding="utf-8")
    Path("export.json").write_text(run("export", "pt3.yaml", "--json").out, encoding="utf-8")
    if name == "unpack":
        assert run("pack", "pt3.yaml", "--to", "packed.zip").code == 0
    Path("field.json").write_text(
        '{"halfsplit_outcomes": 1, "contributions": []}', encoding="utf-8"
    )
    ran = run(*AS_JSON[name].split(), "--json")
    # A progress bar that came and went on a busy machine leaves a line's end behind, on stderr.
    assert ran.code == 0 and ran.err.strip() == ""
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


def test_every_command_is_asked_for_json() -> None:
    assert set(AS_JSON) == set(COMMANDS)
