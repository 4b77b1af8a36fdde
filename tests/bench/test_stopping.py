"""Stop is heard by whatever is being worked out, before the next rows it would solve."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import TRAY

from halfsplit.bench import bringing, gating, planning, proving, views
from halfsplit.bench.desk import Desk
from halfsplit.bench.lanes import StoppedError
from halfsplit.bench.session import Session
from halfsplit.bench.trail import trail
from halfsplit.circuit.threads import asking, spread
from halfsplit.report.gather import gather

WAIT = 120  # s
Verb = Callable[[Session], Any]


def forming(session: Session) -> Any:
    asked = dict.fromkeys(("leakage", "feed", "ohms", "watts", "limit", "target"))
    return proving.forming(session, "C1", rule="four-hours", at_once=False, months=0.0, **asked)


VERBS: dict[str, Verb] = {
    "loads": lambda s: proving.load_ladder(s, (), stock="1R/50W*4,10R/25W*6"),
    "protection": proving.protect,
    "plan": planning.write,
    "leans on": gating.leans_dict,
    "gates": gating.gate_dict,
    "charges": proving.discharge,
    "reforming": forming,
    "report": lambda s: bringing.plain(gather(s)),
    "against load": lambda s: views.load_curve(s, "P5"),
    "current limit": lambda s: views.limit_curve(s, "P5"),
    "waveform": lambda s: views.wave(s, "v5r", replace(s.condition, feed="mains")),
    "written in": lambda s: views.expected_text(s, ["p5", "n12"]),
    "suspicion": views.suspicion,
    "trail": trail,
    "next": lambda s: s.next_checks(),
}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    """A machine of which nothing is known on disk, so that all must be solved."""
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))
    shutil.copy(TRAY, tmp_path / "pt3.yaml")
    monkeypatch.setattr(Desk, "think", lambda self: None)
    made = Desk(tmp_path / "pt3.yaml")
    made.opened.result(WAIT)
    made.write(lambda n: n.set_condition(n.condition_from("raws", "bench"))).result(WAIT)
    made.write(lambda n: n.read("p5", "1.10")).result(WAIT)
    yield made
    made.close()


@pytest.mark.parametrize("name", VERBS)
def test_whatever_is_worked_out_can_be_stopped(desk: Desk, name: str) -> None:
    """Stopped as soon as it is told to be under way, so before anything is solved."""
    busy = []

    def told() -> None:
        if desk.busy is not None and not busy:
            busy.append(desk.busy.what)
            desk.stop()

    desk.told = told
    with pytest.raises(StoppedError):
        desk.ask(VERBS[name], name).result(WAIT)
    assert busy == [name] and desk.busy is None
    kinds = [e["kind"] for e in desk.ledger["entries"]]
    assert kinds == ["condition", "read"], "something stopped was stored"
    # What is asked next is not stopped by the word that stopped this.
    assert desk.ask(lambda s: len(s.entries), "count").result(WAIT) == 2


def test_between_slices_too() -> None:
    done: list[slice] = []

    def go_on() -> None:
        if len(done) >= 2:
            raise StoppedError

    def work(part: slice) -> None:
        done.append(part)
        time.sleep(0.001)  # or all could be done before anybody asks

    with pytest.raises(StoppedError), asking(go_on):
        spread(work, 1000, chunk=1)
    assert 2 <= len(done) < 1000
    spread(done.append, 3, chunk=1)  # and nobody is asked outside
