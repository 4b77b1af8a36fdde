"""What can be wrong with a user's input, and how the program says so.

Three kinds of failure are kept apart in the whole code base:

* a user's file or typed value is wrong: a list of :class:`Problem`, never an exception to the user;
* a row of a computation did not solve: a status beside the row;
* the program is misused by code: :class:`HalfsplitError` naming the remedy.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import IntEnum
from typing import Any, Literal

PAST = {"": "", "sure": ", or add --sure if it is so", "anyway": '; else --anyway "reason"'}


class ExitCode(IntEnum):
    """Exit codes of every command."""

    OK = 0
    PROBLEMS = 1  # the user's file or value has problems, all of them listed
    USAGE = 2  # the command line itself was not understood
    NOT_FOUND = 3  # a file, part, net or point that was named does not exist
    UNSOLVED = 4  # the circuit was read but could not be solved as asked
    BUSY = 5  # the journal is held by another process
    INTERRUPTED = 130  # stopped by Ctrl-C; everything acknowledged is on disk


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a user's file, where it is, and what to write instead.

    Attributes
    ----------
    file: path as the user gave it, or "" for a value typed on the command line.
    line, column: position, counted from 1; 0 when the position is unknown.
    path: dotted path inside the file, such as ``parts.R6.value``.
    wrong: what is wrong, one sentence.
    instead: what to write instead, or "" when nothing better is known than removing the entry.
    severity: "error" stops the file being used, "doubt" is worth a second look at the drawing.
    past: how somebody may go on all the same: "sure" by saying it is so, "anyway" by a reason that
        is kept; empty where nobody may.

    In `wrong` and `instead`, as in all words of the bench, what is typed at a command line stands
    between backquotes, so that a page can say where it does the same.
    """

    file: str
    line: int
    column: int
    path: str
    wrong: str
    instead: str = ""
    severity: str = "error"
    past: Literal["", "sure", "anyway"] = ""

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        head = "".join(f"{part}: " for part in (place, self.path) if part)
        stop = "" if self.wrong.endswith((".", "?", "!")) else "."
        instead = "".join((self.instead, PAST[self.past]))
        tail = f"{stop} Write {instead}." if instead else ""
        return f"{head}{self.wrong}{tail}"

    def as_dict(self) -> dict[str, Any]:
        """Plain dictionary for ``--json``."""
        return asdict(self)


class HalfsplitError(Exception):
    """Base of every error this package raises on purpose; the message names the remedy."""

    exit_code: ExitCode = ExitCode.USAGE


class ProblemsError(HalfsplitError):
    """A user's input had problems; carries all of them."""

    exit_code = ExitCode.PROBLEMS

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("\n".join(str(p) for p in problems))
        self.problems = problems


class NotFoundError(HalfsplitError):
    """Something the user named does not exist."""

    exit_code = ExitCode.NOT_FOUND
