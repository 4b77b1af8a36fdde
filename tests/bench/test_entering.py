"""What cannot be is refused where it is entered, and nothing of it is stored."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.bench.test_follower import FOLLOWER

from halfsplit.assembly.file import load
from halfsplit.bench import trail as walked
from halfsplit.bench.named_meter import named_meter
from halfsplit.bench.session import Session
from halfsplit.diagnosis.meters import meters
from halfsplit.problems import HalfsplitError, NotFoundError, ProblemsError


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER)
    with Session(file) as opened:
        yield opened


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("zk=1k", "zk is no rail, and no load of the file names it.*Write out"),
        ("com=1k", "com is no rail"),
        ("out=1k,OUT=2k", "OUT: has two loads"),
        ("nowhere=1k", "no net, rail or point nowhere; there are vin, raw, zk"),
    ],
)
def test_a_load_is_laid_where_one_can_be(session: Session, typed: str, says: str) -> None:
    """Elsewhere the circuit has no element for it, and every later command would end in that."""
    with pytest.raises(HalfsplitError, match=says):
        session.condition_from(None, typed)
    session.set_condition(session.condition_from(None, "out=470R"))
    assert session.suspects(1)


def test_a_load_on_common_is_refused_in_the_file(tmp_path: Path) -> None:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER + "  earth: {com: 1k}\n")
    assembly, problems = load(file)
    assert assembly is None
    assert [p.path for p in problems] == ["loads.earth.com"]


def test_a_typed_load_whose_rail_is_gone_from_the_file_is_told_by_its_entry(tmp_path: Path) -> None:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER)
    with Session(file) as session:
        number = session.set_condition(session.condition_from(None, "out=470R")).seq
    file.write_text(FOLLOWER[: FOLLOWER.index("rails:")])
    with Session(file) as session, pytest.raises(ProblemsError, match=rf"entry {number}.*load on"):
        session.suspects(1)


def test_one_value_is_given_once(session: Session) -> None:
    with pytest.raises(ProblemsError, match="given twice"):
        session.change("C2 fitted value=100u value=220u")
    with pytest.raises(ProblemsError, match="must be more than 0"):
        session.change("C2 fitted value=-3u")
    assert session.entries == []


@pytest.mark.parametrize("figures", [{"scale": "-25V"}, {"scale": "0V"}, {"of_range": "-3%"}])
def test_no_meter_is_like_that(figures: dict[str, str]) -> None:
    with pytest.raises(ProblemsError, match="no meter is like that"):
        named_meter(meters()["digital"], **{"scale": "10V", **figures})  # type: ignore[arg-type]


def test_a_name_that_is_like_no_other_is_told_what_there_is(session: Session) -> None:
    with pytest.raises(NotFoundError, match="no part X99; there are S1, F1, R1, CR1"):
        session.change("X99 removed")


def test_a_current_while_warming_up_leaves_the_machine_hot(session: Session) -> None:
    at = session.condition_from("supply", "light", "10s")
    session.read_current("F1", "0.02", at)
    stored = [e.body["condition"]["warm"] for e in session.entries]
    assert [e.kind for e in session.entries] == ["condition", "read"]
    assert stored == [None, 10.0]


def test_a_trail_that_is_stopped_leaves_the_whole_journal_in_sight(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    session.read("out", "0.00")
    session.read("raw", "24.0")

    def stopped(*_: object) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr(walked, "entry_words", stopped)
    with pytest.raises(KeyboardInterrupt):
        walked.trail(session)
    assert session.until is None and len(session.evidence()) == 2
