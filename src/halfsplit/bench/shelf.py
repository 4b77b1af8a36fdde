"""Every machine under a folder, with where each was left: read from files and journals, not solved.

A thousand machines of ten thousand readings must list in a second. So the folder is walked once and
each file told by its first lines; of a machine only what one page shows is looked at, by a few rows
of SQL (:func:`halfsplit.journal.peek`); what takes longer to find (hazards, which need the file
parsed) and what takes minutes (the next check) is kept from the last time somebody had the machine
open, in a small file in the user's cache, with the number of the entry it was worked out at.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from halfsplit.boards.which import Sort, sort_by
from halfsplit.faults.store import cache_folder
from halfsplit.journal import Peek, acquire, glance, journal_path, peek
from halfsplit.problems import ExitCode, HalfsplitError

DEPTH, MOST_FILES = 4, 20_000  # folders deep, files looked at: a shelf, not a disk
HEAD = 65536  # bytes of a file in which its sections must begin to show
SKIPPED = {"node_modules", "__pycache__", "site-packages"}
PER_PAGE = 20
_KEY = re.compile(r"^([A-Za-z_]+):[ \t]*([^\n#]*)", re.MULTILINE)


class ShelfBusyError(HalfsplitError):
    """Another server has this folder open."""

    exit_code = ExitCode.BUSY


@dataclass(frozen=True)
class Found:
    """One file on the shelf: its path below the folder, what sort it is, and its names."""

    key: str
    path: Path
    sort: Sort
    name: str
    machine: str
    used: float  # when its journal, else the file itself, was last written to [s since 1970]


@dataclass(frozen=True)
class Listed:
    """One page of the shelf: files, how many there are in all, and which page of how many."""

    rows: tuple[Found, ...]
    total: int
    page: int
    pages: int


class Shelf:
    """The machines below a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self._known: dict[Path, tuple[tuple[int, int], tuple[Sort | None, str, str]]] = {}
        self._keys: dict[str, Path] = {}

    def scan(self) -> list[Found]:
        """Every machine, the one last worked on first."""
        found = []
        for path, status in _files(self.folder):
            stamp = (status.st_mtime_ns, status.st_size)
            known = self._known.get(path)
            if known is None or known[0] != stamp:
                known = self._known[path] = (stamp, _told_by_its_head(path))
            sort, name, machine = known[1]
            if sort is None:
                continue
            used = status.st_mtime
            with suppress(OSError):  # no journal yet
                used = max(used, journal_path(path).stat().st_mtime)
            key = path.relative_to(self.folder).as_posix()
            found.append(Found(key, path, sort, name or path.stem, machine, used))
        found.sort(key=lambda f: (-f.used, f.key))
        self._keys = {f.key: f.path for f in found}
        return found

    def page(self, search: str = "", page: int = 1, size: int = PER_PAGE) -> Listed:
        """Machines with every word of `search` in name, machine or path, a page at a time."""
        words = search.lower().split()
        hits = [
            f
            for f in self.scan()
            if all(w in f"{f.name} {f.machine} {f.key}".lower() for w in words)
        ]
        pages = max(1, -(-len(hits) // size))
        page = min(max(page, 1), pages)
        return Listed(tuple(hits[(page - 1) * size : page * size]), len(hits), page, pages)

    def find(self, key: str) -> tuple[Path, Sort] | None:
        """The file listed under a key and its sort as of now; None for anything the shelf did not
        list itself."""
        if key not in self._keys:
            self.scan()
        path = self._keys.get(key)
        sort = None if path is None else _told_by_its_head(path)[0]
        return None if path is None or sort is None else (path, sort)

    def begin(self, name: str) -> str:
        """Write the file of a new machine into the folder; returns its key.

        Raises ProblemsError for a name that will not do, HalfsplitError where its file is there
        already or cannot be written.
        """
        from halfsplit.assembly.new_file import file_name, new_file

        path = new_file(self.folder / f"{file_name(name)}.yaml", name)
        self.scan()
        return path.relative_to(self.folder).as_posix()


def _files(folder: Path) -> Iterator[tuple[Path, os.stat_result]]:
    """YAML files below a folder, near ones first, links not followed."""
    level, seen = [folder], 0
    for _ in range(DEPTH + 1):
        deeper: list[Path] = []
        for here in level:
            try:
                entries = sorted(os.scandir(here), key=lambda e: e.name)
            except OSError:
                continue
            for entry in entries:
                if entry.name.startswith(".") or entry.name in SKIPPED:
                    continue
                try:
                    if entry.is_dir(follow_symlinks=False):
                        deeper.append(Path(entry.path))
                    elif entry.name.endswith((".yaml", ".yml")) and entry.is_file():
                        seen += 1
                        if seen > MOST_FILES:
                            return
                        yield Path(entry.path), entry.stat()
                except OSError:
                    continue
        level = deeper


def _told_by_its_head(path: Path) -> tuple[Sort | None, str, str]:
    """Sort, name and machine of a file by its first lines, without reading it as YAML."""
    try:
        with path.open("rb") as stream:
            text = stream.read(HEAD).decode("utf-8", "replace")
    except OSError:
        return None, "", ""
    keys = dict(reversed([(k, v.strip().strip("\"'")) for k, v in _KEY.findall(text)]))
    if "faults" in keys and "parts" not in keys:
        return None, "", ""  # a fault script, no machine
    sort = sort_by(set(keys))
    named = {"assembly": "assembly", "console": "console", "boards": "machine", None: ""}[sort]
    name = keys.get(named, "") or path.stem
    name = f"{name}: boards" if sort == "boards" else name
    return sort, name, keys.get("machine", "")


# -- where each was left ---------------------------------------------------------------------------


def glimpse(found: Found) -> dict[str, Any]:
    """Where a machine was left, by a few rows of its journal and what was worked out before.

    `hazards` is None while nobody has read the file since it or its journal changed: ask
    :func:`thorough`. `next` is what was to be done next as of entry `next_at`; `stale` says that
    entries came since.
    """
    seen = peek(journal_path(found.path))
    kept = _kept(found.path)
    same = kept.get("stamp") == _stamp(found.path) and kept.get("last") == seen.last
    row = {
        "key": found.key,
        "name": found.name,
        "machine": found.machine,
        "sort": found.sort,
        "last": seen.last,
        "at": seen.at.isoformat() if seen.at else None,
        "readings": (seen.counts or {}).get("read", 0),
        "entries": sum((seen.counts or {}).values()),
        "trouble": seen.trouble,
        "hazards": kept.get("hazards") if same else None,
        "next": kept.get("next", ""),
        "next_at": kept.get("next_at"),
        "next_reading": kept.get("next_reading"),
    }
    row["stale"] = bool(row["next"]) and row["next_at"] != seen.last
    row |= _by_journal(seen)
    row["state"] = kept.get("state") or "at work" if seen.last else "fresh"
    return row


def _by_journal(seen: Peek) -> dict[str, Any]:
    """Condition and open items in words, from the last condition in force."""
    if seen.condition is None:
        return {"condition": "", "open_items": []}
    from halfsplit.assembly.condition import Condition

    try:
        now = Condition.from_dict(seen.condition["condition"])
    except (KeyError, TypeError, ValueError):
        return {"condition": "its last condition makes no sense", "open_items": []}
    return {
        "condition": now.words(),
        "open_items": [str(c) for c in now.changes if c.temporary],
    }


def thorough(found: Found) -> dict[str, Any]:
    """As :func:`glimpse`, the file read for its hazards where nobody has since it changed."""
    row = glimpse(found)
    if row["hazards"] is None and found.sort == "assembly" and not row["trouble"]:
        from halfsplit.bench.hazards import present
        from halfsplit.bench.noting import Noter

        try:
            with glance(journal_path(found.path)) as journal:
                noter = Noter(found.path, journal=journal)
                row["hazards"] = present(noter.machine, noter.condition, noter.discharged())
                row["condition"] = noter.condition.words()
        except HalfsplitError as error:
            row["hazards"], row["trouble"] = [], str(error).splitlines()[0]
            return row
        keep(found.path, {"last": row["last"], "hazards": row["hazards"]})
    return row


def keep(path: Path, known: dict[str, Any]) -> None:
    """Keep something known of a machine for the next list; failing is no loss."""
    data = {**_kept(path), **known, "stamp": _stamp(path)}
    place = _place(path)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        trial = place.with_name(f"{place.stem}.{os.getpid()}.part")
        trial.write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        trial.replace(place)
    except OSError:
        return


def _kept(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(_place(path).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return data if isinstance(data, dict) else {}


def _place(path: Path) -> Path:
    return cache_folder() / "shelf" / f"{digest(path)}.json"


def digest(path: Path) -> str:
    """A short name for a path, the same whatever link it was reached by."""
    return hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:20]


def _stamp(path: Path) -> list[int]:
    try:
        status = path.stat()
    except OSError:
        return [0, 0]
    return [status.st_mtime_ns, status.st_size]


# -- one server at a time --------------------------------------------------------------------------


class Claim:
    """A folder taken by one server; freed when it ends, however it ends.

    The lock lies in the user's cache, so that nothing is written beside the machines.
    """

    def __init__(self, folder: Path) -> None:
        self.place = cache_folder() / "app" / digest(folder)
        self.place.mkdir(parents=True, exist_ok=True)
        lock: IO[str] | None = acquire(self.place / "lock", 0.0)
        if lock is None:
            address = _read(self.place / "address")
            holder = _read(self.place / "lock") or "unknown"
            where = f" at {address}" if address else ""
            raise ShelfBusyError(
                f"{folder}: already open{where}, by process {holder}; use that page, or stop it "
                "there first"
            )
        self._lock = lock

    def told(self, address: str) -> None:
        """Note where the server can be reached, for a second one to tell."""
        (self.place / "address").write_text(address, encoding="utf-8")

    def free(self) -> None:
        """Let another server have it."""
        self._lock.close()


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8").strip()
    except OSError:
        return ""


def listing(shelf: Shelf, search: str = "", page: int = 1) -> dict[str, Any]:
    """A page of the shelf as data, hazards looked up."""
    found = shelf.page(search, page)
    rows: Sequence[dict[str, Any]] = [thorough(f) for f in found.rows]
    return {
        "folder": str(shelf.folder),
        "machines": list(rows),
        "total": found.total,
        "page": found.page,
        "pages": found.pages,
    }
