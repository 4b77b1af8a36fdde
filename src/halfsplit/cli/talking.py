"""The live console session in the terminal."""

from __future__ import annotations

import queue
import sys
import threading
import time
from pathlib import Path
from typing import Any, Literal

from rich.markup import escape

from halfsplit.cli import show
from halfsplit.cli.common import emit
from halfsplit.problems import ExitCode, Problem, ProblemsError

_ENDS = {"cr": b"\r", "lf": b"\n", "crlf": b"\r\n", "none": b""}
_FLOWS = ("none", "xon", "rts")
_QUIET = 1.0  # seconds without a byte after the last line typed before it ends
_HELD = 10.0  # and as long again where the machine holds what is still to be sent
HELP = (
    "lines go as typed; :break sends a break, :send \\x03 bytes without a line end, "
    "::x a line that begins with a colon"
)
Asked = bytes | Literal["break"] | None


def talk(
    console: Any, file: Path, name: str, form: Any, eol: str, ready: bool,
    seconds: float | None, json: bool, flow: str = "none",
) -> int:  # fmt: skip
    """Show what comes, send the lines typed, until the end of input is reached and the time is up.

    With a terminal it goes on until Ctrl-C or Ctrl-D.
    """
    _sound(eol, flow, seconds)
    from halfsplit.bench.console import open_journal, run
    from halfsplit.bench.console import talk as session_of
    from halfsplit.boards.console import Tally
    from halfsplit.boards.port import Port, PortError

    lines: queue.Queue[tuple[str, Any]] = queue.Queue()
    ended = threading.Event()
    threading.Thread(target=_read, args=(lines, ended, _ENDS[eol]), daemon=True).start()
    heard: list[dict[str, Any]] = []
    troubles: list[str] = []
    tally, hinted, sent = Tally(), [False], [0]
    start = time.monotonic()
    last = [start]

    def stop() -> bool:
        now = time.monotonic()
        if seconds is not None:
            return now - start >= seconds
        quiet = now - last[0]
        return ended.is_set() and quiet > (_QUIET if lines.empty() else _HELD)

    def typed() -> Asked:
        try:
            what, data = lines.get_nowait()
        except queue.Empty:
            return None
        last[0] = time.monotonic()
        if what == "say":
            trouble(data)
            return None
        if what == "break":
            return "break"
        sent[0] += len(data)
        return bytes(data)

    def trouble(words: str) -> None:
        troubles.append(words)
        if not json:
            show.error(words)

    def told(came: bytes, said: list[Any]) -> None:
        tally.add(came)
        last[0] = time.monotonic()
        heard.extend(s.as_dict() for s in said)
        if json:
            return
        _print(came, said, parity=bool(tally.parity))
        if not hinted[0] and (words := tally.words(form, str(file))):
            hinted[0] = True
            show.out.print(f"\n[yellow]{escape(words)}[/]")

    code = ExitCode.OK
    counted: dict[str, int] = {}
    with open_journal(file) as journal, Port(name, form, ready=ready, flow=_flow(flow)) as wire:
        session = session_of(console, journal, wire, obeys=flow == "xon")
        before = wire.counts()
        if not json:
            show.say(f"{name} at {form}; every byte is kept; end with Ctrl-D or Ctrl-C")
            show.say(HELP)
        try:
            run(session, stop, typed, told, trouble=trouble)
        except PortError as error:
            trouble(str(error))
            code = ExitCode.PROBLEMS
        except KeyboardInterrupt:
            code = ExitCode.INTERRUPTED
        after = wire.counts()
        counted = {k: after[k] - before[k] for k in after if k in before and after[k] > before[k]}
        held = session.held
    unsent = lines.qsize()
    if unsent:
        why = "the machine held the line (XOFF)" if held else "the session ended first"
        trouble(f"{unsent} lines typed were not sent: {why}")
    data = {
        "port": name,
        "line": str(form),
        "bytes": tally.total,
        "typed": sent[0],
        "lines": heard,
        "hint": tally.words(form, str(file)),
        "trouble": troubles,
        "counted": counted,
    }
    emit(data, json, lambda: _ended(data))
    return code


def _sound(eol: str, flow: str, seconds: float | None) -> None:
    wrong = []
    if eol not in _ENDS:
        wrong.append(Problem("", 0, 0, "--eol", f"{eol} is no line end", "cr, lf, crlf or none"))
    if flow not in _FLOWS:
        wrong.append(Problem("", 0, 0, "--flow", f"{flow} is no flow control", "none, xon or rts"))
    if seconds is not None and not 0 <= seconds <= 1e6:
        wrong.append(Problem("", 0, 0, "--seconds", "a time in seconds belongs here", "10"))
    if wrong:
        raise ProblemsError(wrong)


def _flow(text: str) -> Literal["none", "xon", "rts"]:
    return "xon" if text == "xon" else "rts" if text == "rts" else "none"


def _ended(data: dict[str, Any]) -> None:
    show.say(f"\n{data['bytes']} bytes came and {data['typed']} were typed; all are kept")
    if data["hint"]:
        show.say(data["hint"])
    if data["counted"]:
        found = ", ".join(f"{n} {name}" for name, n in data["counted"].items())
        show.say(f"the port itself counted errors: {found}; rate or format is wrong, or the level")


def ask(text: str, end: bytes) -> tuple[str, Any]:
    """What a line typed asks for: ("send", bytes), ("break", None), or ("say", why not)."""
    from halfsplit.boards.garbage import malformed, unescaped

    order, _, rest = text.partition(" ")
    if text.startswith("::"):
        text = text[1:]
    elif order == ":break" and not rest:
        return "break", None
    elif order == ":send":
        if slip := malformed(rest):
            return (
                "say",
                f"not sent: {slip} is no byte; two hexadecimal digits: \\x03, and \\\\ is \\",
            )
        text, end = unescaped(rest), b""
    elif text.startswith(":"):
        return "say", f"not sent: {order} is no order; {HELP}"
    try:
        return "send", text.encode("latin-1") + end
    except UnicodeEncodeError as error:
        bad = text[error.start : error.end]
        return "say", f"not sent: a serial line does not carry “{bad}”; plain letters, or :send"


def _read(lines: queue.Queue[tuple[str, Any]], ended: threading.Event, end: bytes) -> None:
    """Lines typed, from another thread, because waiting for a key must not stop the listening."""
    try:
        for text in sys.stdin:
            lines.put(ask(text.rstrip("\n"), end))
    except (OSError, ValueError):
        pass  # no standard input at all: nothing will be sent
    ended.set()


def plain(came: bytes, parity: bool) -> str:
    """What came as the terminal shows it: shown, not obeyed. No control but line ends reaches it;
    fill characters are left out, and what is no text stands as ``\\xNN``.
    """
    found = []
    for b in came:
        low = b & 0x7F
        if low in _HIDDEN and (parity or b < 128):
            continue
        text = low in (10, 13) or 32 <= low < 127
        if text and (parity or b < 128):
            found.append(chr(low))
        else:
            found.append(f"\\x{b:02x}")
    return "".join(found).replace("\r\n", "\n").replace("\r", "\n")


# NUL, BEL, XON, XOFF and DEL: fill, or nothing to see.
_HIDDEN = {0x00, 0x07, 0x11, 0x13, 0x7F}


def _print(came: bytes, said: list[Any], *, parity: bool = False) -> None:
    show.out.print(escape(plain(came, parity)), end="")
    for item in said:
        for name, words in item.means:
            show.out.print(f"\n  [cyan]{escape(name)}: {escape(words)}[/]")
