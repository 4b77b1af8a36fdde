"""Racks and consoles open for several faces: refused by the bench's own verbs, kept, explained."""

from __future__ import annotations

import os
import shutil
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from halfsplit.bench.racks import NotYetError
from halfsplit.bench.side_desk import ConsoleDesk, RackDesk, desk_for
from halfsplit.boards.port import PortError
from halfsplit.journal import JournalBusyError, glance, journal_path
from halfsplit.problems import NotFoundError, ProblemsError

DEMO = Path(__file__).resolve().parents[2] / "examples" / "quillon16"


def until(true: Callable[[], bool], seconds: float = 20.0) -> None:
    """Wait until something is so; that it never is, is a failure."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it never came to be so"
        time.sleep(0.02)


@pytest.fixture
def rack(tmp_path: Path) -> Iterator[RackDesk]:
    desk = RackDesk(Path(shutil.copy(DEMO / "boards.yaml", tmp_path)))
    yield desk
    assert desk.close()


@pytest.fixture
def console(tmp_path: Path) -> Iterator[ConsoleDesk]:
    desk = ConsoleDesk(Path(shutil.copy(DEMO / "console.yaml", tmp_path)))
    yield desk
    assert desk.close()


@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    """The machine's end of a line, and the name of ours."""
    machine, ours = os.openpty()
    tty.setraw(machine)
    tty.setraw(ours)
    os.set_blocking(machine, False)
    yield machine, os.ttyname(ours)
    os.close(machine)
    os.close(ours)


def sent(machine: int) -> bytes:
    try:
        return os.read(machine, 4096)
    except BlockingIOError:
        return b""


def stored(file: Path) -> list[str]:
    with glance(journal_path(file)) as journal:
        return [e.kind for e in journal.entries()]


def test_each_sort_has_its_desk(tmp_path: Path) -> None:
    for name, kind, sort in (
        ("boards.yaml", RackDesk, "boards"),
        ("console.yaml", ConsoleDesk, "console"),
    ):
        file = Path(shutil.copy(DEMO / name, tmp_path))
        desk = desk_for(file, sort, lambda: None)  # type: ignore[arg-type]
        desk.opened.result(10)
        assert type(desk) is kind and desk.facts["machine"]
        assert desk.close()


def test_a_board_is_refused_by_the_desk_whoever_asks(rack: RackDesk) -> None:
    rack.opened.result(10)
    with pytest.raises(NotYetError, match="dead ohms of P5"):
        rack.rack(lambda b: b.fit("BP")).result(10)
    assert stored(rack.file) == [] and rack.ledger["fitted"] == []
    ohms = ["BP.P5=22R", "BP.P12=OL", "BP.N12=OL"]
    rack.rack(lambda b: b.record_readings(ohms)).result(10)
    rack.rack(lambda b: b.fit("BP")).result(10)
    assert rack.ledger["fitted"] == ["BP"] and rack.ledger["next"] == "ML32"
    with pytest.raises(NotYetError):
        rack.rack(lambda b: b.fit("ML32", "")).result(10)
    rack.rack(lambda b: b.fit("ML32", "spare board, nothing to lose")).result(10)
    assert rack.ledger["overridden"][0]["anyway"] == "spare board, nothing to lose"
    rack.undo().result(10)
    assert rack.ledger["fitted"] == ["BP"]


def test_a_rack_in_use_elsewhere_is_said(rack: RackDesk) -> None:
    rack.opened.result(10)
    second = RackDesk(rack.file)
    with pytest.raises(JournalBusyError):
        second.opened.result(10)
    second.close()


def test_a_console_is_kept_explained_and_sent_only_what_was_typed(
    console: ConsoleDesk, line: tuple[int, str]
) -> None:
    machine, name = line
    console.opened.result(10)
    console.connect(name, "9600-8N1").result(10)
    assert console.session()["port"] == name
    os.write(machine, b"QM 2.1\r\nE4 SIZE 0\r\n\x1b[2J")
    until(lambda: len(console.session()["lines"]) == 2)
    first, second = console.session()["lines"]
    assert first["means"][0]["text"] == "the monitor, version 2.1, is running"
    assert second["means"][0]["name"] == "E4"
    assert sent(machine) == b"", "something was sent that nobody typed"
    came = bytearray()
    console.send("D 5A3C", "cr").result(10)
    until(lambda: len(console.session()["lines"]) == 3)
    until(lambda: came.extend(sent(machine)) or bytes(came) == b"D 5A3C\r")
    with pytest.raises(ProblemsError):
        console.send("→", "cr").result(10)
    with pytest.raises(ProblemsError, match="already connected"):
        console.connect(name, "9600-8N1").result(10)
    console.hang_up().result(10)
    until(lambda: console.session()["port"] == "")
    with pytest.raises(ProblemsError, match="no port is connected"):
        console.send("more", "cr").result(10)
    last = console.session()["lines"][-1]
    assert "\x1b" not in last["text"], "a control would reach the page"
    with glance(journal_path(console.file)) as journal:
        entries = journal.entries()
    text = "".join(p[1] for e in entries for p in e.body["pieces"] if e.body["way"] == "in")
    assert text == "QM 2.1\r\nE4 SIZE 0\r\n\x1b[2J"
    assert [e.body["way"] for e in entries].count("out") == 1


def test_a_port_that_is_none_is_refused_and_one_pulled_out_is_told(console: ConsoleDesk) -> None:
    console.opened.result(10)
    with pytest.raises(NotFoundError):
        console.connect("/dev/ttyNONE9", "9600-8N1").result(10)
    with pytest.raises((ProblemsError, PortError)):
        console.connect("/dev/null", "banana").result(10)
    machine, ours = os.openpty()
    tty.setraw(ours)
    console.connect(os.ttyname(ours), "9600-8N1").result(10)
    os.write(machine, b"half a li")
    until(lambda: console.session()["bytes"] == 9)
    os.close(machine)
    os.close(ours)
    until(lambda: console.session()["port"] == "")
    assert "went away" in console.session()["trouble"]
    assert stored(console.file) == ["console"], "what came before was lost"
