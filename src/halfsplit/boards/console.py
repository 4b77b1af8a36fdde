"""A console session: bytes kept as they came, lines explained as they end.

It knows neither disk nor terminal: what is to be kept is handed to `keep`, and it sends nothing by
itself; only :meth:`Talk.typed` sends, and only what it is given.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from halfsplit.boards.messages import Message, explain

# A log entry is closed at the end of a line once this old [s], or this large, or when the line has
# been quiet; so that a power cut costs at most this.
_OLD = 1.0
_LARGE = 4096
# A line that never ends is cut here for explaining; the log is not.
_LONGEST_LINE = 4096


class Wire(Protocol):
    """What a session needs of a port."""

    def receive(self, seconds: float) -> bytes:
        """What has arrived within `seconds`."""
        ...

    def send(self, data: bytes) -> None:
        """Send exactly this."""
        ...

    def settings(self) -> dict[str, Any]:
        """Kept beside the log."""
        ...


@dataclass(frozen=True)
class Said:
    """A finished line: its text, and (name, meaning) of each message it is."""

    text: str
    means: list[tuple[str, str]]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"text": self.text, "means": [{"name": n, "text": t} for n, t in self.means]}


@dataclass
class Lines:
    """Cuts what arrives into lines: CR, LF or both end one; other controls stay in it."""

    messages: Mapping[str, Message]
    rest: str = ""
    _after_return: bool = False

    def feed(self, data: bytes) -> list[Said]:
        """Lines that ended in `data` (Latin-1: a byte is a character)."""
        found = []
        for c in data.decode("latin-1"):
            if c == "\n" and self._after_return:
                self._after_return = False
                continue
            self._after_return = c == "\r"
            if c in "\r\n":
                found.append(self._said())
            else:
                self.rest += c
                if len(self.rest) >= _LONGEST_LINE:
                    found.append(self._said())
        return found

    def close(self) -> list[Said]:
        """The last line, if it never ended."""
        return [self._said()] if self.rest else []

    def _said(self) -> Said:
        # NUL and DEL are fill characters of slow printers; the eighth bit may be parity.
        text, self.rest = self.rest, ""
        plain = "".join(chr(ord(c) & 0x7F) for c in text).replace("\0", "").replace("\x7f", "")
        return Said(text, explain(self.messages, plain))


Keep = Callable[[dict[str, Any]], None]


@dataclass
class Talk:
    """One session at a port. `clock` gives seconds, `keep` puts an entry on disk.

    An entry holds ``way`` (in or out), ``settings``, and ``pieces``: each piece as it was read or
    sent, as [seconds since `clock` was 0, text], one character a byte.
    """

    wire: Wire
    messages: Mapping[str, Message]
    keep: Keep
    clock: Callable[[], float]
    lines: Lines = field(init=False)
    _pieces: list[list[Any]] = field(default_factory=list)
    _size: int = 0

    def __post_init__(self) -> None:
        self.lines = Lines(self.messages)

    def listen(self, seconds: float) -> tuple[bytes, list[Said]]:
        """Wait up to `seconds`; what came, and the lines that ended. It is kept before returning
        once a line has ended, the line is quiet, or much has come.
        """
        data = self.wire.receive(seconds)
        now = self.clock()
        if not data:
            self.flush()
            return b"", []
        self._pieces.append([round(now, 6), data.decode("latin-1")])
        self._size += len(data)
        old = now - self._pieces[0][0] >= _OLD
        if self._size >= _LARGE or old:
            self.flush()
        return data, self.lines.feed(data)

    def typed(self, data: bytes) -> None:
        """Send what the user asked for, kept first so that the log never misses it."""
        self.flush()
        self._store("out", [[round(self.clock(), 6), data.decode("latin-1")]])
        self.wire.send(data)

    def flush(self) -> None:
        """Put what has come on disk."""
        if self._pieces:
            pieces, self._pieces, self._size = self._pieces, [], 0
            self._store("in", pieces)

    def close(self) -> list[Said]:
        """Keep what is left; the unfinished last line."""
        self.flush()
        return self.lines.close()

    def _store(self, way: str, pieces: list[list[Any]]) -> None:
        self.keep({"way": way, "settings": self.wire.settings(), "pieces": pieces})


def text_of(body: Mapping[str, Any]) -> str:
    """The characters of one kept entry."""
    return "".join(str(p[1]) for p in body.get("pieces", ()))
