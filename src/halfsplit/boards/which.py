"""Which sort of file this is: an assembly, boards, or a console."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from halfsplit.problems import Problem

Sort = Literal["assembly", "boards", "console"]
_CONSOLE = {"console", "connectors", "cables", "lines", "messages", "lamps"}
_IS = {"assembly": "an assembly", "boards": "a file of boards", "console": "a console file"}
_GO = {
    "assembly": "halfsplit check {0}, or expect, read, suspects, next",
    "boards": "halfsplit boards {0}, or settings, memory, resume, undo, export",
    "console": "halfsplit console {0}, or wire, line, resume, undo, export",
}


def sort_of(path: Path) -> Sort | None:
    """The sort of a file by its sections; None when they do not tell or it cannot be read."""
    from halfsplit.assembly.text import TextError, document  # a shelf is listed without it

    try:
        keys = {str(k) for k in document(path)[0]}
    except TextError:
        return None
    return sort_by(keys)


def sort_by(keys: set[str]) -> Sort | None:
    """The sort of a file with these sections; None when they do not tell, or it is a pattern."""
    if "pattern" in keys:
        return None
    if keys & {"assembly", "parts", "blocks"}:
        return "assembly"
    if "boards" in keys:
        return "boards"
    return "console" if keys & _CONSOLE else None


def is_pattern(path: Path) -> bool:
    """Whether a file is a pattern, which no command but `check` and `patterns` works on."""
    from halfsplit.assembly.text import TextError, document

    try:
        return "pattern" in document(path)[0]
    except TextError:
        return False


def misplaced(path: Path, wanted: Sort) -> list[Problem]:
    """One problem that says where to go, when a file is of another sort than a command works on."""
    if is_pattern(path):
        wrong = "this is a pattern, which a machine's file places"
        return [Problem(str(path), 1, 1, "", wrong, f"halfsplit check {path.name}")]
    found = sort_of(path)
    if found is None or found == wanted:
        return []
    wrong = f"this is {_IS[found]}, and this command works on {_IS[wanted]}"
    return [Problem(str(path), 1, 1, "", wrong, _GO[found].format(path.name))]
