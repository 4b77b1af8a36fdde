"""Every problem of a file's text, of whatever sort it is; no circuit is solved."""

from __future__ import annotations

from pathlib import Path

from halfsplit.assembly.file import load
from halfsplit.assembly.text import TextError, document
from halfsplit.bench.pattern_list import pattern_problems
from halfsplit.boards import consoles
from halfsplit.boards.file import load_rack
from halfsplit.boards.which import sort_by
from halfsplit.problems import Problem


def text_problems(path: Path) -> list[Problem]:
    """What `check` says of a file, save what comes of solving it."""
    try:
        keys = {str(k) for k in document(path)[0]}
    except TextError as error:
        return [error.problem(path)]
    if "pattern" in keys:
        return pattern_problems(path)
    sort = sort_by(keys)
    if sort == "console":
        return consoles.load(path)[1]
    return load_rack(path)[1] if sort == "boards" else load(path)[1]
