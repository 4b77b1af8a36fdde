"""The live console session in the terminal."""

from __future__ import annotations

import queue
import sys
import threading
import time
from pathlib import Path
from typing import Any

from rich.markup import escape

from halfsplit.cli import show
from halfsplit.cli.common import emit
from halfsplit.problems import ExitCode, Problem, ProblemsError

_ENDS = {"cr": b"\r", "lf": b"\n", "crlf": b"\r\n", "none": b""}
_QUIET = 1.0  # seconds without a byte after the last line typed before it ends


def talk(
    console: Any, file: Path, name: str, form: Any, eol: str, ready: bool,
    seconds: float | None, json: bool,
) -> int:  # fmt: skip
    """Show what comes, send the lines typed, until the end of input is reached and the time is up.

    With a terminal it goes on until Ctrl-C or Ctrl-D.
    """
    if eol not in _ENDS:
        wrong = f"{eol} is no line end"
        raise ProblemsError([Problem("", 0, 0, "--eol", wrong, "cr, lf, crlf or none")])
    if seconds is not None and not 0 <= seconds <= 1e6:
        raise ProblemsError(
            [Problem("", 0, 0, "--seconds", "a time in seconds belongs here", "10")]
        )
    from halfsplit.bench.console import open_journal, run
    from halfsplit.bench.console import talk as session_of
    from halfsplit.boards.port import Port

    lines: queue.Queue[bytes | None] = queue.Queue()
    ended = threading.Event()
    threading.Thread(target=_read, args=(lines, ended, _ENDS[eol]), daemon=True).start()
    heard: list[dict[str, Any]] = []
    total = [0]
    start = time.monotonic()
    last = [start]

    def stop() -> bool:
        now = time.monotonic()
        if seconds is not None:
            return now - start >= seconds
        return ended.is_set() and lines.empty() and now - last[0] > _QUIET

    def typed() -> bytes | None:
        try:
            data = lines.get_nowait()
            last[0] = time.monotonic()
            return data
        except queue.Empty:
            return None

    def told(came: bytes, said: list[Any]) -> None:
        total[0] += len(came)
        last[0] = time.monotonic()
        heard.extend(s.as_dict() for s in said)
        if not json:
            _print(came, said)

    with open_journal(file) as journal, Port(name, form, ready=ready) as wire:
        session = session_of(console, journal, wire)
        if not json:
            show.say(f"{name} at {form}; every byte is kept; end with Ctrl-D or Ctrl-C")
        run(session, stop, typed, told)
    data = {"port": name, "line": str(form), "bytes": total[0], "lines": heard}
    emit(data, json, lambda: show.say(f"\n{total[0]} bytes kept"))
    return ExitCode.OK


def _read(lines: queue.Queue[bytes | None], ended: threading.Event, end: bytes) -> None:
    """Lines typed, from another thread, because waiting for a key must not stop the listening."""
    try:
        for text in sys.stdin:
            lines.put(text.rstrip("\n").encode("latin-1", "replace") + end)
    except (OSError, ValueError):
        pass  # no standard input at all: nothing will be sent
    ended.set()


def _print(came: bytes, said: list[Any]) -> None:
    # What a machine sends is shown, not obeyed: no control but line ends reaches the terminal.
    plain = "".join(
        chr(b & 0x7F) for b in came if b & 0x7F in (10, 13) or 32 <= b & 0x7F < 127
    ).replace("\r\n", "\n").replace("\r", "\n")  # fmt: skip
    show.out.print(escape(plain), end="")
    for item in said:
        for name, words in item.means:
            show.out.print(f"\n  [cyan]{escape(name)}: {escape(words)}[/]")
