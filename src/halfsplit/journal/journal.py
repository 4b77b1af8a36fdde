"""Append-only SQLite log beside the assembly file.

An entry is acknowledged only after it is committed with full synchronisation, the folder included
(SQLite documentation, "PRAGMA synchronous": with a rollback journal, FULL may lose the last commit
in a power cut and EXTRA does not). Rows can be neither changed nor deleted; an undo is a new row.
A lock file keeps a second process out, and no write-ahead log is used, because SQLite before
3.51.3 can lose a committed row when two connections write and checkpoint a write-ahead log at once.
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

from halfsplit.journal.document import LARGEST, import_rows
from halfsplit.journal.lock import acquire
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError

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
CREATE TRIGGER entry_new BEFORE INSERT ON entry
  WHEN EXISTS (SELECT 1 FROM entry WHERE seq = NEW.seq OR key = NEW.key)
  BEGIN SELECT RAISE(ABORT, 'journal entries are never replaced'); END;
"""
_NAMES = {
    "entry",
    "entry_kept",
    "entry_stays",
    "entry_new",
}  # what a journal has; less of it is no journal
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
        real = path.resolve()  # a link to a journal is that journal, with that journal's lock
        lock_path = real.with_name(real.name + ".lock")
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
            prepare(db, path)
        except sqlite3.Error as error:
            cls._drop(db, lock)
            raise _refusal(path, error) from error
        except BaseException:
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
        JournalWriteError (nothing stored), or ValueError when a key is reused for something else
        or an undo is written by hand instead of through :meth:`undo`.
        """
        if kind == "undo" and not isinstance(body.get("undoes"), int):
            raise ValueError("an undo names the entry it undoes: use Journal.undo")
        text = json.dumps(body, sort_keys=True, ensure_ascii=False)
        if key is not None:
            found = self._rows("WHERE key = ?", key)
            if found:
                entry = found[0]
                if entry.kind != kind or dict(entry.body) != json.loads(text):
                    raise ValueError(f"key {key} already names entry {entry.seq}, which differs")
                return entry
        moment = (at or datetime.now(UTC)).astimezone(UTC)
        try:
            cursor = self._db.execute(
                "INSERT INTO entry (at, kind, body, key) VALUES (?, ?, ?, ?)",
                (moment.isoformat(), kind, text, key),
            )
        except (sqlite3.Error, UnicodeError) as error:  # a stray byte in typed text is no text
            with suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")
            raise JournalWriteError(
                f"{self.path}: this entry was NOT stored ({error}); write it on paper, put that "
                "right, then enter it again"
            ) from error
        return Entry(int(cursor.lastrowid or 0), moment, kind, json.loads(text), key)

    def undo(self, seq: int | None = None, why: str = "") -> Entry:
        """Undo an entry (the last effective one unless `seq` is given) by a new entry.

        Undoing an undo brings the entry back. Raises NotFoundError naming what can be undone.
        """
        history = self.history()
        target = next((e for e in reversed(history) if _undoable(e, seq)), None)
        if target is None:
            able = [e.seq for e in history if not e.undone][-5:]
            if not able:
                raise NotFoundError("nothing to undo: the journal is empty")
            which = f"no entry {seq} in force"
            if seq is None:
                which = "every entry is undone already, or is what the machine said"
            raise NotFoundError(f"{which}; by number these can be undone: {able}")
        return self.append("undo", {"undoes": target.seq, "why": why})

    def history(self) -> list[Entry]:
        """Every entry ever made, in order, with `undone` set where an undo in force names it."""
        entries = self._rows("ORDER BY seq")
        dead: set[int] = set()
        for entry in reversed(entries):  # a later undo decides before the earlier ones it undoes
            if entry.kind == "undo" and entry.seq not in dead:
                dead.add(int(entry.body["undoes"]))
        return [Entry(e.seq, e.at, e.kind, e.body, e.key, undone=e.seq in dead) for e in entries]

    def _rows(self, which: str, *values: str | int) -> list[Entry]:
        """Entries as stored. Raises JournalDamagedError when a row no longer makes sense."""
        query = f"SELECT seq, at, kind, body, key FROM entry {which}"
        try:
            return [_entry(row) for row in self._db.execute(query, values)]
        except (sqlite3.Error, ValueError, TypeError) as error:
            raise _refusal(self.path, error) from error

    def entries(self) -> list[Entry]:
        """Entries in force: undone ones and the undos themselves left out."""
        return [e for e in self.history() if not e.undone and e.kind != "undo"]

    def last(self) -> int:
        """Number of the last entry, 0 when there is none."""
        rows = self._rows("ORDER BY seq DESC LIMIT 1")
        return rows[0].seq if rows else 0

    def undoing(self) -> Entry | None:
        """What the last entry undid, as stored; None where the last entry is no undo."""
        last = self._rows("ORDER BY seq DESC LIMIT 1")
        if not last or last[0].kind != "undo":
            return None
        return next(iter(self._rows("WHERE seq = ?", int(last[0].body["undoes"]))), None)

    def named(self, key: str) -> Entry | None:
        """The entry a caller stored under a key of its own, undone or not."""
        rows = self._rows("WHERE key = ?", key)
        return rows[0] if rows else None

    def page(self, kind: str, before: int | None = None, most: int = 20) -> list[Entry]:
        """The last `most` entries of a kind in force, in order, of those before entry `before`.

        Reads those rows only, so that a page of a long log costs no more than of a short one.
        """
        limit = LARGEST if before is None else before
        undos = self._rows("WHERE kind = 'undo' ORDER BY seq DESC")
        dead: set[int] = set()
        for undo in undos:
            if undo.seq not in dead:
                dead.add(int(undo.body["undoes"]))
        found: list[Entry] = []
        while len(found) < most:
            rows = self._rows(
                f"WHERE kind = ? AND seq < ? ORDER BY seq DESC LIMIT {most}", kind, limit
            )
            found += [e for e in rows if e.seq not in dead]
            if len(rows) < most:
                break
            limit = rows[-1].seq
        return found[:most][::-1]

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
    def import_json(cls, document: object, path: Path) -> Journal:
        """Rebuild a journal from an export in a new file.

        Raises ProblemsError on a bad document (no file is made then), HalfsplitError when the file
        exists already, and what :meth:`open` raises.
        """
        if path.exists():
            raise HalfsplitError(f"{path}: already exists; move it away, then import again")
        good = import_rows(document)
        journal = cls.open(path)
        try:
            with journal._db:
                journal._db.execute("BEGIN")
                journal._db.executemany(
                    "INSERT INTO entry (seq, at, kind, body, key) VALUES (?, ?, ?, ?, ?)", good
                )
        except (sqlite3.Error, UnicodeError) as error:
            journal.close()
            path.unlink()
            raise JournalWriteError(f"{path}: nothing was imported: {error}") from error
        return journal


def prepare(db: sqlite3.Connection, path: Path) -> None:
    """Set the connection up, make the tables in a new file, refuse what is no journal of ours."""
    for pragma in ("journal_mode=DELETE", "synchronous=EXTRA", "recursive_triggers=ON"):
        db.execute(f"PRAGMA {pragma}").fetchall()
    version = db.execute("PRAGMA user_version").fetchone()[0]
    names = {row[0] for row in db.execute("SELECT name FROM sqlite_master")}
    if version == 0 and not names:
        db.executescript(f"BEGIN;{_SCHEMA}PRAGMA user_version={SCHEMA_VERSION};COMMIT;")
    elif version > SCHEMA_VERSION and "entry" in names:
        raise JournalDamagedError(
            f"{path}: written by a newer Halfsplit (format {version}); update to read it"
        )
    elif version != SCHEMA_VERSION or not names >= _NAMES:
        raise JournalDamagedError(f"{path}: is a database, but not a journal; move it away")
    found = db.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise sqlite3.DatabaseError(found)


def _refusal(path: Path, error: Exception) -> HalfsplitError:
    """Our words for what SQLite, or reading a row, ran into."""
    unreadable = str(error).startswith("Could not decode")
    if isinstance(error, sqlite3.OperationalError) and not unreadable:
        return JournalWriteError(f"{path}: the journal cannot be used: {error}")
    return JournalDamagedError(
        f"{path}: damaged or no journal ({' '.join(str(error).split())}); move it away and keep "
        "it, then rebuild it with: halfsplit restore"
    )


def _undoable(entry: Entry, seq: int | None) -> bool:
    if entry.undone:
        return False
    # What a machine said is nothing one did: it is undone only by its number.
    return entry.seq == seq if seq is not None else entry.kind not in ("undo", "console")


def _entry(row: tuple[int, str, str, str, str | None]) -> Entry:
    seq, at, kind, body, key = row
    return Entry(seq, datetime.fromisoformat(at), kind, json.loads(body), key)
