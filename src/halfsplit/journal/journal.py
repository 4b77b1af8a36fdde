"""Append-only SQLite log beside the assembly file.

An entry is acknowledged only after it is committed with full synchronisation. Rows can be neither
changed nor deleted; an undo is a new row. A lock file keeps a second process out, and no
write-ahead log is used, because SQLite before 3.51.3 can lose a committed row when two connections
write and checkpoint a write-ahead log at once.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from halfsplit.journal.lock import acquire
from halfsplit.problems import ExitCode, HalfsplitError, Problem, ProblemsError

SCHEMA_VERSION = 1
_SCHEMA = """
CREATE TABLE entry (
  seq INTEGER PRIMARY KEY AUTOINCREMENT,
  at TEXT NOT NULL,
  kind TEXT NOT NULL,
  body TEXT NOT NULL CHECK (json_valid(body)),
  key TEXT UNIQUE
) STRICT;
CREATE TRIGGER entry_kept BEFORE UPDATE ON entry
  BEGIN SELECT RAISE(ABORT, 'journal entries are never changed'); END;
CREATE TRIGGER entry_stays BEFORE DELETE ON entry
  BEGIN SELECT RAISE(ABORT, 'journal entries are never deleted'); END;
"""
WAIT = 5.0  # seconds a second process waits for the first to finish


class JournalBusyError(HalfsplitError):
    """Another process holds the journal."""

    exit_code = ExitCode.BUSY


class JournalDamagedError(HalfsplitError):
    """The file is no journal, is damaged, or was written by a newer version."""

    exit_code = ExitCode.PROBLEMS


class JournalWriteError(HalfsplitError):
    """The entry could not be put on disk; it is NOT stored."""

    exit_code = ExitCode.PROBLEMS


@dataclass(frozen=True)
class Entry:
    """One journal row: number, aware UTC time, kind, body, and an optional caller's key."""

    seq: int
    at: datetime
    kind: str
    body: Mapping[str, Any]
    key: str | None = None
    undone: bool = False

    def as_dict(self) -> dict[str, Any]:
        """For export and ``--json``."""
        return {
            "seq": self.seq,
            "at": self.at.isoformat(),
            "kind": self.kind,
            "body": dict(self.body),
            "key": self.key,
            "undone": self.undone,
        }


def journal_path(assembly: Path) -> Path:
    """The journal of an assembly file: same name, ending in ``.journal``."""
    return assembly.with_suffix(".journal")


class Journal:
    """An open journal. Use as a context manager."""

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: IO[str]) -> None:
        self.path = path
        self._db = connection
        self._lock = lock

    @classmethod
    def open(cls, path: Path, *, wait: float = WAIT) -> Journal:
        """Open or create the journal at `path`.

        Raises JournalBusyError, JournalDamagedError or JournalWriteError.
        """
        lock_path = path.with_name(path.name + ".lock")
        try:
            lock = acquire(lock_path, wait)
        except OSError as error:
            raise JournalWriteError(f"{path}: no journal can be kept here: {error}") from error
        if lock is None:
            holder = lock_path.read_text(encoding="utf-8").strip() or "unknown"
            raise JournalBusyError(
                f"{path}: in use by process {holder}; close it there, then try again"
            )
        db: sqlite3.Connection | None = None
        try:
            db = sqlite3.connect(path, isolation_level=None)
            for pragma in ("journal_mode=DELETE", "synchronous=FULL", "recursive_triggers=ON"):
                db.execute(f"PRAGMA {pragma}").fetchall()
            version = db.execute("PRAGMA user_version").fetchone()[0]
            if version == 0:
                if db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                    raise JournalDamagedError(f"{path}: is a database, but not a journal")
                db.executescript(f"BEGIN;{_SCHEMA}PRAGMA user_version={SCHEMA_VERSION};COMMIT;")
            elif version > SCHEMA_VERSION:
                raise JournalDamagedError(
                    f"{path}: written by a newer Halfsplit (format {version}); update to read it"
                )
            db.execute("SELECT count(*) FROM entry").fetchone()
        except sqlite3.Error as error:
            cls._drop(db, lock)
            if isinstance(error, sqlite3.OperationalError):
                raise JournalWriteError(
                    f"{path}: the journal cannot be written: {error}"
                ) from error
            raise JournalDamagedError(
                f"{path}: damaged or no journal ({error}); keep a copy, then rebuild it from an "
                "exported JSON file"
            ) from error
        except HalfsplitError:
            cls._drop(db, lock)
            raise
        return cls(path, db, lock)

    @staticmethod
    def _drop(db: sqlite3.Connection | None, lock: IO[str]) -> None:
        if db is not None:
            db.close()
        lock.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file and free the lock."""
        self._db.close()
        self._lock.close()

    def append(
        self,
        kind: str,
        body: Mapping[str, Any],
        *,
        key: str | None = None,
        at: datetime | None = None,
    ) -> Entry:
        """Store one entry; returns only once it is on disk.

        The same `key` with the same body again returns the entry already stored. Raises
        JournalWriteError (nothing stored), or ValueError when a key is reused for something else.
        """
        text = json.dumps(body, sort_keys=True, ensure_ascii=False)
        if key is not None:
            found = self._db.execute(
                "SELECT seq, at, kind, body, key FROM entry WHERE key = ?", (key,)
            ).fetchone()
            if found:
                entry = _entry(found)
                if entry.kind != kind or dict(entry.body) != json.loads(text):
                    raise ValueError(f"key {key} already names entry {entry.seq}, which differs")
                return entry
        moment = (at or datetime.now(UTC)).astimezone(UTC)
        try:
            cursor = self._db.execute(
                "INSERT INTO entry (at, kind, body, key) VALUES (?, ?, ?, ?)",
                (moment.isoformat(), kind, text, key),
            )
        except sqlite3.Error as error:
            with suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")
            raise JournalWriteError(
                f"{self.path}: this entry was NOT stored: {error}; write it down, make room, again"
            ) from error
        return Entry(int(cursor.lastrowid or 0), moment, kind, json.loads(text), key)

    def undo(self, seq: int | None = None, why: str = "") -> Entry:
        """Undo an entry (the last effective one unless `seq` is given) by a new entry.

        Undoing an undo brings the entry back. Raises HalfsplitError naming what can be undone.
        """
        history = self.history()
        target = next((e for e in reversed(history) if _undoable(e, seq)), None)
        if target is None:
            able = [e.seq for e in history if not e.undone][-5:]
            raise HalfsplitError(
                f"entry {seq} cannot be undone; these can: {able}" if able else "nothing to undo"
            )
        return self.append("undo", {"undoes": target.seq, "why": why})

    def history(self) -> list[Entry]:
        """Every entry ever made, in order, with `undone` set where an undo in force names it."""
        rows = self._db.execute(
            "SELECT seq, at, kind, body, key FROM entry ORDER BY seq"
        ).fetchall()
        entries = [_entry(row) for row in rows]
        dead: set[int] = set()
        for entry in reversed(entries):  # a later undo decides before the earlier ones it undoes
            if entry.kind == "undo" and entry.seq not in dead:
                dead.add(int(entry.body["undoes"]))
        return [Entry(e.seq, e.at, e.kind, e.body, e.key, undone=e.seq in dead) for e in entries]

    def entries(self) -> list[Entry]:
        """Entries in force: undone ones and the undos themselves left out."""
        return [e for e in self.history() if not e.undone and e.kind != "undo"]

    def export_text(self) -> str:
        """One line an entry, readable without this program."""
        lines = []
        for e in self.history():
            mark = " (undone)" if e.undone else ""
            body = json.dumps(dict(e.body), sort_keys=True, ensure_ascii=False)
            lines.append(f"#{e.seq} {e.at.isoformat(timespec='seconds')} {e.kind}{mark} {body}")
        return "\n".join(lines) + ("\n" if lines else "")

    def export_json(self) -> dict[str, Any]:
        """The whole journal as one document; :meth:`import_json` reads it back."""
        return {"halfsplit_journal": 1, "entries": [e.as_dict() for e in self.history()]}

    @classmethod
    def import_json(cls, document: Mapping[str, Any], path: Path) -> Journal:
        """Rebuild a journal from an export in a new file; ProblemsError on a bad document."""
        if path.exists():
            raise HalfsplitError(f"{path}: already exists; import into a new file")
        rows = document.get("entries") if document.get("halfsplit_journal") == 1 else None
        if not isinstance(rows, list):
            raise ProblemsError([Problem(str(path), 0, 0, "", "not an exported journal")])
        problems, good = [], []
        for i, row in enumerate(rows):
            try:
                seq, at = int(row["seq"]), datetime.fromisoformat(row["at"])
                kind, body, key = str(row["kind"]), dict(row["body"]), row.get("key")
                good.append((seq, at.astimezone(UTC).isoformat(), kind, json.dumps(body), key))
            except (KeyError, TypeError, ValueError) as error:
                wrong = f"unreadable entry: {error}"
                problems.append(Problem(str(path), 0, 0, f"entries.{i}", wrong))
        if problems:
            raise ProblemsError(problems)
        journal = cls.open(path)
        with journal._db:
            journal._db.execute("BEGIN")
            journal._db.executemany(
                "INSERT INTO entry (seq, at, kind, body, key) VALUES (?, ?, ?, ?, ?)", good
            )
        return journal


def _undoable(entry: Entry, seq: int | None) -> bool:
    if entry.undone:
        return False
    return entry.seq == seq if seq is not None else entry.kind != "undo"


def _entry(row: tuple[int, str, str, str, str | None]) -> Entry:
    seq, at, kind, body, key = row
    return Entry(seq, datetime.fromisoformat(at), kind, json.loads(body), key)
