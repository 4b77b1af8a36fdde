"""Changing a part at once as an action, lost signs pointed out, temperatures as evidence."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from tests.simulator import deck

from halfsplit.assembly.condition import Condition
from halfsplit.bench.doubts import doubt
from halfsplit.bench.report import next_dict
from halfsplit.bench.session import Session
from halfsplit.diagnosis.repair import measuring, mending
from halfsplit.diagnosis.warmth import case_to_air, chance
from halfsplit.problems import ProblemsError


def sets(**weights: float) -> dict[frozenset[str], float]:
    return {frozenset(k.split("_")): w for k, w in weights.items()}


def test_mending_goes_by_chance_over_cost() -> None:
    """Three parts at 0.5, 0.3, 0.2 and 10, 4, 1 minutes: 9.2 minutes, the cheapest of all orders
    (worked out over all six by hand; the order by chance alone costs 12.2)."""
    cost, first = mending(sets(A=0.5, B=0.3, C=0.2), {"A": 10.0, "B": 4.0, "C": 1.0})
    assert cost == pytest.approx(9.2) and first == {"C"}


def test_measuring_first_pays_only_when_it_saves_more_than_it_costs() -> None:
    """Two parts of 10 minutes at even odds cost 15 to try; a perfect check leaves 10."""
    minutes = {"A": 10.0, "B": 10.0}
    even = sets(A=0.5, B=0.5)
    perfect = [(0.5, sets(A=1.0)), (0.5, sets(B=1.0))]
    assert mending(even, minutes)[0] == pytest.approx(15.0)
    assert measuring(4.0, perfect, minutes) == pytest.approx(14.0)
    assert measuring(6.0, perfect, minutes) == pytest.approx(16.0)


def test_a_fuse_is_changed_at_once_where_measuring_costs_more(session: Session) -> None:
    """One dead rail, read with everything else off the bench: a fuse is a minute's work."""
    session.read("p5", "0.02")
    told = next_dict(session)
    assert told["act"] is None
    assert told["replace"] is not None and told["replace"]["parts"] == ["F2"]
    assert told["replace"]["expected_minutes"] <= told["replace"]["measuring_first"]  # rounded
    assert told["replace"]["before"]  # what to mind before a hand goes in
    session.change("F2 fitted")
    again = next_dict(session)["replace"]
    assert again is None or again["parts"] != ["F2"]


def test_a_lost_sign_is_asked_about_and_explained(session: Session) -> None:
    entry = session.read("n12", "12.0")
    words = doubt(session.assembly, entry)
    assert words.startswith("was it -12.00 V?") and "undo" in words
    assert doubt(session.assembly, session.read("p12", "120")).startswith("was it 12.00 V?")
    assert doubt(session.assembly, session.read("n12", "-12.0")) == ""
    assert doubt(session.assembly, session.read("p5", "1.2")) == ""  # wrong in no such way


def test_a_healthy_machine_with_one_lost_sign_is_read_again_not_accused(session: Session) -> None:
    for net, text in (("p5", "4.99"), ("p12", "12.02"), ("ref", "4.99"), ("n12", "11.98")):
        session.read(net, text)
    lead = session.groups()[0]
    assert 0 in lead.members
    (again,) = session.unexplained()
    assert again.evidence.pos == "n12" and "its sign put right" in again.words


SUNK = """assembly: heat
parts:
  V1: {kind: supply, volts: 12V, ohms: 0.1R, pos: raw, neg: com}
  U1: {type: "7805", in: raw, com: com, out: p5, sink: 8K/W, theta_jc: 5K/W}
  R1: {kind: resistor, value: 20R, power: 5W, a: p5, b: com}
  R2: {kind: resistor, value: 1k, a: raw, b: com}
rails:
  P5: {net: p5, limits: 4.75..5.25V}
"""


@pytest.fixture
def sunk(tmp_path: Path) -> Iterator[Session]:
    file = tmp_path / "heat.yaml"
    file.write_text(SUNK)
    with Session(file) as opened:
        yield opened


def test_a_case_temperature_by_hand(sunk: Session) -> None:
    """7 V at 0.25 A is 1.75 W; on 8 K/W the case is 14 K over the air."""
    part = sunk.assembly.parts["U1"]
    assert case_to_air(part) == pytest.approx(8.0)
    watts = np.array([1.75, 0.0, np.nan])
    told = chance(39.0, watts, 8.0, 25.0)
    assert told[0] > 0.7 and told[1] < 0.05 and told[2] < 0.1
    assert chance(300.0, watts, 8.0, 25.0)[:2] == pytest.approx(
        0.02 * 4.0 * (2 * np.pi) ** 0.5 / 200
    )


def test_a_cold_regulator_speaks_for_no_load(sunk: Session) -> None:
    """With R1 open nothing flows: the rail reads right and only the heat tells."""
    sunk.read("p5", "5.00")

    def of(name: str) -> float:
        pairs = zip(sunk.hypotheses, sunk.belief.weights(), strict=True)
        return sum(float(w) for h, w in pairs if h.name == name)

    before, healthy = of("R1 open"), of("no fault")
    sunk.read_temperature("U1", "26degC")
    assert of("R1 open") / of("no fault") > 5.0 * before / healthy
    sunk.undo()
    sunk.read_temperature("U1", "40degC")
    assert of("R1 open") / of("no fault") < 0.2 * before / healthy


def test_a_temperature_nothing_can_be_expected_of_is_refused(session: Session) -> None:
    with pytest.raises(ProblemsError, match="how R3 gives off its heat"):
        session.read_temperature("R3", "82degC")
    with pytest.raises(ProblemsError, match="sink: 8K/W at Q10"):
        session.read_temperature("Q10", "82degC")
    with pytest.raises(ProblemsError):
        session.read_temperature("Q1", "82V")
    session.set_condition(Condition("off"))
    with pytest.raises(ProblemsError, match="machine that is off"):
        session.read_temperature("Q1", "82degC")


def test_watts_of_the_regulator_are_ngspices(sunk: Session) -> None:
    from halfsplit.faults.stress import stresses

    at = sunk.condition
    found = stresses(sunk.machine, at, [{}])
    ours = found.watts[0, found.parts.index("U1")]
    written = deck.write(sunk.machine.topology, sunk.machine.values(at))
    volts = deck.operating_point(written, ["raw", "p5"])
    assert volts is not None
    amps = volts["p5"] / 20.0
    assert ours == pytest.approx((volts["raw"] - volts["p5"]) * amps, abs=0.1)
