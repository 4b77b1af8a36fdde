"""Entries put into a machine's file, changed and taken out, while it is still being typed.

:func:`halfsplit.assembly.edit.set_value` wants a file that loads; here a file may have loose ends.
What is refused is an entry that is wrong by itself, or one that makes the text unreadable.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from halfsplit.assembly.draft import draft
from halfsplit.assembly.edit import put_text, source_of
from halfsplit.assembly.entry_text import with_entries, without_entry
from halfsplit.assembly.text import LARGEST_FILE
from halfsplit.problems import HalfsplitError, Problem, ProblemsError

_WRITING = threading.Lock()  # pages of one program; what another writes is seen before replacing
Entries = Mapping[str, Mapping[str, Any]]


class ChangedError(HalfsplitError):
    """The file was changed by somebody else meanwhile; it wins. `now`: what stands there."""

    def __init__(self, words: str, now: str | None = None) -> None:
        super().__init__(words)
        self.now = now


def put_entries(
    path: Path, section: str, entries: Entries, unless: Callable[[str], None]
) -> tuple[str, str]:
    """Put entries into a section, or change those there; returns the text before and after.

    `unless` is given the text as it stands before anything is written, and may raise. On disk when
    this returns. Raises ProblemsError for entries that are wrong or a file that cannot be read,
    ChangedError, NotFoundError, HalfsplitError.
    """

    def edited(source: str) -> str:
        unless(source)
        return with_entries(source, section, entries)

    return edit_text(path, edited, [f"{section}.{name}" for name in entries])


def remove_entry(path: Path, section: str, name: str) -> tuple[str, str]:
    """Take an entry out; returns the text before and after. Raises as :func:`put_entries` does."""
    return edit_text(path, lambda source: without_entry(source, section, name), [])


def edit_text(path: Path, edited: Callable[[str], str], own: list[str]) -> tuple[str, str]:
    """Change a file's text; refused where that breaks it, or leaves an error at a path of `own`."""
    with _WRITING:
        source = source_of(path)
        try:
            changed = edited(source)
        except ChangedError:
            raise
        except HalfsplitError:
            now = draft(path)
            if now.assembly is None:  # the text itself is broken: say where
                raise ProblemsError(list(now.wrong)) from None
            raise
        if changed == source:
            return source, source
        if len(changed.encode()) > LARGEST_FILE:
            wrong = "the file would be far too large for an assembly"
            raise ProblemsError([Problem(str(path), 0, 0, "", wrong, "one machine a file")])

        def errors(trial: Path) -> list[Problem]:
            if source_of(path) != source:
                raise ChangedError(f"{path.name} was changed just now; look at it again first")
            after = draft(trial)
            told = [p for p in after.wrong if p.severity == "error"]
            if after.assembly is None:
                return told
            here = tuple(f"{at}." for at in own)
            return [p for p in told if p.path in own or p.path.startswith(here)]

        put_text(path, changed, errors)
        return source, changed
