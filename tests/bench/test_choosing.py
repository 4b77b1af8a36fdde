"""Which check comes first: what the feed goes past waits."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.bench.choosing import behind_the_feed, best, of_what_is_fed
from halfsplit.bench.session import Session
from halfsplit.diagnosis.next_check import Candidate, Check
from halfsplit.faults.ohmmeter import ohmmeters

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "type88" / "supply.yaml"
OFF = Condition("off", "none")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return Path(shutil.copy(EXAMPLE, tmp_path))


def _check(net: str, bits: float, quantity: str = "ohms", black: str = "com") -> Check:
    asked = Candidate(net, quantity, OFF, 1.0, black, ohmmeters()["auto"])  # type: ignore[arg-type]
    return Check(asked, bits, lambda: (), None, 0.0)


def test_the_mains_side_waits_on_a_machine_fed_past_it(file: Path) -> None:
    fuse, seen = _check("swl", 0.9, black="pri"), _check("F1", 0.8, "look", "")
    rail, tube = _check("p250", 0.3), _check("V2", 0.2, "look", "")
    every = [fuse, seen, rail, tube]
    with Session(file) as session:
        session.set_condition(OFF)
        assert behind_the_feed(session, every) == []  # nobody has said how it will be fed
        session.set_condition(Condition("raws", "half"))
        session.set_condition(OFF)
        assert behind_the_feed(session, every) == [fuse, seen]
        assert of_what_is_fed(session, every) == [rail, tube]
        session.set_condition(Condition("mains", "half"))
        assert behind_the_feed(session, every) == []


def test_what_waits_comes_once_nothing_else_tells_much() -> None:
    fuse, rail = _check("swl", 0.9, black="pri"), _check("p250", 0.3)
    assert best([fuse, rail], [fuse]) == [rail, fuse]
    little = replace(rail, bits=0.1)
    assert best([fuse, little], [fuse]) == [fuse, little]


def test_next_asks_of_the_rails_first(file: Path) -> None:
    """Off, three rails read and good: the primary tells most of what is left, but of the mains."""
    asked: list[tuple[str, str]] = []
    with Session(file) as session:
        session.set_condition(Condition("raws", "half"))
        session.set_condition(OFF)
        session.within_reach = frozenset({"raws"})
        for text in ("220k", "60k", "78k"):
            check = session.next_checks(1)[0].candidate
            asked.append((check.net, check.black))
            session.read(check.net, text, against=check.black, ohmmeter=check.ohmmeter, sure=True)
        last = session.next_checks(9)
    assert not {("swl", "pri")} & {*asked}
    here = [c for c in last if c.candidate.net != "swl"]
    assert max(c.bits for c in here) < 0.15 or last[0].candidate.net != "swl"
