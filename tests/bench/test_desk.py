"""One machine, two threads: what is entered never waits for what is thought."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests.cli.conftest import TRAY, cache

from halfsplit.bench.desk import Desk
from halfsplit.bench.gating import override
from halfsplit.bench.lanes import StoppedError
from halfsplit.bench.session import Session
from halfsplit.bench.typed import Typed
from halfsplit.journal import Journal, JournalBusyError, glance, journal_path
from halfsplit.problems import HalfsplitError, NotFoundError, ProblemsError

assert cache
WAIT = 60  # s


@pytest.fixture
def file(cache: Path, tmp_path: Path) -> Path:
    shutil.copy(TRAY, tmp_path / "pt3.yaml")
    return tmp_path / "pt3.yaml"


@pytest.fixture
def desk(file: Path) -> Iterator[Desk]:
    made = Desk(file)
    made.opened.result(WAIT)
    made.write(lambda n: n.set_condition(n.condition_from("raws", "bench"))).result(WAIT)
    yield made
    made.close()


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT
    while not true():
        assert time.monotonic() < end, "it never came to be so"
        time.sleep(0.01)


def stored(file: Path) -> list[str]:
    with glance(journal_path(file)) as journal:
        return [e.body["text"] for e in journal.entries() if e.kind == "read"]


def test_a_reading_is_on_disk_while_the_thinker_is_at_it(desk: Desk, file: Path) -> None:
    hold, held = threading.Event(), threading.Event()

    def long(_: Session) -> str:
        held.set()
        assert hold.wait(WAIT)
        return "done"

    thinking = desk.ask(long, "something long")
    assert held.wait(WAIT) and desk.busy is not None and desk.busy.what == "something long"
    entry = desk.read(Typed("-1.71", "n12")).result(WAIT)
    assert stored(file) == ["-1.71"] and desk.ledger["last"] == entry.seq
    assert not thinking.done()
    hold.set()
    assert thinking.result(WAIT) == "done"
    until(lambda: desk.advice.last == entry.seq)


def test_the_advice_follows_what_was_entered(desk: Desk) -> None:
    for text in ("p5 1.10", "n12=-1.71", "n1x -2.40"):
        entry = desk.read(Typed(text, "")).result(WAIT)
    until(lambda: desk.advice.suspects_last == entry.seq and desk.busy is None)
    assert desk.advice.next["act"]["group"][0] == "C4 short"
    assert desk.advice.headline() == "act: C4 short" and desk.advice.state() == "decided"
    assert desk.advice.suspects["groups"][0]["suspects"][0]["name"] == "C4 short"


def test_a_job_is_stopped_at_its_next_word_of_progress(desk: Desk) -> None:
    begun = threading.Event()

    def endless(session: Session) -> None:
        while True:
            begun.set()
            assert session.progress is not None
            session.progress(1, 2)
            time.sleep(0.005)

    waiting = desk.ask(endless)
    assert begun.wait(WAIT)
    until(lambda: desk.busy is not None and desk.busy.total == 2)
    desk.stop()
    with pytest.raises(StoppedError):
        waiting.result(WAIT)
    assert desk.ask(lambda s: len(s.entries)).result(WAIT) == 1  # and it goes on with the next


def test_what_a_verb_stores_while_thinking_goes_through_the_one_writer(
    desk: Desk, file: Path
) -> None:
    entry = desk.ask(lambda s: override(s, "N12 proved", "a test of the window")).exception(WAIT)
    assert isinstance(entry, NotFoundError), "a gate of another name"
    noted = desk.ask(lambda s: s.note("override", {"gate": "a", "why": "window"})).result(WAIT)
    assert desk.ledger["last"] == noted.seq and desk.ledger["overrides"][0]["why"] == "window"
    with pytest.raises(JournalBusyError):
        Journal.open(journal_path(file), wait=0)


def test_the_same_key_stores_once_and_another_text_is_another_reading(
    desk: Desk, file: Path
) -> None:
    first = desk.read(Typed("p5 1.10", ""), "k").result(WAIT)
    again = desk.read(Typed("p5 1.10", ""), "k").result(WAIT)
    other = desk.read(Typed("p5 1.12", ""), "k").result(WAIT)
    assert first.seq == again.seq != other.seq
    assert stored(file) == ["1.10", "1.12"]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (Typed("4.98", "p5"), "P5 4.98 V"),
        (Typed("4.98 V", "p5"), "P5 4.98 V"),
        (Typed("n12 -1.71", "p5"), "N12 -1.71 V"),
        (Typed("n12=-1.71", "p5"), "N12 -1.71 V"),
        (Typed("p1:p12 0.41", "p5"), "p1 to p12 0.410 V"),
        (Typed("50mV", "p5", "", "ripple"), "P5 ripple 0.050 V"),
        (Typed("F3 0.83A", "p5", "", "amps"), None),
        (Typed("OL", "p5"), "P5 OL (kept, not weighed)"),
    ],
    ids=lambda value: value.text if isinstance(value, Typed) else None,
)
def test_what_is_typed_is_heard_as_meant(desk: Desk, typed: Typed, words: str | None) -> None:
    heard = desk.hear(typed).result(WAIT)
    if words is None:
        assert heard["body"]["quantity"] == "amps" and heard["body"]["value"] == 0.83
    else:
        assert heard["words"] == words
    assert desk.ledger["readings"] == 0


@pytest.mark.parametrize(
    ("typed", "error"),
    [
        (Typed("", "p5"), ProblemsError),
        (Typed("4.98.1", "p5"), ProblemsError),
        (Typed("nonesuch 4.98", "p5"), ProblemsError),
        (Typed("4.98", "nonesuch"), NotFoundError),
        (Typed("4.98", ""), ProblemsError),
        (Typed("4.98", "p5", "", "wrong"), ProblemsError),
        (Typed("5k", "p5", "", "ohms"), ProblemsError),  # fed by raws
    ],
)
def test_what_is_no_reading_is_refused_and_nothing_stored(
    desk: Desk, file: Path, typed: Typed, error: type[HalfsplitError]
) -> None:
    for done in (desk.hear(typed), desk.read(typed)):
        assert type(done.exception(WAIT)) is error
    assert stored(file) == []


def test_an_edited_file_is_read_again_and_a_broken_one_said(desk: Desk, file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("assembly: Power tray PT-3", "assembly: Renamed"), "utf-8")
    desk.look(lambda n: None).result(WAIT)
    assert desk.facts["name"] == "Renamed"
    file.write_text(text.replace("assembly:", "asembly:"), "utf-8")
    assert isinstance(desk.read(Typed("p5 1.1", "")).exception(WAIT), ProblemsError)
    file.write_text(text, "utf-8")
    desk.read(Typed("p5 1.1", "")).result(WAIT)
    assert stored(file) == ["1.1"] and desk.facts["name"] == "Power tray PT-3"


def test_a_closed_desk_frees_the_journal_and_says_so(desk: Desk, file: Path) -> None:
    desk.close(WAIT)
    with Journal.open(journal_path(file), wait=0):
        pass
    assert desk.file == file
