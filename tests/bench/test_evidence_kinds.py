"""Currents, heat, signs, markings and weights as evidence; the bench behind them is ngspice."""

from __future__ import annotations

import numpy as np
import pytest
from tests.simulator import deck, tray
from tests.simulator.bench import Specimen

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.bench.trail import trail
from halfsplit.diagnosis.signs import hot_chance
from halfsplit.problems import HalfsplitError

HALF = Condition("raws", "half")


def current(fault: str, part: str) -> float:
    """Amperes through a two-lead part by ngspice: the drop across it over its resistance."""
    first, second = tray.tray().assembly.parts[part].terminals().values()
    element = next(e for e in tray.tray().netlist if e.name == part)
    found = tray.by_ngspice(fault, HALF, [first, second])
    assert found is not None
    return (found[first] - found[second]) * element.values["g"]


def weight(session: Session, name: str) -> float:
    weights = session.belief.weights()
    return float(
        sum(w for h, w in zip(session.hypotheses, weights, strict=True) if name in h.plain)
    )


def weight_of(session: Session, name: str) -> float:
    index = [h.name for h in session.hypotheses].index(name)
    return float(session.belief.weights()[index])


def test_a_current_is_weighed(session: Session) -> None:
    """F3 feeds P12 alone: 0.55 A at half load, 75 mA of drive with Q5's base open."""
    sound, broken = current("", "F3"), current("Q5 open base", "F3")
    assert 0.45 < sound < 0.60 and broken < 0.1
    before = weight(session, "Q5 open base")
    session.read_current("F3", f"{broken * 1000:.1f}mA")
    assert weight(session, "Q5 open base") > 5 * before
    assert session.condition == HALF  # the meter is out again, and the fuse back
    session.undo()
    session.read_current("F3", f"{sound * 1000:.0f}mA")
    assert weight(session, "Q5 open base") < before / 20
    assert weight(session, "F3 open") > 0.01  # the meter stands in its place: it is not cleared


def test_a_current_needs_two_leads_and_a_feed(session: Session) -> None:
    with pytest.raises(HalfsplitError, match="3 leads"):
        session.read_current("Q5", "0.5A")
    with pytest.raises(HalfsplitError, match="A"):
        session.read_current("F3", "5V")
    session.set_condition(Condition("off"))
    with pytest.raises(HalfsplitError, match="off"):
        session.read_current("F3", "0.5A")


def test_heat_tells_of_watts(session: Session) -> None:
    """Q1 of 150 W takes (20.0 - 12.0) V * 0.5 A = 4 W healthy at half load, which nobody calls hot:
    the sign speaks for something that is not in the model, against the healthy machine."""

    def odds() -> float:
        return weight_of(session, "something not in this model") / weight_of(session, "no fault")

    before = odds()
    session.observe("", "Q1", sign="hot")
    assert odds() > 3.0 * before


def test_heat_of_a_part_that_does_take_watts(session: Session) -> None:
    """R19, 820 ohm of 0.5 W from P12 to b11, by hand: (12.0 - 6.8)^2 / 820 = 33 mW healthy; half
    its value 66 mW; with Q11 shorted from base to emitter and collector b11 near nothing, more.
    The order by watts is the order in which "hot" favours them."""
    chance = hot_chance(np.array([0.033, 0.066, 0.5]) / 0.5)
    assert chance[0] < chance[1] < 0.1 < 0.9 < chance[2]
    assert hot_chance(np.array([np.nan]))[0] == pytest.approx(0.3)


def test_a_sign_of_the_machine_needs_it_on(session: Session) -> None:
    session.set_condition(Condition("off"))
    with pytest.raises(HalfsplitError, match="is off"):
        session.observe("", None, sign="ticking")
    with pytest.raises(HalfsplitError, match="did you mean"):
        session.observe("", "F2", sign="blowm")


def test_a_factor_moves_the_prior(session: Session) -> None:
    before = weight(session, "R3 open")
    session.weigh_part("R3", 1000.0)
    assert weight(session, "R3 open") > 50 * before
    session.undo()
    assert weight(session, "R3 open") == pytest.approx(before)


def test_nothing_changed_clears_nobody(session: Session) -> None:
    """A new C7 and the same readings: C7 alone is no answer any more, another takes the lead, and
    that the new one is bad too stays possible."""
    specimen = Specimen("C7 short", 4)
    for net in ("p12", "p5", "b6"):
        session.read(net, f"{specimen.read(net, HALF):.2f}")
    assert "C7 short" in session.hypotheses[session.groups()[0].members[0]].name
    session.change("C7 fitted")
    for net in ("p12", "b6", "p1"):
        session.read(net, f"{specimen.read(net, HALF):.2f}")
    lead = session.hypotheses[session.groups()[0].members[0]]
    assert lead.left(session.condition)  # something is still in there
    assert weight(session, "new C7 short") > 0.01
    pairs = zip(session.hypotheses, session.belief.weights(), strict=True)
    assert sum(float(w) for h, w in pairs if h.plain == {"C7 short"}) < 0.01


def test_the_trail_says_who_was_dropped_and_why(session: Session) -> None:
    specimen = Specimen("R21 open", 5)
    for net in ("p5", "b11"):
        session.read(net, f"{specimen.read(net, HALF):.2f}")
    steps = trail(session)
    assert [s.words.split()[0] for s in steps[-2:]] == ["P5", "b11"]
    assert "R21 open" in steps[-1].lead
    assert any(name == "no fault" for s in steps for name, _ in s.dropped)
    assert session.until is None and len(session.evidence()) == 2


def test_the_deck_takes_several_open_leads() -> None:
    top = tray.tray().topology
    changes = {
        **tray.fault("Q8 open base"),
        **tray.fault("Q12 open emitter"),
        **tray.tray().values(HALF),
    }
    written = deck.write(top, changes, open_lead={"Q8": "b", "Q12": "e"})
    assert sum(line.startswith("Ropen") for line in written.lines) == 2
