"""What is changed on a bench for a reading's sake, and when nothing is."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from tests.bench.test_follower import FOLLOWER
from tests.bench.test_search import LADDER

from halfsplit.assembly.condition import Condition
from halfsplit.bench import elsewhere
from halfsplit.bench.elsewhere import SOUND, undone
from halfsplit.bench.session import FOLLOWED, JUDGED, MOST_FOLLOWED, Session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"

# By hand: the ladder's 12 V over 1k + 2k2 + 1k5 and over 4k7 + 3k3.
SOUND_READS = {"upper": "9.45", "lower": "3.83", "side": "4.95"}
# R5 at twice its value: 12 V * 6.6 / 11.3; R4 at half its value reads within a tenth of it.
DOUBTFUL = SOUND_READS | {"side": "7.01"}


def opened(folder: Path, read: dict[str, str]) -> Session:
    (folder / "ladder.yaml").write_text(LADDER)
    session = Session(folder / "ladder.yaml")
    session.set_condition(Condition("supply", "none"))
    for net, volts in read.items():
        session.read(net, volts)
    return session


def test_no_lead_is_lifted_from_a_machine_that_is_sound_by_all_its_readings(tmp_path: Path) -> None:
    with opened(tmp_path, SOUND_READS) as session:
        lead = session.groups()[0]
        assert session.hypotheses[lead.members[0]].name == "no fault"
        assert lead.weight >= SOUND
        assert undone(session) == []


def test_one_of_a_leading_suspect_is(tmp_path: Path) -> None:
    with opened(tmp_path, DOUBTFUL) as session:
        asked = {(c.part, c.what) for condition in undone(session) for c in condition.changes}
        assert asked & {("R4", "lifted"), ("R5", "lifted")}


def test_what_stands_in_the_mains_is_not_carried_to_another_feed(tmp_path: Path) -> None:
    (tmp_path / "pt3.yaml").write_text((EXAMPLES / "hd40" / "pt3.yaml").read_text())
    with Session(tmp_path / "pt3.yaml") as session:
        session.set_condition(Condition("mains", "bench", lamp=60.0, mains=0.9))
        asked = [c for listed in elsewhere.elsewhere(session) for c in listed if c.feed != "mains"]
        assert {c.feed for c in asked} == {"raws", "off"}
        assert {(c.lamp, c.mains) for c in asked} == {(None, None)}


def test_no_check_is_listed_twice(tmp_path: Path) -> None:
    """C2 alone leads, and C2 with R2 comes second: both ask for C2 lifted and for C2 replaced."""
    (tmp_path / "follower.yaml").write_text(FOLLOWER)
    with Session(tmp_path / "follower.yaml") as session:
        for net, volts in {"out": "0.20", "raw": "23.30", "vin": "23.50", "zk": "1.03"}.items():
            session.read(net, volts)
        first, second = (session.hypotheses[g.members[0]].parts for g in session.groups()[:2])
        assert set(first) & set(second) == {"C2"}
        asked = [c.candidate for c in session.next_checks(100)]
        assert any("C2" in a.condition.changed for a in asked)
        places = Counter((a.net, a.black, a.quantity, a.condition) for a in asked)
        assert [p for p, often in places.items() if often > 1] == []


def test_a_circuit_that_keeps_time_is_not_run_with_a_lead_lifted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(elsewhere, "keeps_time", lambda machine, condition: True)
    with opened(tmp_path, DOUBTFUL) as session:
        done = {c.what for condition in undone(session) for c in condition.changes}
        assert done == {"fitted"}


def test_where_sets_are_dear_a_dozen_beyond_the_standard_are_asked_about(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """None of those that weigh next to nothing, and all standard ones as before."""
    with opened(tmp_path, {"upper": "7.79", "lower": "3.16", "side": "7.01"}) as session:
        rows, weights = session.book.rows, session._folded()

        def beyond(asked: list[int]) -> list[int]:
            return [i for i in asked if session.hypotheses[i].key not in rows]

        plain = session._heavier(weights, JUDGED)
        monkeypatch.setattr(Session, "dear", lambda self: True)
        dear = session._heavier(weights, JUDGED)
        assert len(beyond(plain)) > len(beyond(dear)) > 0
        assert len(beyond(dear)) <= MOST_FOLLOWED
        assert min(weights[i] for i in beyond(dear)) > FOLLOWED
        assert set(plain) - set(beyond(plain)) == set(dear) - set(beyond(dear))
