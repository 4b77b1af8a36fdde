"""The console of a machine, kept in its journal: talking, pasting, reading back page by page."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from halfsplit.boards.console import Lines, Said, Talk, Wire, text_of
from halfsplit.boards.consoles import ConsoleFile
from halfsplit.boards.garbage import printable
from halfsplit.boards.port import NotSentError
from halfsplit.journal import Entry, Journal, journal_path
from halfsplit.problems import NotFoundError

KIND = "console"
# Pasted logs are stored in pieces of this many characters, so that a page of a large one is read
# without the rest.
_PIECE = 16384
OURS = ("out", "unsent", "break")  # ways of the log that began on this side
PAGE = 6  # entries of a page: some thousands of lines at most


def talk(console: ConsoleFile, journal: Journal, wire: Wire, *, obeys: bool = False) -> Talk:
    """A session whose entries go to the journal; each is on disk when the session says so."""
    return kept_talk(console, lambda body: _keep(journal, body), wire, obeys=obeys)


def kept_talk(
    console: ConsoleFile, keep: Callable[[dict[str, Any]], None], wire: Wire, *, obeys: bool = False
) -> Talk:
    """A session whose entries are handed to `keep`, which returns once they are on disk.

    With `obeys`, the machine's XOFF holds what is typed back until its XON.
    """
    start = time.monotonic()
    return Talk(wire, console.messages, keep, lambda: time.monotonic() - start, obeys)


def shown(line: dict[str, Any]) -> dict[str, Any]:
    """A line for a screen: controls as words, nothing in it obeyed."""
    return {**line, "text": printable(str(line["text"]).encode("latin-1", "replace"))}


def _keep(journal: Journal, body: dict[str, Any]) -> None:
    journal.append(KIND, body)


def run(
    session: Talk,
    stop: Callable[[], bool],
    typed: Callable[[], bytes | Literal["break"] | None],
    show: Callable[[bytes, list[Said]], None],
    wait: float = 0.1,
    trouble: Callable[[str], None] | None = None,
) -> None:
    """Listen until `stop`; `typed` gives what the user asked to send, or None, and is not asked
    while the machine holds the line.

    What has come is on disk even when this is interrupted. What the other end does not take is
    told to `trouble`, and the session goes on; without it NotSentError ends it.
    """
    try:
        while not stop():
            data = None if session.held else typed()
            try:
                if data == "break":
                    session.interrupt()
                elif data:
                    session.typed(data)
            except NotSentError as error:
                if trouble is None:
                    raise
                trouble(str(error))
            came, said = session.listen(wait)
            if came:
                show(came, said)
    finally:
        rest = session.close()
        if rest:
            show(b"", rest)


def paste(
    console: ConsoleFile, journal: Journal, text: str, settings: dict[str, Any]
) -> list[Said]:
    """Keep a log from elsewhere as it is and explain its lines. Characters are kept as text."""
    for k in range(0, len(text), _PIECE):
        piece = text[k : k + _PIECE]
        _keep(journal, {"way": "paste", "settings": settings, "pieces": [[0.0, piece]]})
    lines = Lines(console.messages)
    said = lines.feed(text.encode("latin-1", "replace"))
    return [*said, *lines.close()]


def page(
    console: ConsoleFile, journal: Journal, before: int | None = None, most: int = PAGE
) -> dict[str, Any]:
    """One page of the log, the newest unless `before` names an entry: lines with their meanings.

    Only the entries of the page are read. ``earlier`` is the entry to ask for the page before, or
    None at the beginning.
    """
    entries = journal.page(KIND, before, most + 1)
    lines, shown = Lines(console.messages), []
    first, entries = (entries[0], entries[1:]) if len(entries) > most else (None, entries)
    if first is not None and first.body.get("way") not in OURS:
        lines.feed(_bytes(first))  # a line may have begun on the page before
    for entry in entries:
        way = str(entry.body.get("way", "in"))
        if way in OURS:
            shown += _rows(entry, "in", lines.close())
            said = "(break)" if way == "break" else text_of(entry.body)
            shown.append({**_head(entry, way), "text": said, "means": []})
            continue
        shown += _rows(entry, way, lines.feed(_bytes(entry)))
    if entries and before is None:  # else the page after it shows the whole line
        shown += _rows(entries[-1], "in", lines.close())
    return {
        "lines": shown,
        "entries": len(entries),
        "settings": dict(entries[-1].body.get("settings", {})) if entries else {},
        "earlier": entries[0].seq if first is not None else None,
    }


def _bytes(entry: Entry) -> bytes:
    return text_of(entry.body).encode("latin-1", "replace")


def _head(entry: Entry, way: str) -> dict[str, Any]:
    return {"entry": entry.seq, "at": entry.at.isoformat(timespec="seconds"), "way": way}


def _rows(entry: Entry, way: str, said: list[Said]) -> list[dict[str, Any]]:
    return [{**_head(entry, way), **line.as_dict()} for line in said]


def open_journal(file: Path) -> Journal:
    """The journal beside a console file."""
    return Journal.open(journal_path(file))


def lamps_dict(console: ConsoleFile, text: str) -> list[dict[str, str]]:
    """What lamps mean, typed as ``0100`` or ``leds=0100``. Raises NotFoundError."""
    name, _, code = text.rpartition("=")
    rows = {k: v for k, v in console.lamps.items() if not name or k == name}
    meant = [
        {"name": k, "means": v.codes[code], "order": v.order}
        for k, v in rows.items()
        if code in v.codes
    ]
    if not meant:
        known = ", ".join(c for v in rows.values() for c in v.codes) or "none in this file"
        raise NotFoundError(f"no lamps are known to show {code}; known: {known}")
    return meant
