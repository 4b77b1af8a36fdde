"""A look into a journal without opening it for writing: what a list of machines needs, by SQL.

Reads a few rows, takes no lock and changes nothing, so a thousand journals of ten thousand entries
can be listed, and one that another program is writing to can be listed as well.
"""

from __future__ import annotations

import io
import json
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from halfsplit.journal.journal import SCHEMA_VERSION, Journal, prepare

PATIENCE = 0.3  # s to wait for somebody else's write to end
# Undoing an undo brings an entry back, so who is undone follows from the undos alone, last first.
_UNDOS = "SELECT seq, json_extract(body, '$.undoes') FROM entry WHERE kind = 'undo' ORDER BY seq"
_KINDS = "SELECT kind, COUNT(*), MAX(seq) FROM entry GROUP BY kind"
_CONDITIONS = "SELECT seq, body FROM entry WHERE kind = 'condition' AND seq <= ? ORDER BY seq DESC"
SETTLED = 1.0  # s since a file was written to, before its stamp is taken for its content
MOST_SEEN = 4096  # journals of which what was seen is kept in memory


_Stamp = tuple[int, ...]


@dataclass(frozen=True)
class Peek:
    """What a journal holds, at a glance.

    Attributes
    ----------
    last: number of the last entry, 0 for none; `at` its time.
    counts: entries in force by kind, undos left out.
    condition: body of the last condition in force, or None.
    trouble: why nothing could be read, in words; "" when all went well.
    """

    last: int = 0
    at: datetime | None = None
    counts: dict[str, int] | None = None
    condition: dict[str, Any] | None = None
    trouble: str = ""


def last_entry(path: Path) -> int | None:
    """Number of the last entry, 0 for an absent or empty journal; None when it cannot be read."""
    if not path.exists():
        return 0
    try:
        with _open(path) as db:
            found = db.execute("SELECT MAX(seq) FROM entry").fetchone()[0]
    except sqlite3.Error:
        return None
    return int(found or 0)


_seen: dict[Path, tuple[_Stamp, Peek]] = {}


def _stamp(path: Path) -> _Stamp | None:
    """Times and sizes of a journal and of what is written beside it; None while it may be written
    to within the grain of its time."""
    found: list[int] = []
    for file in (path, path.with_name(f"{path.name}-wal")):
        try:
            status = file.stat()
        except OSError:
            found += (0, 0)
            continue
        if time.time() - status.st_mtime < SETTLED:
            return None
        found += (status.st_mtime_ns, status.st_size)
    return tuple(found)


def peek(path: Path) -> Peek:
    """Look into a journal; one that is absent is empty. One not written to since it was looked into
    last is not read again."""
    stamp = _stamp(path)
    known = _seen.get(path)
    if known is not None and known[0] == stamp:
        return known[1]
    found = _peek(path)
    if stamp is not None and not found.trouble and _stamp(path) == stamp:
        if len(_seen) >= MOST_SEEN:
            _seen.clear()
        _seen[path] = stamp, found
    return found


def _peek(path: Path) -> Peek:
    if not path.exists():
        return Peek()
    try:
        with _open(path) as db:
            return _look(db)
    except (sqlite3.Error, ValueError, TypeError) as error:
        busy = isinstance(error, sqlite3.OperationalError) and "locked" in str(error)
        why = "another program is writing to it" if busy else " ".join(str(error).split())
        return Peek(trouble=f"its journal cannot be read now: {why}")


@contextmanager
def glance(path: Path) -> Iterator[Journal]:
    """A journal that can only be read, without its lock; an empty one where there is none.

    Raises JournalDamagedError or JournalWriteError (it cannot be read now) as reading rows does.
    """
    if path.exists():
        with _open(path) as db:
            yield Journal(path, db, io.StringIO())
        return
    db = sqlite3.connect(":memory:", isolation_level=None)
    try:
        prepare(db, path)
        yield Journal(path, db, io.StringIO())
    finally:
        db.close()


class _open:
    """A connection that may only read, closed at the end of the block."""

    def __init__(self, path: Path) -> None:
        where = f"{path.resolve().as_uri()}?mode=ro"
        self.db = sqlite3.connect(where, uri=True, timeout=PATIENCE, isolation_level=None)

    def __enter__(self) -> sqlite3.Connection:
        return self.db

    def __exit__(self, *_: object) -> None:
        self.db.close()


def _look(db: sqlite3.Connection) -> Peek:
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if version != SCHEMA_VERSION:
        return Peek(trouble="it is no journal of this version of the program")
    last = db.execute("SELECT seq, at FROM entry ORDER BY seq DESC LIMIT 1").fetchone()
    if last is None:
        return Peek(counts={})
    # One pass over the rows; the others only where there is something they would find.
    kinds = {str(kind): (int(n), int(end)) for kind, n, end in db.execute(_KINDS)}
    dead = _dead(db) if "undo" in kinds else set()
    counts = {kind: n for kind, (n, _) in kinds.items() if kind != "undo"}
    for seq in dead:
        row = db.execute("SELECT kind FROM entry WHERE seq = ?", (seq,)).fetchone()
        if row is not None and row[0] in counts:
            counts[row[0]] -= 1
    condition = None
    if "condition" in kinds:
        for seq, body in db.execute(_CONDITIONS, (kinds["condition"][1],)):
            if seq not in dead:
                condition = json.loads(body)
                break
    return Peek(int(last[0]), datetime.fromisoformat(last[1]), counts, condition)


def _dead(db: sqlite3.Connection) -> set[int]:
    """Numbers of the entries that are undone."""
    dead: set[int] = set()
    for seq, undoes in reversed(db.execute(_UNDOS).fetchall()):
        if seq not in dead:
            dead.add(int(undoes))
    return dead
