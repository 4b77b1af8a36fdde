"""A seeded slice of proofs/fuzz.py: mutated files, tables and bundles, each told in our words."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from proofs.fuzz import GOOD, run_case
from proofs.fuzz_seeds import bench

from halfsplit.assembly.edit import set_value
from halfsplit.assembly.file import load
from halfsplit.assembly.script import load_faults
from halfsplit.boards.memory_log import read_log
from halfsplit.boards.messages import Message
from halfsplit.parts.house import read_house
from halfsplit.problems import HalfsplitError, ProblemsError


@pytest.mark.parametrize(
    ("sort", "count"),
    [("files", 60), ("tables", 200), ("bundles", 60), ("pools", 80), ("parts", 60)],
)
def test_nothing_but_words_comes_of_mutated_input(sort: str, count: int, tmp_path: Path) -> None:
    found = [run_case(k, 20, [sort], tmp_path, None) for k in range(count)]
    assert [f for f in found if f["came"] not in GOOD] == []
    assert len({f["target"] for f in found}) >= {"pools": 1, "parts": 3}.get(sort, 4)


@pytest.mark.parametrize("deep", ["[" * 500, "{a: " * 500, "- " * 500, "? " * 500])
def test_deep_files_are_refused_at_once(deep: str, tmp_path: Path) -> None:
    """The YAML reader takes quadratic time in open brackets: five seconds for 500."""
    path = tmp_path / "m.yaml"
    path.write_text("assembly: x\nnotes:\n  " + deep)
    began = time.process_time()
    found, problems = load(path)
    assert found is None and "far too deep" in problems[0].wrong and problems[0].line == 3
    assert time.process_time() - began < 2.0  # 0.05 s; it was 5


@pytest.mark.filterwarnings("error")
def test_an_anchor_given_twice_is_no_line_on_the_terminal(tmp_path: Path) -> None:
    says = "{type: 2N3906, says: notes, confidence: likely}"
    path = tmp_path / "house-numbers.yaml"
    path.write_text(f'"HM-1": &a {says}\n"HM-2": &a {says}\n')
    assert set(read_house(path)[0]) == {"HM1", "HM2"} or not read_house(path)[1]
    file = tmp_path / "m.yaml"
    file.write_text("assembly: &a x\nmachine: &a y\nparts: {}\n")
    with pytest.raises(HalfsplitError):
        set_value(file, "parts.R1.value", "5k")


def test_the_harness_sees_what_it_looks_for(tmp_path: Path) -> None:
    """Each sort of finding, planted, in a process of its own: an audit hook stays."""
    code = f"""
import sys
sys.path[:0] = [{str(Path(__file__).parents[1])!r}]
from pathlib import Path
from halfsplit.assembly.edit import set_value
from halfsplit.assembly.file import load
from halfsplit.parts.house import read_house
from halfsplit.problems import HalfsplitError
from proofs.fuzz import Guard, run_case
from proofs.fuzz_registry import TARGETS, target
guard, root = Guard(), Path({str(tmp_path)!r})
def ways(case):
    way = int(root.joinpath("way").read_text())
    if way == 0: raise KeyError("x")
    if way == 1: case.folder.parent.joinpath("strayed").write_text("x")
    if way == 2: raise MemoryError
    if way == 3: case.folder.joinpath("in").write_text("x")
    if way == 4:
        case.folder.joinpath("link").symlink_to("/")
        open(case.folder / "link/tmp/none", "a")
target("planted")(ways)
for way in range(5):
    root.joinpath("way").write_text(str(way))
    print(run_case(0, 0, ["planted"], root, guard)["came"])
    root.joinpath("strayed").unlink(missing_ok=True)
"""
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=dict(os.environ)
    )
    assert ran.stdout.split() == ["traceback", "strayed", "memory", "taken", "strayed"], ran.stderr


def test_a_print_of_blanks_is_read_at_once() -> None:
    """Three stretches of blanks side by side in a pattern took forty seconds over 3,000 of them."""
    began = time.process_time()
    log, problems = read_log("address " + "\t" * 3000 + "t\n" + "address" + " " * 9000, "hex")
    assert not problems and [r.kind for r in log.runs] == ["address"]
    assert len(log.unused) == 1 and time.process_time() - began < 1.0
    assert [r.kind for r in read_log("address   test:    ok", "hex")[0].runs] == ["address"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("faults: [C1 short]", "stands where lines"),
        ("faults: {C1: {mode: {a: b}}}", "has no mode"),
        ("faults: {C1: {mode: 5}}", "has no mode"),
        ("faults: {C1: 5}", "say one of"),
        ("faults: {C1: [mode]}", "say one of"),
        ("faults: {C1: {fitted: {[1, 2]: 5}}}", "fitted"),
    ],
)
def test_a_fault_script_of_other_shapes_is_told(text: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "as-found.yaml"
    path.write_text(text + "\n")
    with pytest.raises(ProblemsError, match=said):
        load_faults(bench(), path)


def test_fields_of_a_message_that_touch_are_refused() -> None:
    with pytest.raises(ValueError, match="touch"):
        Message.model_validate({"says": "E5 {a}{b}", "means": "x"})
