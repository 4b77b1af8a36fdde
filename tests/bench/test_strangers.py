"""A wrong part where nothing tells of a repair, verdicts on parts fitted on this bench, sizes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from halfsplit.bench import too
from halfsplit.bench.session import Session
from halfsplit.diagnosis.posterior import Belief
from halfsplit.diagnosis.search import alone, for_all_sizes, grow
from halfsplit.faults.hypotheses import sizes_shared, together

# A 12 V supply of a kind nobody designs against: series pass transistor after a zener.
SUPPLY = """\
assembly: Bench supply
parts:
  S1: {kind: supply, volts: 22V, ohms: 0.5R, pos: raw, neg: com}
  C1: {kind: electrolytic, value: 2200uF, volts: 40V, pos: raw, neg: com}
  R1: {kind: resistor, value: 470R, power: 1W, a: raw, b: ref}
  CR1: {kind: zener, value: 13V, power: 1W, a: com, k: ref}
  C2: {kind: electrolytic, value: 100uF, volts: 25V, pos: ref, neg: com}
  Q1: {type: 2N3055, c: raw, b: ref, e: p12}
  R2: {kind: resistor, value: 1k, power: 1W, a: p12, b: com}
rails:
  P12: {net: p12, limits: 11.4..12.6V}
loads:
  half: {p12: 47R}
"""


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    file = tmp_path / "supply.yaml"
    file.write_text(SUPPLY)
    with Session(file) as made:
        made.set_condition(made.condition_from("supply", "half"))
        yield made


def test_a_wrong_part_is_found_where_nobody_is_said_to_have_been(session: Session) -> None:
    # A 15 V zener: at 14 mA ((21.8 - 15) / 470) it holds 15.0 V, and P12 a drop of 0.65 V less.
    # One leaky capacitor with the zener open could make the same volts; that is two faults.
    for net, text in (("p12", "14.35"), ("ref", "15.02"), ("raw", "21.80")):
        session.read(net, text)
    lead = session.hypotheses[session.groups()[0].members[0]]
    assert (lead.parts, lead.faults[0].cause) == (("CR1",), "wrong")
    assert lead.name == "CR1 next voltage up"


def test_a_common_fault_is_not_put_down_to_a_wrong_part(session: Session) -> None:
    # A shorted C2 or CR1 holds the reference at nothing, and is a hundred times as common as any
    # wrong part that would.
    for net, text in (("p12", "0.00"), ("ref", "0.00"), ("raw", "22.00")):
        session.read(net, text)
    assert all(f.cause == "worn" for f in session.hypotheses[session.groups()[0].members[0]].faults)


def test_a_verdict_on_the_new_part_counts_for_the_new_part(session: Session) -> None:
    session.read("p12", "0.00")
    session.change("CR1 fitted")
    session.read("p12", "0.00")
    session.prove("CR1", False, "")
    # Whatever holds the rail down, CR1 bears on it no more: of new parts one in a hundred is dead
    # and one in a hundred the wrong one, and one called bad is bad 0.95 times, a good one 0.02.
    expected = 0.02 * 0.95 / (0.02 * 0.95 + 0.98 * 0.02)
    assert _new(session) == pytest.approx(expected, abs=0.05)
    assert too.tested_bad(session) == ["CR1"]


def test_a_new_part_tested_good_is_cleared_but_not_the_old_one(session: Session) -> None:
    session.read("p12", "0.00")
    old = _old(session)
    session.change("CR1 fitted")
    held = _new(session)
    session.prove("CR1", True, "")
    assert _new(session) < 0.1 * held
    assert _old(session) == pytest.approx(old, rel=0.05)
    assert too.tested_bad(session) == []


def test_a_verdict_ends_with_the_part_it_was_of(session: Session) -> None:
    session.read("p12", "0.00")
    session.change("CR1 fitted")
    session.prove("CR1", False, "")
    session.undo()
    session.undo()
    assert session.fresh_proofs() == []
    assert too.tested_bad(session) == []


def test_nor_does_it_count_for_the_next_one_fitted(session: Session) -> None:
    session.read("p12", "0.00")
    session.change("CR1 fitted")
    untested = _new(session)
    session.prove("CR1", False, "")
    session.change("CR1 fitted")
    assert session.fresh_proofs() == [] and too.tested_bad(session) == []
    assert _new(session) == pytest.approx(untested, rel=0.05)


def test_a_new_part_taken_out_to_be_tested_is_still_the_new_one(session: Session) -> None:
    session.read("p12", "0.00")
    old = _old(session)
    session.change("CR1 fitted")
    session.change("CR1 removed")
    session.prove("CR1", False, "")
    assert session.proofs() == [] and session.fresh_proofs() == [("CR1", False)]
    session.change("CR1 fitted")  # another
    assert session.fresh_proofs() == []
    assert _old(session) == pytest.approx(old, rel=0.05)


def test_sizes_looked_at_apart_add_nothing_to_a_fault(session: Session) -> None:
    # A dead rail says as much of a shorted C2, of whatever size, as of an open R1.
    session.read("p12", "0.00")
    weights, listed = session.belief.weights(), session.hypotheses
    short = [i for i, h in enumerate(listed) if h.plain == {"C2 short"}]
    opened = [i for i, h in enumerate(listed) if h.plain == {"R1 open"}]
    assert len(short) > 4  # or nothing was looked at apart
    odds = {h.name: h.prior for h in session.standard}
    found = float(weights[short].sum() / weights[opened].sum())
    assert found == pytest.approx(odds["C2 short"] / odds["R1 open"], rel=0.1)


def test_what_grows_from_a_set_has_the_odds_of_all_its_sizes(session: Session) -> None:
    """Whichever size fits best, one more fault beside it is as likely as beside the fault."""
    usual = next(h for h in session.standard if h.name == "C2 short")
    other = together([usual.faults[0].at(0.5)])
    further = next(h for h in session.standard if h.name == "Q1 open emitter")
    listed = [*session.standard[:2], usual, other]
    belief = Belief(sizes_shared(listed), 0, 0, 1)  # nothing read: all sizes fit alike
    for index in (2, 3):
        base = for_all_sizes(index, listed, belief)
        ((grown, _),) = grow([base], [further.faults[0]], lambda base, fault: 1.0)
        assert grown.prior == pytest.approx(usual.prior * further.prior)


def _new(session: Session) -> float:
    """Chance that the CR1 fitted on this bench is bad or wrong."""
    weights = session.belief.weights()
    rows = [i for i, h in enumerate(session.hypotheses) if h.blames("CR1", True)]
    return float(weights[rows].sum())


def _old(session: Session) -> float:
    """Chance that the CR1 it came with is."""
    weights = session.belief.weights()
    rows = [i for i, h in enumerate(session.hypotheses) if h.blames("CR1", False)]
    return float(weights[rows].sum())


def test_a_size_found_in_a_pair_is_looked_at_alone(session: Session) -> None:
    """Or a fault that shows nowhere is believed for the sake of the size found beside it."""
    by_name = {h.name: h.faults[0] for h in session.standard if h.faults}
    leaky, opened = by_name["C2 leaky"].at(0.5), by_name["R2 open"]
    pair = together([leaky, opened])
    (one,) = alone([pair, together([leaky])], set())
    assert (one.key, one.prior) == ({"C2 leaky @0.5"}, leaky.odds)
    assert alone([pair], {one.key}) == []
    assert alone([together([by_name["C2 leaky"], opened])], set()) == []
