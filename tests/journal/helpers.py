"""Looking at a journal from outside."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from halfsplit.journal import Entry
from halfsplit.journal.lock import acquire


def seqs(entries: list[Entry]) -> list[int]:
    return [e.seq for e in entries]


def outside(path: Path) -> sqlite3.Connection:
    """The file as any other program sees it, without our settings."""
    return sqlite3.connect(path, isolation_level=None)


def no_leftover(path: Path) -> None:
    """The failed open freed the lock for the next."""
    lock = acquire(path.parent / (path.name + ".lock"), 0)
    assert lock is not None
    lock.close()
