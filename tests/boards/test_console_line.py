"""A console over a pseudo-terminal that behaves as a line does: garbage, parity, breaks, flow
control, hanging up, coming back."""

from __future__ import annotations

import os
import threading
import tty
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from halfsplit.bench.console import page, run, talk
from halfsplit.boards import port as ports
from halfsplit.boards.console import Tally, text_of
from halfsplit.boards.consoles import ConsoleFile
from halfsplit.boards.framing import Format, parse_format
from halfsplit.boards.port import NotSentError, Port, PortError
from halfsplit.cli.talking import ask, plain
from halfsplit.journal import Journal

N81 = Format(8, rate=9600.0)


class Machine:
    """The far end of a pseudo-terminal."""

    def __init__(self) -> None:
        self.end, ours = os.openpty()
        tty.setraw(ours)
        self.name, self._ours = os.ttyname(ours), ours
        self.gone = False

    def says(self, data: bytes) -> None:
        os.write(self.end, data)

    def heard(self) -> bytes:
        os.set_blocking(self.end, False)
        try:
            return os.read(self.end, 65536)
        except BlockingIOError:
            return b""

    def hangs_up(self) -> None:
        """The adapter is pulled out: both ends go."""
        os.close(self._ours)
        os.close(self.end)
        self.gone = True


@pytest.fixture
def machine() -> Iterator[Machine]:
    found = Machine()
    yield found
    if not found.gone:
        found.hangs_up()


def kept(journal: Journal, way: str = "in") -> bytes:
    rows = [e for e in journal.entries() if e.kind == "console" and e.body["way"] == way]
    return "".join(text_of(e.body) for e in rows).encode("latin-1")


def after(turns: int) -> Callable[[], bool]:
    left = iter(range(turns))
    return lambda: next(left, None) is None


def test_what_the_machine_asks_to_hold_is_held(
    demo: ConsoleFile, journal: Journal, machine: Machine
) -> None:
    """XOFF, a line typed, nothing sent; XON, and it goes. Both stay in the log."""
    typed = iter([b"D 0\r"])
    with Port(machine.name, N81, flow="xon") as port:
        session = talk(demo, journal, port, obeys=True)
        machine.says(b"WAIT\x13")
        run(session, after(3), lambda: None, lambda *_: None, 0.05)
        assert session.held
        run(session, after(3), lambda: next(typed, None), lambda *_: None, 0.05)
        assert machine.heard() == b"" and kept(journal, "out") == b""
        machine.says(b"\x11GO\r\n")
        run(session, after(4), lambda: next(typed, None), lambda *_: None, 0.05)
        assert machine.heard() == b"D 0\r"
    assert kept(journal) == b"WAIT\x13\x11GO\r\n"


def test_without_being_told_to_nothing_is_held(
    demo: ConsoleFile, journal: Journal, machine: Machine
) -> None:
    """A machine whose data hold the byte of XOFF must not silence the user."""
    typed = iter([b"D 0\r"])
    with Port(machine.name, N81) as port:
        session = talk(demo, journal, port)
        machine.says(b"\x13")
        run(session, after(4), lambda: next(typed, None), lambda *_: None, 0.05)
        assert machine.heard() == b"D 0\r"


def test_a_machine_that_takes_nothing_does_not_stop_the_listening(
    demo: ConsoleFile, journal: Journal, machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ports, "SEND_TIMEOUT", 0.2)
    much = b"X" * 200_000  # more than a pseudo-terminal takes unread
    typed = iter([much])
    told: list[str] = []
    came: list[bytes] = []
    with Port(machine.name, N81, flow="none") as port:
        session = talk(demo, journal, port)
        machine.says(b"BUSY\r\n")
        run(
            session,
            after(4),
            lambda: next(typed, None),
            lambda data, _: came.append(data),
            0.05,
            told.append,
        )
        assert len(told) == 1 and "took nothing" in told[0]
        assert b"".join(came) == b"BUSY\r\n"
        with pytest.raises(NotSentError):
            session.typed(much)
    assert kept(journal, "unsent") == much * 2
    ways = [line["way"] for line in page(demo, journal)["lines"]]
    assert "unsent" in ways and "in" in ways


def test_a_break_is_sent_only_when_asked_and_is_in_the_log(
    demo: ConsoleFile, journal: Journal, machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    held: list[float] = []
    with Port(machine.name, N81) as port:
        monkeypatch.setattr(port._serial, "send_break", held.append)
        asked: Iterator[Any] = iter([None, "break"])
        session = talk(demo, journal, port)
        run(session, after(4), lambda: next(asked, None), lambda *_: None, 0.02)
        assert held == [0.25] and machine.heard() == b""
    assert [e.body["way"] for e in journal.entries()] == ["break"]
    assert [line["text"] for line in page(demo, journal)["lines"]] == ["(break)"]


def test_hung_up_kept_and_reopened(demo: ConsoleFile, journal: Journal, machine: Machine) -> None:
    """The adapter pulled out mid-line: all that came is kept; plugged in again it goes on."""
    with Port(machine.name, N81) as port:
        session = talk(demo, journal, port)
        machine.says(b"E4 SI")
        threading.Timer(0.3, machine.hangs_up).start()
        with pytest.raises(PortError, match="went away"):
            run(session, after(100), lambda: None, lambda *_: None, 0.1)
    assert kept(journal) == b"E4 SI"
    again = Machine()
    with Port(again.name, N81) as port:
        session = talk(demo, journal, port)
        again.says(b"QM 2.1\r\n")
        run(session, after(3), lambda: None, lambda *_: None, 0.05)
    again.hangs_up()
    assert kept(journal) == b"E4 SIQM 2.1\r\n"


# A sender of 1200 Bd heard at 9600: a bit lasts eight of ours, so every fall is a start bit, seven
# more at space, then mark: 80 hexadecimal. U is 0 1 0 1 0 1 0 1 0 1 with its start and stop: five
# falls. By hand.
SLOW_U = b"\x80" * 5


def parity(text: str, odd: bool) -> bytes:
    """Seven bits and parity in the eighth, counted here and not by the program."""
    return bytes(b | (0x80 if (bin(b).count("1") % 2 == 1) != odd else 0) for b in text.encode())


@pytest.mark.parametrize(
    ("data", "form", "want"),
    [
        (b"QM 2.1\r\nLO 0000 HI 7FFF\r\n", "9600-8N1", ""),
        (b"\x00\x00\x00QM 2.1\r\nLO 0000 HI 7FFF\r\n\x00\x00\x7f", "300-8N1", ""),
        (SLOW_U * 6, "9600-8N1", "no text"),
        (parity("QM 2.1\r\nLO 0000 HI 7FFF\r\n", False), "9600-8N1", "--line 9600-7E1"),
        (parity("QM 2.1\r\nLO 0000 HI 7FFF\r\n", True), "1200-8N1", "--line 1200-7O1"),
        (b"\x00" * 20 + b"\xff", "9600-8N1", "rests at space"),
        (b"\x93\xe2\x07\xf1\xc0", "9600-8N1", ""),  # five bytes say nothing
        (bytes(range(0x80, 0x100)), "9600-8N1", "no text"),
    ],
)
def test_what_the_bytes_look_like(data: bytes, form: str, want: str) -> None:
    tally = Tally()
    for k in range(0, len(data), 7):
        tally.add(data[k : k + 7])
    said = tally.words(parse_format(form), "q.yaml")
    assert (want in said) if want else said == ""


def test_the_command_that_explains_garbage_is_one_that_can_be_typed() -> None:
    """The bytes in the hint, read back by the same program, are the bytes that came."""
    from halfsplit.boards.garbage import unescaped

    data = bytes(range(0xE0, 0x100)) + b"it's \\ x"
    tally = Tally()
    tally.add(data)
    said = tally.words(N81, "q.yaml")
    inside = said.split("--appeared '")[1][:-1]
    assert "'" not in inside
    assert unescaped(inside).encode("latin-1") == data[-32:]


def test_garbage_is_shown_not_hidden_and_never_obeyed() -> None:
    assert plain(b"\x1b[2J\xc5A\x00\r\n", False) == "\\x1b[2J\\xc5A\n"
    assert plain(parity("OK\r\n", False), True) == "OK\n"


@pytest.mark.parametrize(
    ("typed", "want"),
    [
        ("D 0", ("send", b"D 0\r")),
        ("", ("send", b"\r")),
        (":break", ("break", None)),
        (":send \\x03\\x1b", ("send", b"\x03\x1b")),
        ("::load", ("send", b":load\r")),
        (": x", ("say", "no order")),
        (":halt", ("say", "no order")),
        (":send →", ("say", "does not carry")),
        (":send \\xzz", ("say", "not sent: \\xzz is no byte")),
        (":send a\\x0", ("say", "not sent: \\x0 is no byte")),
        (":send \\q", ("say", "not sent: \\q is no byte")),
        (":send a\\\\q\\r", ("send", b"a\\q\r")),
        ("C:\\x", ("send", b"C:\\x\r")),
        ("D →", ("say", "does not carry")),
        ("é", ("send", b"\xe9\r")),
    ],
)
def test_what_a_typed_line_sends(typed: str, want: tuple[str, Any]) -> None:
    what, data = ask(typed, b"\r")
    assert what == want[0]
    assert (want[1] in data) if what == "say" else data == want[1]


def test_a_pseudo_terminal_counts_no_errors_and_a_port_that_does_is_read(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The counter of Linux (struct serial_icounter_struct): 6 framing, 7 overrun, 8 parity, 9
    breaks, as in its header."""
    import fcntl
    import struct

    with Port(machine.name, N81) as port:
        assert port.counts() == {}
        numbers = struct.pack("20i", *range(100, 120))
        monkeypatch.setattr(fcntl, "ioctl", lambda *_: numbers)
        assert port.counts() == {"framing": 106, "overrun": 107, "parity": 108, "breaks": 109}
