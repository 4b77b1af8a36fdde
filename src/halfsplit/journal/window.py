"""A journal seen from another thread: every call is carried to the thread that holds it.

SQLite keeps a connection to the thread that made it, and one lock keeps everybody else out. So that
somebody may think about a machine for minutes while somebody else writes down a reading, one thread
holds the journal and the thinking one has a window on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from halfsplit.journal.journal import Entry, Journal

T = TypeVar("T")
# Runs something on the holding thread's journal, waits, and gives what it returned or raised.
Carry = Callable[[Callable[[Journal], Any]], Any]


class Window(Journal):
    """A journal that another thread holds open; closing the window leaves it open."""

    def __init__(self, path: Path, carry: Carry) -> None:
        self.path = path
        self._carry = carry

    def close(self) -> None:
        """Nothing: the thread that holds the journal closes it."""

    def append(
        self,
        kind: str,
        body: Mapping[str, Any],
        *,
        key: str | None = None,
        at: datetime | None = None,
    ) -> Entry:
        """As :meth:`Journal.append`, on the thread that holds the journal."""
        return self._entry(lambda j: j.append(kind, body, key=key, at=at))

    def undo(self, seq: int | None = None, why: str = "") -> Entry:
        """As :meth:`Journal.undo`, on the thread that holds the journal."""
        return self._entry(lambda j: j.undo(seq, why))

    def _entry(self, verb: Callable[[Journal], Entry]) -> Entry:
        found: Entry = self._carry(verb)
        return found

    def _rows(self, which: str, *values: str | int) -> list[Entry]:
        found: list[Entry] = self._carry(lambda j: j._rows(which, *values))
        return found
