"""The proofread command: what it prints, the edit by number and by key, what it leaves alone."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

from tests.cli.conftest import Run

RIGHT = Path(__file__).resolve().parents[1] / "files" / "bench-follower.yaml"


def slip(folder: Path) -> Path:
    path = folder / "typed.yaml"
    path.write_text(RIGHT.read_text().replace("value: 470R", "value: 4k7"), encoding="utf-8")
    return path


def test_a_slip_is_told_with_its_numbers_and_exit_code_1(run: Run, tmp_path: Path) -> None:
    path = slip(tmp_path)
    said = run("proofread", str(path))
    assert said.code == 1
    assert "R1 value 4k7 is 470R on the drawing" in said.out
    assert "--fix N" in said.out and "line 7" in said.out
    assert path.read_text() != RIGHT.read_text()
    told = run("proofread", str(path), "--json")
    assert told.code == 1
    assert told.json["explanations"][0]["edits"][0]["text"] == "470R"
    assert any(c["agrees"] for c in told.json["explanations"][0]["changes"])


def test_fix_makes_the_edit_shows_the_line_and_journals_nothing(run: Run, tmp_path: Path) -> None:
    path = slip(tmp_path)
    said = run("proofread", str(path), "--fix", "1")
    assert said.code == 0
    assert "- R1:" in said.out and "+ R1:" in said.out
    assert path.read_bytes() == RIGHT.read_bytes()
    assert [p.name for p in tmp_path.iterdir()] == ["typed.yaml"]
    again = run("proofread", str(path))
    assert again.code == 0 and "nothing disagrees" in again.out


def test_a_key_makes_the_edit_at_a_terminal_and_any_other_leaves_the_file(tmp_path: Path) -> None:
    for key, changed in (("x", False), ("1", True)):
        path = slip(tmp_path)
        asked, theirs = pty.openpty()
        command = [sys.executable, "-c", "from halfsplit.cli import main; main()"]
        ran = subprocess.Popen(
            [*command, "proofread", str(path)],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env={**os.environ, "TERM": "dumb", "COLUMNS": "200"},
        )
        os.close(theirs)
        said = ""
        while "Press 1" not in said:
            said += os.read(asked, 4096).decode()
        os.write(asked, key.encode())
        while True:
            try:
                said += os.read(asked, 4096).decode()
            except OSError:  # the other end is closed
                break
        assert ran.wait() == (0 if changed else 1)
        assert (path.read_bytes() == RIGHT.read_bytes()) is changed
        os.close(asked)
