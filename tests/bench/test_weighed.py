"""What readings told of sets, kept from reading to reading: as if all were learnt at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.bench.test_search import LADDER

from halfsplit.assembly.condition import Change
from halfsplit.bench import weighed
from halfsplit.bench.drill_cases import shares
from halfsplit.bench.lanes import StoppedError
from halfsplit.bench.session import Session

READ = (("upper", "7.79"), ("lower", "3.16"), ("side", "7.01"), ("upper", "7.80"))


def bench(folder: Path, name: str) -> Session:
    file = folder / f"{name}.yaml"
    file.write_text(LADDER)
    return Session(file)


def weights(session: Session) -> dict[frozenset[str], float]:
    each = zip(session.hypotheses, session.belief.weights(), strict=True)
    return {h.key | {h.said}: float(w) for h, w in each if w > 1e-6}


def same(one: Session, other: Session) -> None:
    a, b = weights(one), weights(other)
    assert a.keys() == b.keys()
    for key, value in a.items():
        assert value == pytest.approx(b[key], rel=1e-6), key


def test_reading_by_reading_as_all_at_once(tmp_path: Path) -> None:
    """And with one taken back, one withdrawn from the middle, a part fitted and a verdict given."""
    with bench(tmp_path, "slow") as slow, bench(tmp_path, "quick") as quick:
        for net, value in READ:
            slow.read(net, value)
            assert slow.groups()
        for net, value in READ:
            quick.read(net, value)
        same(slow, quick)
        for session in (slow, quick):
            session.undo()
        slow.groups()
        for session in (slow, quick):
            session.prove("R1", False, "")
        slow.groups()
        for session in (slow, quick):
            session.change("R1 fitted")
            session.read("upper", "9.40")
        assert Change("R1", "fitted") in quick.condition.changes
        same(slow, quick)


def test_the_lightest_are_let_go_where_there_are_too_many(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Weights are the same all the same, and what is kept is bounded."""
    with bench(tmp_path, "roomy") as roomy, bench(tmp_path, "cramped") as cramped:
        for net, value in READ:
            roomy.read(net, value)
            assert roomy.groups()
        least = 3_000
        monkeypatch.setattr(weighed, "KEPT", least)
        for net, value in READ:
            cramped.read(net, value)
            assert cramped.groups()
        same(roomy, cramped)
        pool = cramped._weighed(False)
        pool._now.trim()
        assert pool._now.belief is not None
        assert len(pool._now.row) < len(cramped.hypotheses) - weighed.BARE
        kept = len(pool._now.row)
        # The two without faults are kept besides.
        assert pool._now.belief.stories.nbytes <= least * (kept + weighed.BARE) / kept
        same(roomy, cramped)


def test_a_weighing_stopped_halfway_costs_no_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with bench(tmp_path, "stopped") as stopped, bench(tmp_path, "plain") as plain:
        for session in (stopped, plain):
            session.read(*READ[0])
        lookup = Session.lookup

        def stop(*_: Any, **__: Any) -> Any:
            raise StoppedError

        for net, value in READ[1:3]:  # twice: with nothing learnt yet, and on top of what was
            monkeypatch.setattr(Session, "lookup", stop)
            with pytest.raises(StoppedError):
                stopped.groups()
            monkeypatch.setattr(Session, "lookup", lookup)
            for session in (stopped, plain):
                session.read(net, value)
            assert plain.groups()
        same(stopped, plain)


def test_kinds_of_machines_are_counted_among_the_faults_that_show(tmp_path: Path) -> None:
    """By hand: singles the sum of odds, pairs the products of those of different parts, healthy
    ones what is kept for them."""
    with bench(tmp_path, "kinds") as session:
        session.set_condition(session.condition_from("supply", None))
        odds = {h.name: h.faults[0].odds for h in session.standard if len(h.faults) == 1}
        few = ("R1 open", "R1 drifted high", "R5 open")
        a, b, c = (odds[n] for n in few)
        parts = {"single": a + b + c, "double": a * c + b * c, "cascade": 0.0, "healthy": 0.03}
        found = shares(session, frozenset(few))
        for kind, share in parts.items():
            assert found[kind] == pytest.approx(share / sum(parts.values()), rel=1e-9)
