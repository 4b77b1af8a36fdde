"""A console session: bytes kept as they came, lines explained as they end.

It knows neither disk nor terminal: what is to be kept is handed to `keep`, and it sends nothing by
itself; only :meth:`Talk.typed` and :meth:`Talk.interrupt` send, and only what they are given.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from halfsplit.boards.framing import Format
from halfsplit.boards.messages import Message, explain
from halfsplit.boards.port import NotSentError

# A log entry is closed at the end of a line once this old [s], or this large, or when the line has
# been quiet; so that a power cut costs at most this.
_OLD = 1.0
_LARGE = 4096
# A line that never ends is cut here for explaining; the log is not.
_LONGEST_LINE = 4096


_NO_TEXT = dict.fromkeys((0x00, 0x11, 0x13, 0x7F))
_XON, _XOFF = 0x11, 0x13


class Wire(Protocol):
    """What a session needs of a port."""

    def receive(self, seconds: float) -> bytes:
        """What has arrived within `seconds`."""
        ...

    def send(self, data: bytes) -> None:
        """Send exactly this."""
        ...

    def interrupt(self) -> None:
        """Hold the line at space for a moment: a break."""
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
        # NUL and DEL are fill characters of slow printers, XON and XOFF are no text, and the
        # eighth bit may be parity.
        text, self.rest = self.rest, ""
        plain = "".join(chr(ord(c) & 0x7F) for c in text)
        return Said(text, explain(self.messages, plain.translate(_NO_TEXT)))


Keep = Callable[[dict[str, Any]], None]


@dataclass
class Talk:
    """One session at a port. `clock` gives seconds, `keep` puts an entry on disk.

    An entry holds ``way`` (in, out, break, or unsent: what the other end did not take),
    ``settings``, and ``pieces``: each piece as it was read or sent, as [seconds since `clock` was
    0, text], one character a byte. With `obeys` the machine's XOFF sets `held` until its XON.
    """

    wire: Wire
    messages: Mapping[str, Message]
    keep: Keep
    clock: Callable[[], float]
    obeys: bool = False
    held: bool = False
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
        if self.obeys:
            last = max(data.rfind(_XON), data.rfind(_XOFF))
            self.held = self.held if last < 0 else data[last] == _XOFF
        old = now - self._pieces[0][0] >= _OLD
        if self._size >= _LARGE or old:
            self.flush()
        return data, self.lines.feed(data)

    def typed(self, data: bytes) -> None:
        """Send what the user asked for, kept first so that the log never misses it.

        Raises NotSentError when the other end does not take it; that is kept as well.
        """
        self.flush()
        piece = [round(self.clock(), 6), data.decode("latin-1")]
        self._store("out", [piece])
        try:
            self.wire.send(data)
        except NotSentError:
            self._store("unsent", [piece])
            raise

    def interrupt(self) -> None:
        """Send a break, kept first."""
        self.flush()
        self._store("break", [[round(self.clock(), 6), ""]])
        self.wire.interrupt()

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


# Less than this share of odd bytes may be noise; fewer bytes than this say nothing.
_ODD, _FEW = 0.2, 12
_FILL = {0x00, 0x07, 0x08, 0x09, 0x0A, 0x0C, 0x0D, 0x11, 0x13, 0x1B, 0x7F}


@dataclass
class Tally:
    """What the bytes of a session look like: text, text with parity, or garbage."""

    total: int = 0
    text: int = 0  # letters and line ends, whatever the eighth bit
    odd: int = 0  # no text, whatever the eighth bit
    high: int = 0  # the eighth bit set
    even: int = 0  # an even number of ones among all eight
    zeros: int = 0
    last: bytes = b""

    def add(self, data: bytes) -> None:
        """Count what came."""
        self.total += len(data)
        self.text += sum(32 <= b & 0x7F < 127 or b & 0x7F in (10, 13) for b in data)
        self.odd += sum(b & 0x7F not in _FILL and not 32 <= b & 0x7F < 127 for b in data)
        self.high += sum(b > 127 for b in data)
        self.even += sum(b.bit_count() % 2 == 0 for b in data)
        self.zeros += data.count(0)
        self.last = (self.last + data)[-32:]

    @property
    def parity(self) -> str:
        """Format whose parity the eighth bit is, such as 7E1; "" when it is none."""
        if self.total < _FEW or not self.high or self.text < (1.0 - _ODD) * self.total:
            return ""
        share = self.even / self.total
        return "7E1" if share > 0.98 else "7O1" if share < 0.02 else ""

    def words(self, form: Format, file: str) -> str:
        """What seems wrong with the line; "" when the bytes look like text."""
        if self.total < _FEW:
            return ""
        if self.parity and form.data == 8:
            return (
                f"the eighth bit is parity: the machine sends {self.parity}; hear it by "
                f"--line {form.rate or 9600:g}-{self.parity}"
            )
        if self.zeros > 0.5 * self.total:
            return (
                "most of it is zero bytes: the line rests at space, as with a loop without "
                "current, the polarity turned round, or a break held; measure idle at the receiver"
            )
        strange = self.odd + (0 if self.parity else self.high)
        if strange > _ODD * self.total:
            shown = "".join(chr(b) if 32 <= b < 127 and b not in b"'\\" else f"\\x{b:02x}"
                            for b in self.last)  # fmt: skip
            return (
                f"{strange} of {self.total} bytes are no text: rate, format or wiring. What could "
                f"have made them: halfsplit line {file} --appeared '{shown}'"
            )
        return ""


def text_of(body: Mapping[str, Any]) -> str:
    """The characters of one kept entry."""
    return "".join(str(p[1]) for p in body.get("pieces", ()))
