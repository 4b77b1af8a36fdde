"""Commands given the other sort of file: they work, or say in one line where to go."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

import jsonschema
import pytest
from ruamel.yaml import YAML

from halfsplit.boards.schema import console_schema
from halfsplit.boards.which import sort_of
from tests.boards.test_console_file import BAD
from tests.cli.conftest import CONSOLE, TRAY, Run
from tests.cli.helpers import QUILLON


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file of boards, a console file and an assembly, in the current folder."""
    monkeypatch.chdir(tmp_path)
    for file in (QUILLON, CONSOLE, TRAY):
        shutil.copy(file, tmp_path)
    Path("log.txt").write_bytes(b"QM 2.1\r\nE4 SIZE 0\r\n")


def test_the_sort_is_told_by_the_sections() -> None:
    files = {"boards.yaml": "boards", "console.yaml": "console", "pt3.yaml": "assembly"}
    assert {f: sort_of(Path(f)) for f in files} == files
    Path("x.yaml").write_text("notes: nothing else\n", encoding="utf-8")
    Path("y.yaml").write_text("- a\n", encoding="utf-8")
    assert sort_of(Path("x.yaml")) is None and sort_of(Path("y.yaml")) is None
    assert sort_of(Path("none.yaml")) is None


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("suspects boards.yaml", "halfsplit boards boards.yaml"),
        ("expect console.yaml p5", "halfsplit console console.yaml"),
        ("edit boards.yaml boards.BP.worth 1", "halfsplit boards boards.yaml"),
        ("memory console.yaml --line x", "halfsplit console console.yaml"),
        ("settings pt3.yaml", "halfsplit check pt3.yaml"),
        ("wire boards.yaml J3 T1", "halfsplit boards boards.yaml"),
        ("line pt3.yaml", "halfsplit check pt3.yaml"),
    ],
)
def test_the_wrong_sort_of_file_is_told_in_one_line(run: Run, line: str, words: str) -> None:
    ran = run(*line.split(), "--json")
    (only,) = ran.json["problems"]
    assert ran.code == 1 and only["line"] == 1 and only["file"] == line.split()[1]
    assert "this command works on" in only["wrong"] and words in only["instead"]


def test_check_reads_each_sort(run: Run) -> None:
    assert run("check", "boards.yaml").code == 0
    assert run("check", "console.yaml").code == 0
    Path("bad.yaml").write_text("machine: x\nboards: {A: {worth: 99}}\n", encoding="utf-8")
    ran = run("check", "bad.yaml")
    assert ran.code == 1 and "bad.yaml:2" in ran.out and "parts" not in ran.out


def test_resume_undo_and_export_work_on_a_rack(run: Run) -> None:
    run("boards", "boards.yaml", "BP.P5=22R", "BP.P12=OL", "BP.N12=OL", "--fit", "BP")
    run("settings", "boards.yaml", "--found", "ML32.W1=out")
    run("memory", "boards.yaml", "--line", "E6 A=0000 X=0408")
    data = run("resume", "boards.yaml", "--json").json
    assert data["fitted"] == ["BP"] and data["next"] == "ML32"
    assert [m["words"] for m in data["move"]] == ["ML32 W1: out → in"]
    assert data["last_print"]["causes"][0]["where"][0] == "MA3"
    text = run("resume", "boards.yaml").out
    assert "next: ML32" in text and "1. address line MA3" in text and "caution" in text
    kinds = [e["kind"] for e in run("export", "boards.yaml", "--json").json["entries"]]
    assert kinds == ["slot"] * 3 + ["board-in", "strap", "memory"]
    assert run("undo", "boards.yaml").out.startswith("stored #7: entry #6 is undone")
    assert run("resume", "boards.yaml", "--json").json["last_print"] is None


def test_an_exported_rack_comes_back(run: Run) -> None:
    run("settings", "boards.yaml", "--found", "ML32.W1=out")
    Path("kept.json").write_text(run("export", "boards.yaml", "--json").out, encoding="utf-8")
    for file in Path().glob("boards.journal*"):
        file.unlink()
    assert run("restore", "boards.yaml", "kept.json").code == 0
    assert run("resume", "boards.yaml", "--json").json["move"][0]["strap"] == "W1"


def test_resume_undo_and_export_work_on_a_console(run: Run) -> None:
    run("console", "console.yaml", "--paste", "log.txt")
    assert "E4 SIZE 0" in run("resume", "console.yaml").out
    assert "E4 SIZE 0" in run("export", "console.yaml").out
    refused = run("undo", "console.yaml")
    assert refused.code == 3 and "by number these can be undone: [1]" in refused.err
    assert run("undo", "console.yaml", "1").code == 0
    assert run("resume", "console.yaml", "--json").json["lines"] == []


def test_the_story_of_the_boards_page_runs_as_it_says(run: Run) -> None:
    text = (QUILLON.parents[2] / "docs" / "boards.md").read_text(encoding="utf-8")
    story = [
        line
        for line in text.splitlines()
        if line.startswith("halfsplit ") and ".yaml" in line and "# → " in line
    ]
    assert len(story) == 12
    for line in story:
        command, _, words = line.partition("# → ")
        ran = run(*shlex.split(command)[1:])
        assert words in " ".join((ran.out + ran.err).split()), line + ran.out + ran.err
        assert ran.code == (1 if "stays off" in words else 0), line


def test_the_schema_of_a_console_file_accepts_the_demo_and_refuses_slips(run: Run) -> None:
    schema = run("schema", "console").json
    assert schema == console_schema() and schema["title"] == "Halfsplit console"
    assert run("schema", "boards").json["title"] == "Halfsplit boards"
    assert run("schema").json["title"] == "Halfsplit assembly"
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    yaml = YAML(typ="safe")
    good = yaml.load(CONSOLE.read_text(encoding="utf-8"))
    assert [e.message for e in validator.iter_errors(good)] == []
    assert not validator.is_valid(yaml.load(BAD))
    for section, slip in (("cables", "wire"), ("lines", "cristal"), ("messages", "say")):
        name = next(iter(good[section]))
        bad = {**good, section: {name: {**good[section][name], slip: "x"}}}
        assert not validator.is_valid(bad), section
