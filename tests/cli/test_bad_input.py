"""Whatever is typed ends in words and an exit code; help is there for all of it."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from halfsplit.cli import main
from halfsplit.cli.app import app
from tests.cli.conftest import TRAY, Ran, Run
from tests.cli.helpers import COMMANDS, PROGRAM, ROOT, stored

# -- bad input ------------------------------------------------------------------------------------

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
    ["read", "pt3.yaml", "p5=-0.02", "--ac"],
    ["read", "pt3.yaml", "p5=0Hz", "--frequency"],
    ["read", "pt3.yaml", "p5=0.02V", "--frequency"],
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
    ["load", "pt3.yaml", "--stock", ""],
    ["load", "pt3.yaml", "--stock", "\udcff/5W"],
    ["load", "pt3.yaml", "--stock", "none.yaml"],
    ["load", "pt3.yaml", "--stock", "pt3.yaml"],
    ["load", "pt3.yaml", "--stock", "1e999R/5W"],
    ["load", "pt3.yaml", "--stock", "1R/5W", "--stress", "0%"],
    ["protect", "pt3.yaml", "P5", "--trip", "\udcff"],
    ["protect", "pt3.yaml", "P5", "--knee", "nan"],
    ["reform", "pt3.yaml", "C1", "--rule", "[/red]"],
    ["reform", "pt3.yaml", "C1", "--rule", "half-hour", "--ohms", "0R"],
    ["reform", "pt3.yaml", "C1", "--rule", "half-hour", "--months", "nan"],
    ["reform", "pt3.yaml", "C1", "--rule", "half-hour", "--volts", "OL", "--amps", "1mA"],
    ["discharge", "pt3.yaml", "C1", "--to", "-1V"],
    ["discharge", "pt3.yaml", "", "--measured", "1V"],
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
    assert ran.code in (1, 2, 3), ran.out + ran.err
    assert (ran.out + ran.err).strip()
    assert stored(tray) == before and tray.read_bytes() == text


SLOW = ("demo", "drill", "next", "suspects", "resume")
WORDS = st.one_of(
    st.sampled_from(["pt3.yaml", "p5=1", "n12=-1", "p5", "R3", "removed", "fitted", "value=1k"]),
    st.sampled_from(
        ["lift", "a", "put-back", "half", "off", "none", "raws", "Q10", "10M", "2", "1"]
    ),
    st.sampled_from(["--json", "--load", "--feed", "--part", "--touched", "--ripple", "--ohms"]),
    st.sampled_from(["--counts", "--all-loads", "--keep", "--no-json", "-h", "--", "-1", "=", ":"]),
    st.sampled_from(["parts.R6.value", ".", ",", "%", "undo"]),
    st.text(max_size=8),
)


@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    name=st.sampled_from([c for c in COMMANDS if c not in SLOW]),
    words=st.lists(WORDS, max_size=5),
)
def test_any_words_end_in_an_exit_code(tray: Path, run: Run, name: str, words: list[str]) -> None:
    """Commands that solve every fault are left out: any new condition takes them seconds, and a
    drill plays many machines."""
    ran = run(name, "pt3.yaml", *words)
    assert ran.code in (0, 1, 2, 3)
    shutil.copy(TRAY, tray)


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_a_terminal_without_ohm_signs_still_gets_its_words(tray: Path, encoding: str) -> None:
    ran = subprocess.run(
        [*PROGRAM, "edit", "pt3.yaml", "parts.R6.value", "2k0"],
        env={**os.environ, "PYTHONIOENCODING": encoding},
        capture_output=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert b"2k2" in ran.stdout and b"2k0" in ran.stdout and ran.stderr == b""


# -- help -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(run: Run, name: str) -> None:
    summary = (app[name].help or "").strip().splitlines()[0]
    assert len(summary) > 20 and summary.endswith((".", '".'))
    ran = run(name, "--help")
    assert ran.code == 0
    assert " ".join(summary.split()[:4]) in " ".join(ran.out.split())
    assert "--json" in ran.out


def test_documents_name_only_commands_that_exist() -> None:
    named = set()
    for document in [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]:
        for block in re.findall(r"`{3}.*?`{3}|`[^`\n]+`", document.read_text(), flags=re.S):
            named |= set(re.findall(r"\bhalfsplit ([a-z]+)\b", block))
    assert {"check", "read", "next"} <= named <= set(COMMANDS)
    assert main(["--version"]) == 0


def test_installed_program_returns_the_exit_code(tray: Path) -> None:
    bad = subprocess.run([*PROGRAM, "check", "none.yaml", "--json"], capture_output=True, text=True)
    assert bad.returncode == 3
    assert json.loads(bad.stdout)["problems"]
    assert Ran(bad.returncode, bad.stdout, bad.stderr).json["file"] == "none.yaml"
