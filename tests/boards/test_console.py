"""The console session: every byte kept, nothing sent unasked, lines explained, long logs paged."""

from __future__ import annotations

import os
import tty
from collections.abc import Iterator
from typing import Any

import pytest

from halfsplit.bench.console import PAGE, page, paste, run, talk
from halfsplit.boards.console import Lines, Talk, text_of
from halfsplit.boards.consoles import ConsoleFile
from halfsplit.boards.framing import Format
from halfsplit.boards.port import Port, PortBusyError
from halfsplit.journal import Journal
from halfsplit.journal import journal as journal_module
from halfsplit.problems import NotFoundError

STORY = b"QM 2.1\r\nE4 SIZE 0\r\nE5 A=5A3C W=0020 R=0000\r\nE6 A=0008 X=0408\r\nM1 M2 M3 M4 OK\r\n"


@pytest.fixture
def pty() -> Iterator[tuple[int, str]]:
    """The machine's end of a pseudo-terminal, and the name of ours."""
    machine, ours = os.openpty()
    tty.setraw(ours)
    yield machine, os.ttyname(ours)
    os.close(machine)
    os.close(ours)


class Tape:
    """A port that plays pieces and remembers what was sent."""

    def __init__(self, *pieces: bytes) -> None:
        self.pieces = list(pieces)
        self.sent: list[bytes] = []

    def receive(self, seconds: float) -> bytes:
        return self.pieces.pop(0) if self.pieces else b""

    def send(self, data: bytes) -> None:
        self.sent.append(data)

    def settings(self) -> dict[str, Any]:
        return {"port": "tape", "line": "9600 8N1"}


def kept(journal: Journal, way: str = "in") -> bytes:
    rows = [e for e in journal.entries() if e.kind == "console" and e.body["way"] == way]
    return "".join(text_of(e.body) for e in rows).encode("latin-1")


def play(demo: ConsoleFile, journal: Journal, tape: Tape) -> list[tuple[str, str]]:
    session, told = talk(demo, journal, tape), []
    run(
        session,
        lambda: not tape.pieces,
        lambda: None,
        lambda came, said: told.extend(m for s in said for m in s.means),
    )
    return told


def test_the_story_is_explained_as_it_comes(demo: ConsoleFile, journal: Journal) -> None:
    told = dict(play(demo, journal, Tape(STORY[:9], STORY[9:30], STORY[30:])))
    assert set(told) == {"start", "E4", "E5", "E6", "passed"}
    assert "W1 to W3" in told["E4"] and "JP1" in told["E4"]
    assert "bits 0020 differ" in told["E5"] and "5A3C" in told["E5"]
    assert "0408" in told["E6"] and "resistor" in told["E6"]
    assert kept(journal) == STORY


def test_every_byte_value_is_kept_as_it_came(demo: ConsoleFile, journal: Journal) -> None:
    every = bytes(range(256)) * 3
    play(demo, journal, Tape(every[:100], every[100:101], every[101:]))
    assert kept(journal) == every
    with_times = [p for e in journal.entries() for p in e.body["pieces"]]
    assert [len(p[1]) for p in with_times] == [100, 1, 667]
    assert [p[0] for p in with_times] == sorted(p[0] for p in with_times)
    assert all(e.body["settings"]["line"] == "9600 8N1" for e in journal.entries())


def test_nothing_is_sent_but_what_was_typed(demo: ConsoleFile, journal: Journal) -> None:
    tape = Tape(b"READY? ", b"\x05\x11\x13\x1b[c", b"", b"")  # asks who is there, stops, queries
    typed = iter([None, None, b"D 0\r", None])
    run(talk(demo, journal, tape), lambda: not tape.pieces, lambda: next(typed), lambda *_: None)
    assert tape.sent == [b"D 0\r"] and kept(journal, "out") == b"D 0\r"


def test_what_came_is_kept_when_the_session_breaks(demo: ConsoleFile, journal: Journal) -> None:
    class Torn(Tape):
        def receive(self, seconds: float) -> bytes:
            if not self.pieces:
                raise KeyboardInterrupt
            return super().receive(seconds)

    with pytest.raises(KeyboardInterrupt):
        run(talk(demo, journal, Torn(b"HALF A LI")), lambda: False, lambda: None, lambda *_: None)
    assert kept(journal) == b"HALF A LI"


def test_a_real_port_both_ways(demo: ConsoleFile, journal: Journal, pty: tuple[int, str]) -> None:
    machine, name = pty
    with Port(name, Format(8, rate=9600.0)) as port:
        session = talk(demo, journal, port)
        os.write(machine, STORY)
        said = []
        while len(said) < 5:
            said += session.listen(1.0)[1]
        assert os.get_blocking(machine)
        session.typed(b"R\r")
        assert os.read(machine, 100) == b"R\r"
        session.close()
    assert kept(journal) == STORY and kept(journal, "out") == b"R\r"


def test_opening_sends_nothing(pty: tuple[int, str]) -> None:
    machine, name = pty
    with Port(name, Format(7, "E", 1, 300.0)):
        os.set_blocking(machine, False)
        with pytest.raises(BlockingIOError):
            os.read(machine, 1)


def test_a_port_in_use_or_missing(pty: tuple[int, str]) -> None:
    _, name = pty
    with Port(name, Format(8)), pytest.raises(PortBusyError, match="another program"):
        Port(name, Format(8))
    with pytest.raises(NotFoundError, match="no such port"):
        Port("/dev/ttyNONE9", Format(8))


def test_line_ends_and_fill_characters(demo: ConsoleFile) -> None:
    lines = Lines(demo.messages)
    said = lines.feed(b"a\r\nb\rc\n\r\n\x00\x00E4 SIZE\xa0 0\x7f\r")
    assert [s.text for s in said][:4] == ["a", "b", "c", ""]
    assert said[-1].means and said[-1].text.startswith("\0\0")  # explained clean, kept as it was


def test_paste_is_kept_and_explained(demo: ConsoleFile, journal: Journal) -> None:
    said = paste(demo, journal, STORY.decode(), {"from": "old log"})
    assert [n for s in said for n, _ in s.means] == ["start", "E4", "E5", "E6", "passed"]
    assert kept(journal, "paste") == STORY


def test_a_log_of_2_MB_is_read_a_page_at_a_time(
    demo: ConsoleFile, journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Work is counted, not timed: a page reads its own entries and no more, at any length."""
    text = "".join(f"E5 A={k & 0xFFFF:04X} W=0020 R=0000\r\n" for k in range(80_000))
    assert len(text) >= 2_000_000
    paste(demo, journal, text, {"from": "long"})
    read: list[int] = []
    plain = journal_module._entry
    monkeypatch.setattr(journal_module, "_entry", lambda row: (read.append(row[0]), plain(row))[1])
    last = page(demo, journal)
    assert len(read) <= PAGE + 2 and len(last["lines"]) < 5000
    assert last["lines"][-1]["text"] == "E5 A=387F W=0020 R=0000"
    seen, at, pages = last["lines"], last["earlier"], 1
    while at:
        read.clear()
        found = page(demo, journal, at)
        assert len(read) <= PAGE + 2
        seen, at, pages = found["lines"] + seen, found["earlier"], pages + 1
    assert pages > 15
    assert [line["text"] for line in seen] == text.split("\r\n")[:-1]  # the pages are the log
    assert all(line["means"] for line in seen)  # also lines that lie across two pages


def test_pages_leave_out_what_was_undone(demo: ConsoleFile, journal: Journal) -> None:
    for k in range(5):
        paste(demo, journal, f"line {k}\r\n", {})
    journal.undo(2)
    assert [r["text"] for r in page(demo, journal, None, 3)["lines"]] == [
        "line 2",
        "line 3",
        "line 4",
    ]
    assert [r["text"] for r in page(demo, journal, 3, 3)["lines"]] == ["line 0"]
    with pytest.raises(NotFoundError):
        journal.undo()  # what a machine said is undone only by its number


def test_old_pieces_are_put_on_disk_while_more_comes(demo: ConsoleFile) -> None:
    stored: list[dict[str, Any]] = []
    now = iter([0.0, 0.4, 1.2, 1.3])
    session = Talk(Tape(b"a", b"b", b"c", b"d"), demo.messages, stored.append, lambda: next(now))
    for _ in range(4):
        session.listen(0.1)
    assert [text_of(s) for s in stored] == ["abc"]
