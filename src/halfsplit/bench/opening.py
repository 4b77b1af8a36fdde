"""From a file to a machine that can be solved, or to everything that is wrong with it."""

from __future__ import annotations

from pathlib import Path

from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bench.healthy import healthy_doubts
from halfsplit.boards import consoles
from halfsplit.problems import NotFoundError, Problem, ProblemsError


def open_machine(path: Path) -> tuple[Machine, list[Problem]]:
    """Load a file or raise ProblemsError with everything wrong; doubts are returned."""
    assembly, problems = load(path)
    if assembly is None:
        if "no such file" in problems[0].wrong:
            raise NotFoundError(f"{path}: {problems[0].wrong}")
        raise ProblemsError(problems)
    return Machine(assembly), problems


def check_file(path: Path) -> list[Problem]:
    """Every problem of a file: its text, its electrical sense, and its healthy solution.

    A console file is told by its sections, and checked as one.
    """
    if consoles.is_console(path):
        return consoles.load(path)[1]
    assembly, problems = load(path)
    if assembly is not None:
        problems = problems + healthy_doubts(Machine(assembly))
    return problems
