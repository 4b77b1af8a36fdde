"""Rules as published: leakage, reforming, end of life, stored charge, derating."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.model import LoadValue
from halfsplit.bringup.derating import CURVES, STRESS, allowed, body, needed_watts
from halfsplit.bringup.discharge import joules, seconds
from halfsplit.bringup.forming_log import Formed, dropped
from halfsplit.bringup.reform import plan, short_at
from halfsplit.bringup.rules import LEAKAGES, RULES, life_factor, shelf, worn
from halfsplit.bringup.stock import Piece, choose, networks
from halfsplit.faults.warm import warm
from halfsplit.parts import catalogue
from halfsplit.parts.kinds.electrolytic import Electrolytic
from halfsplit.quantity import parse
from tests.reference.oracle import entries, machine

ROWS: dict[str, dict[str, Any]] = entries("bringup.yaml")


def can(value: str = "32u", volts: str = "450V") -> Electrolytic:
    return Electrolytic(ref="C1", kind="electrolytic", value=value, volts=volts, pos="a", neg="b")


@pytest.mark.parametrize("name", [n for n in ROWS if n.startswith("leakage")])
def test_leakage_limits(name: str) -> None:
    row = ROWS[name]
    limit = LEAKAGES[row["rule"]].amps(parse(row["farads"], "F"), parse(row["volts"], "V"))
    assert limit == pytest.approx(parse(row["amps"], "A"), rel=1e-6)


def test_leakage_rule_of_the_period_ends_at_450_volts() -> None:
    with pytest.raises(ValueError, match="450"):
        LEAKAGES["jan-c-62"].amps(20e-6, 500.0)


@pytest.mark.parametrize("name", [n for n in ROWS if n.startswith("short")])
def test_a_short_while_forming(name: str) -> None:
    row = ROWS[name]
    amps, watts = short_at(parse(row["volts"], "V"), parse(row["ohms"], "ohm"))
    assert amps == pytest.approx(parse(row["amps"], "A"), rel=1e-3)
    assert watts == pytest.approx(parse(row["watts"], "W"), rel=5e-3)


def test_re_aging_note_of_1993() -> None:
    """10 kohm to 75 V, 100 kohm above, 1 mA, 4 h (a maker's note of October 1993, second-hand)."""
    rule = RULES["four-hours"]
    assert (rule.ohms(75.0), rule.ohms(76.0)) == (10e3, 100e3)
    assert (rule.most_amps, rule.hold) == (1e-3, 4 * 3600.0)
    assert shelf(4.0) == "usually reform"
    assert shelf(3.0) != shelf(5.0) != shelf(10.0)


def test_its_resistor_alone_does_not_hold_the_milliamp() -> None:
    """So the supply stands at most 100 V above the capacitor on 100 kohm, 10 V on 10 kohm."""
    rule, leak = RULES["four-hours"], LEAKAGES["jan-c-62"]
    high, low = plan(can(), rule, leak), plan(can("1000u", "40V"), rule, leak)
    assert high.jump == pytest.approx(100.0)
    assert low.jump == pytest.approx(10.0)
    for made in (high, low):
        steps = [0.0, *(s.volts for s in made.stages)]
        assert max(b - a for a, b in pairwise(steps)) <= made.jump * 1.001
        assert steps[-1] == made.target
    assert plan(can(), rule, leak, at_once=True).refused
    assert not high.refused


def test_voltage_treatment_at_450_volts_is_refused() -> None:
    """1 kohm and full volts: 202 W in the resistor of a shorted can (re-computed)."""
    rule, leak = RULES["half-hour"], LEAKAGES["jan-c-62"]
    made = plan(can(), rule, leak, at_once=True)
    assert made.worst_watts == pytest.approx(202.5)
    assert any("heat" in reason for reason in made.refused)
    limited = plan(can(), rule, leak, supply_limit=5e-3)
    assert limited.worst_watts == pytest.approx(25e-6 * 1e3)
    assert not limited.refused
    low = plan(can("1000u", "16V"), rule, leak)  # the same rule on a 16 V can: 0.26 W
    assert (low.ohms, low.hold, low.stages[0].volts) == (1e3, 1800.0, 8.0)
    assert not low.refused


def test_too_small_a_resistor_is_refused() -> None:
    made = plan(can(), RULES["four-hours"], LEAKAGES["jan-c-62"], resistor_watts=1.0)
    assert any("rated" in reason for reason in made.refused)  # it would take 2.03 W
    ample = plan(can(), RULES["four-hours"], LEAKAGES["jan-c-62"], resistor_watts=5.0)
    assert not ample.refused


def test_time_rule() -> None:
    """5 min and 1 min a month; rejected over 10 % after an hour (no author, second-hand)."""
    rule = RULES["by-months"]
    assert rule.holding(24.0) == (5 + 24) * 60.0
    assert 20e3 <= rule.ohms(450.0) <= 50e3
    made = plan(can(), rule, LEAKAGES["jan-c-62"])
    assert rule.drop_limit == 0.10
    for amps, early, late in ((2e-3, False, True), (1.2e-3, False, False)):
        volts = 450.0 - amps * made.ohms  # 60 V is 13 % of 450, 36 V is 8 %
        assert bool(dropped(made, [Formed(3000.0, volts, amps)], 0.10)) is early
        assert bool(dropped(made, [Formed(3600.0, volts, amps)], 0.10)) is late
        assert not dropped(made, [Formed(3600.0, volts, amps)], 0.20)


def test_ten_milliamp_ceiling() -> None:
    """Letter C of MIL-HDBK-1131C as a public note takes it; the handbook was not read."""
    assert RULES["ten-milliamps"].most_amps == 10e-3
    assert "not read" in RULES["ten-milliamps"].source


def test_end_of_life() -> None:
    """IEC 60384-4-1 endurance: over 30 % of capacitance gone, or three times the ESR (second-hand);
    life doubles each 10 K cooler (second-hand)."""
    assert not worn(71e-6, 100e-6)
    assert worn(69e-6, 100e-6)
    assert worn(90e-6, 100e-6, 0.31, 0.1)
    assert not worn(90e-6, 100e-6, 0.29, 0.1)
    assert life_factor(10.0) == 2.0
    assert life_factor(20.0) == 4.0


def test_stored_charge() -> None:
    """Re-computed: 45 uC at 450 V in 0.1 uF is 10.1 mJ (IEC 60335-1 limits meet); 100 uF at 350 V
    6.13 J, to 60 V through 47 kohm 8.29 s and 2.61 W at first; 4700 uF at 25 V 1.47 J."""
    assert joules(0.1e-6, 450.0) == pytest.approx(10.1e-3, rel=5e-3)
    assert joules(100e-6, 350.0) == pytest.approx(6.13, rel=1e-3)
    assert joules(4700e-6, 25.0) == pytest.approx(1.47, rel=1e-3)
    assert seconds(47e3, 100e-6, 350.0, 60.0) == pytest.approx(8.29, rel=1e-3)
    assert seconds(47e3, 100e-6, 50.0, 60.0) == 0.0
    assert pytest.approx(2.61, rel=2e-3) == 350.0**2 / 47e3


@pytest.mark.parametrize(
    ("make", "table"),
    [
        ("wirewound", {70: 1.0, 110: 0.8, 150: 0.6, 190: 0.4, 240: 0.2, 260: 0.1}),
        ("film", {70: 1.0, 85: 0.8, 100: 0.6, 120: 0.4, 140: 0.2, 145: 0.1}),
    ],
)
def test_military_derating(make: str, table: dict[int, float]) -> None:
    """Rule of thumb as a public page of the military derating tables has it (found)."""
    (curve,) = (c for c in CURVES if c.make == make and "military" in c.source)
    for celsius, share in table.items():
        assert curve.share(celsius) == pytest.approx(share)
    assert curve.share(max(table) + 1) == 0.0


def test_wirewound_sheet() -> None:
    """HIA series sheet (found): full to 40 degC, nothing at 275; 87.2 % at 70, half at 157.5."""
    curve = CURVES[0]
    assert (curve.share(40.0), curve.share(275.0)) == (1.0, 0.0)
    assert curve.share(70.0) == pytest.approx(0.872, abs=5e-4)
    assert curve.share(157.5) == pytest.approx(0.5)
    assert allowed("wirewound", 70.0)[0] == pytest.approx(0.872, abs=5e-4)  # the lower of the two


@pytest.mark.parametrize(
    ("name", "air", "case"),
    [
        ("7805", 65.0, 5.0),  # MC7800 sheet
        ("LM317", 50.0, 5.0),
        ("7905", 65.0, 5.0),  # LM79xx sheet
        ("2N3055", None, 1.52),
        ("TIP3055", 35.7, 1.39),
        ("PN2222A", 200.0, 83.3),
        ("2N5060", 200.0, None),
        ("2N2907A", 325.0, 150.0),
        ("1N4734A", 170.0, None),  # DO-41; another sheet says 140 on pads
        ("1N4001", 50.0, None),  # others say 100
    ],
)
def test_package_resistances(name: str, air: float | None, case: float | None) -> None:
    """Junction to air and to case [K/W] as the sheets have them (found), in our catalogue."""
    row = catalogue.load().get(name)
    assert row is not None
    for key, value in (("theta_ja", air), ("theta_jc", case)):
        if value is not None:
            assert parse(str(row.fields[key]), "K/W") == pytest.approx(value)


def test_free_air_package() -> None:
    """TO-220 in free air, 65 K/W: 1.54 W takes it from 25 to 125 degC, so 0.22 A from 12 V."""
    circuit = machine(
        "assembly: bare regulator\nparts:\n"
        "  S1: {kind: supply, volts: 12V, ohms: 1mohm, pos: raw, neg: com}\n"
        "  U1: {type: '7805', in: raw, com: com, out: p5}\n"
        "rails:\n  P5: {net: p5, limits: 4.75..5.25V}\n"
    )
    at = Condition(circuit.assembly.default_feed(), extra=(("p5", LoadValue(amps=0.22)),))
    found = warm(circuit, at, [{}])
    i = found.parts.index("U1")
    # its own quiescent current adds about 0.05 W, 3 K
    assert 1.54 <= found.watts[0, i] <= 1.54 + 0.08
    assert found.junction[0, i] == pytest.approx(25.0 + 65.0 * found.watts[0, i], abs=0.5)
    assert found.junction[0, i] == pytest.approx(125.0, abs=6.0)


def test_load_plan() -> None:
    """5 V, 2 A: 2.5 ohm, 10 W; at 80 % stress in 70 degC air at least 14.3 W, so 25."""
    assert STRESS == 0.8  # NASA's ratio, from the same page as the military table
    assert needed_watts(10.0, 70.0) == pytest.approx(14.3, abs=0.05)
    stock = [Piece(2.5, 10.0, 1), Piece(2.5, 25.0, 1), Piece(2.5, 50.0, 1)]
    kinds = {"celsius": 70.0, "stress": STRESS, "within": 0.05}
    only = choose(networks(stock[:1]), stock[:1], 2.5, 5.0, **kinds)
    assert only.network is None
    assert "hot" in only.reason
    took = choose(networks(stock[:2]), stock[:2], 2.5, 5.0, **kinds)
    assert [c.piece.watts for c in took.carried] == [25.0]
    assert took.carried[0].stress == pytest.approx(14.3 / 25.0 * 0.8, rel=5e-3)
    # its body: 70 degC of air and 10/25 of the 235 K between full and no rating
    assert body("wirewound", 70.0, 0.4) == pytest.approx(70.0 + 0.4 * 235.0)
