"""The first check while the best one is minutes away: right, at once, gone once that is known."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import TRAY, cache

from halfsplit.bench import early
from halfsplit.bench.desk import Desk
from halfsplit.bench.hazards import highest_volts
from halfsplit.bench.session import Session
from halfsplit.bench.typed import Typed
from halfsplit.faults.dictionary import DictionaryCache

assert cache
WAIT = 60  # s
# A trimmer's own limits; the tray's design notes have P5 at 5.00 V, P12 at 12.0 V, N12 at -12.0 V.
NOTES = {"p5": 5.0, "p12": 12.0, "n12": -12.0}


@pytest.fixture
def file(cache: Path, tmp_path: Path) -> Path:
    shutil.copy(TRAY, tmp_path / "pt3.yaml")
    return tmp_path / "pt3.yaml"


@pytest.fixture
def raws(file: Path) -> Iterator[Session]:
    with Session(file) as made:
        made.set_condition(made.condition_from("raws", "bench"))
        yield made


def test_the_healthy_circuit_alone_says_what_the_best_check_would(raws: Session) -> None:
    told = [*early.early(raws)]
    assert [words for words, _, _ in told] == [early.BY_LIMITS, early.BY_HEALTHY]
    limits, solved = ([c["net"] for c in checks] for _, _, checks in told)
    assert limits == [r.net for r in raws.assembly.rails.values()] == solved[: len(limits)]
    best = {c.candidate.net: c for c in raws.near_checks() if c.candidate.quantity == "volts"}
    for check in told[1][1]["checks"]:
        low, high = best[check["net"]].healthy or (0.0, 0.0)
        wide = high - low  # spreads beyond first order may move an end a little
        assert check["healthy"] == pytest.approx([low, high], abs=0.25 * wide + 1e-3)
        if check["net"] in NOTES:
            assert check["healthy"][0] < NOTES[check["net"]] < check["healthy"][1]


def test_a_mains_feed_nobody_solved_is_not_at_hand(raws: Session) -> None:
    assert early.at_hand(raws)
    raws.set_condition(raws.condition_from("mains", "half"))
    assert not early.at_hand(raws)
    words, data, checks = early.meanwhile(raws)
    assert words == early.BY_LIMITS and not data["act"]
    assert checks[0]["healthy"] == "4.75 V to 5.25 V"
    told = str(checks[0]).replace("\u00a0", " ")
    assert "230 V mains" in told and "kills" not in told  # the rails are behind the transformer
    # By hand: 15 V a half, two halves in a row for a moment, 2 sqrt(2) 15 V.
    assert highest_volts(raws.machine, mains=False) == pytest.approx(42.4, abs=0.1)
    assert [o["chance"] for o in checks[0]["outcomes"]] == [early.NOT_KNOWN] * 2


def test_of_a_machine_that_stands_otherwise_limits_say_nothing(raws: Session) -> None:
    raws.change("R12 lift a")
    assert early.meanwhile(raws)[0] == early.FOLLOWS and early.meanwhile(raws)[2] == ()
    assert early.by_healthy(raws, early.unread(raws)), "the circuit as it stands can be solved"


def test_dead_the_rails_to_common(raws: Session) -> None:
    raws.set_condition(raws.condition_from("off", "none"))
    assert early.meanwhile(raws)[0] == early.FOLLOWS
    (_, _, _), (words, data, checks) = early.early(raws)
    assert words == early.BY_HEALTHY and [c["quantity"] for c in checks] == ["ohms"] * 3
    printed = {"p5": 517.0, "p12": 1610.0, "n12": 1820.0}  # the drawing's own, within 5 %
    for check in data["checks"]:
        low, high = check["healthy"]
        assert 0.95 * low < printed[check["net"]] < 1.05 * high


class Slow:
    """A thinker that takes as long as it is told to over the best check."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.go, self.begun = threading.Event(), 0
        best: Callable[..., Any] = Session.near_checks

        def near(bench: Session) -> Any:
            self.begun += 1
            while not self.go.wait(0.01):
                assert bench.progress is not None
                bench.progress(1, 100)
            return best(bench)

        monkeypatch.setattr(Session, "near_checks", near)
        monkeypatch.setattr(DictionaryCache, "kept", lambda *_: self.go.is_set())


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT
    while not true():
        assert time.monotonic() < end, "it never came to be so"
        time.sleep(0.01)


def test_the_desk_goes_on_with_first_checks_and_swaps_to_the_best(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    slow = Slow(monkeypatch)
    desk = Desk(file)
    try:
        desk.opened.result(WAIT)
        desk.write(lambda n: n.set_condition(n.condition_from("raws", "bench"))).result(WAIT)
        until(lambda: desk.advice.early == early.BY_HEALTHY and desk.busy is not None)
        assert desk.advice.checks[0]["net"] == "p5"
        begun = slow.begun
        entry = desk.read(Typed("1.10", "p5")).result(WAIT)
        # Of the clerk, at once, while the thinker is still at what it was at.
        assert desk.advice.last == entry.seq and slow.begun == begun
        assert desk.advice.early == early.BY_HEALTHY and desk.advice.checks[0]["net"] == "p12"
        desk.write(lambda n: n.set_condition(n.condition_from("raws", "half"))).result(WAIT)
        assert desk.advice.checks[0]["net"] == "p5", "not read as the machine stands now"
        until(lambda: slow.begun > begun)  # what it was at is of no use now, and is let go
        assert not desk.advice.stopped
        slow.go.set()
        last = desk.ledger["last"]
        until(lambda: not desk.advice.early and desk.advice.last == last)
        assert desk.advice.checks[0]["outcomes"][0]["chance"] != early.NOT_KNOWN
    finally:
        slow.go.set()
        desk.close()
