"""From a file to a machine that can be solved, or to everything that is wrong with it."""

from __future__ import annotations

from pathlib import Path

from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bench.healthy import healthy_doubts
from halfsplit.bench.pattern_list import pattern_problems
from halfsplit.bench.pins_file import load_pins
from halfsplit.boards import consoles
from halfsplit.boards.file import load_rack
from halfsplit.boards.which import is_pattern, misplaced, sort_of
from halfsplit.journal import Journal, journal_path
from halfsplit.problems import NotFoundError, Problem, ProblemsError


def open_machine(path: Path) -> tuple[Machine, list[Problem]]:
    """Load a file or raise ProblemsError with everything wrong; doubts are returned."""
    assembly, problems = load(path)
    if assembly is None:
        if "no such file" in problems[0].wrong:
            raise NotFoundError(f"{path}: {problems[0].wrong}")
        raise ProblemsError(misplaced(path, "assembly") or problems)
    return Machine(assembly), problems


def check_file(path: Path) -> list[Problem]:
    """Every problem of a file: its text, its electrical sense, its healthy solution, its pins.

    A file of boards, a console file and a pattern are told by their sections, and checked as such.
    """
    if is_pattern(path):
        return pattern_problems(path)
    sort = sort_of(path)
    if sort == "console":
        return consoles.load(path)[1]
    if sort == "boards":
        return load_rack(path)[1]
    assembly, problems = load(path)
    if assembly is not None:
        problems = problems + healthy_doubts(Machine(assembly)) + load_pins(assembly)[1]
    return problems


def journal_of(path: Path) -> Journal | None:
    """The journal beside a file of boards or a console file; None for any other file."""
    return Journal.open(journal_path(path)) if sort_of(path) in ("boards", "console") else None
