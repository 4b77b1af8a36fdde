"""Every bad file gives exactly its list of problems, at the right places, and no traceback.

A file ``<name>.expected`` has one line a problem, in order: ``line:column path: start of message``.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from halfsplit.bench.opening import check_file
from halfsplit.cli import main
from halfsplit.problems import ExitCode, Problem

FOLDER = Path(__file__).parents[1] / "files" / "bad"
NAMES = sorted(p.stem for p in FOLDER.glob("*.yaml"))


def _line(problem: Problem) -> str:
    place = f"{problem.line}:{problem.column}"
    text = str(problem).removeprefix(f"{problem.file}:{place}: ")
    text = text.removeprefix(f"{problem.path}: ") if problem.path else text
    return f"{place} {problem.path}: {text}"


def test_there_are_enough_bad_files_and_each_has_its_list() -> None:
    assert len(NAMES) >= 30
    assert sorted(p.stem for p in FOLDER.glob("*.expected")) == NAMES
    for name in NAMES:
        assert (FOLDER / f"{name}.expected").read_text(encoding="utf-8").strip(), name


@pytest.mark.parametrize("name", NAMES)
def test_check_finds_exactly_the_seeded_problems(name: str) -> None:
    wanted = (FOLDER / f"{name}.expected").read_text(encoding="utf-8").splitlines()
    found = check_file(FOLDER / f"{name}.yaml")
    assert len(found) == len(wanted), [_line(p) for p in found]
    for problem, line in zip(found, wanted, strict=True):
        assert len(line.partition(": ")[2]) >= 12, "an expected line says too little"
        assert _line(problem).startswith(line)


@pytest.mark.parametrize("name", NAMES)
def test_the_command_prints_each_problem_and_fails(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = FOLDER / f"{name}.yaml"
    assert main(["check", str(path)]) == ExitCode.PROBLEMS
    printed = capsys.readouterr()
    found = check_file(path)
    for problem in found:
        assert str(problem) in printed.out
    assert f"{sum(p.severity == 'error' for p in found)} to put right" in printed.out
    assert "Traceback" not in printed.out + printed.err


@pytest.mark.parametrize("name", ["many_at_once", "binary", "empty"])
def test_json_carries_the_same_list(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    path = FOLDER / f"{name}.yaml"
    assert main(["check", str(path), "--json"]) == ExitCode.PROBLEMS
    data = json.loads(capsys.readouterr().out)
    assert data["problems"] == [p.as_dict() for p in check_file(path)]


@pytest.mark.parametrize("verb", ["expect", "suspects", "next", "resume", "export"])
def test_other_commands_refuse_a_bad_file_with_the_same_words(
    verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "board.yaml"
    path.write_bytes((FOLDER / "many_at_once.yaml").read_bytes())
    assert main([verb, str(path)]) == ExitCode.PROBLEMS
    printed = capsys.readouterr()
    for problem in check_file(path):
        assert str(problem) in printed.out
    assert [p.name for p in tmp_path.iterdir()] == ["board.yaml"], "no journal for a refused file"


def test_a_missing_file_has_its_own_code(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(tmp_path / "none.yaml")]) == ExitCode.NOT_FOUND
    assert "there is no such file" in capsys.readouterr().out


def test_a_folder_is_not_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(tmp_path)]) == ExitCode.PROBLEMS
    assert "cannot be read" in capsys.readouterr().out
