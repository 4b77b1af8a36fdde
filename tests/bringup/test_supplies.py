"""Ladder, discharge, reforming and restarting on other circuits, against sums done by hand."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.bench.opening import open_machine
from halfsplit.bringup import crowbar, discharge, ladder, overcurrent, reform
from halfsplit.bringup.forming_log import Formed, judge, plot, predicted_end
from halfsplit.bringup.rules import LEAKAGES, RULES
from halfsplit.bringup.solving import Bench
from halfsplit.bringup.stock import Piece, networks, parse_stock
from halfsplit.faults.dead import Ask, DeadCircuit
from halfsplit.faults.ohmmeter import ohmmeters
from halfsplit.problems import ProblemsError
from tests.reference.oracle import machine

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SOFT = """
assembly: soft raw rail
parts:
  S1: {kind: supply, volts: 15V, ohms: 10R, pos: raw, neg: com}
  R1: {kind: resistor, value: 1k5, a: raw, b: com}
  C1: {kind: electrolytic, value: 100u, volts: 25V, pos: raw, neg: com}
rails:
  RAW: {net: raw, limits: 11..13V, rated: 300mA}
"""


def soft() -> Bench:
    made = machine(SOFT)
    return Bench(made, Condition(made.assembly.default_feed()), {})


def valves() -> Bench:
    opened, _ = open_machine(EXAMPLES / "type88" / "supply.yaml")
    return Bench(opened, Condition("raws", "none"), {})


# -- minimum load, stock --------------------------------------------------------------------------


def test_a_soft_rail_needs_a_load() -> None:
    """15 V behind 10 ohm with 1.5 kohm on it: below 13 V from 0.191 A; by Ohm's law."""
    found = ladder.plan(soft(), parse_stock("47R/25W*4"))
    (least,) = found.minimum
    assert least["needed"] is True
    # steps of the search are a tenth of a decade in conductance
    assert 0.19 <= least["amps"] <= 0.19 * 10**0.1 * 1.05
    assert least["own"]["R1"] == pytest.approx(15.0 / 1510.0, rel=1e-3)


def test_networks_of_the_stock() -> None:
    stock = [Piece(10.0, 10.0, 2), Piece(30.0, 5.0, 1)]
    values = sorted({round(n.ohms, 4) for n in networks(stock, 3)})
    expected = {10, 30, 20, 5, 40, 7.5, 50, 35, 30 * 20 / 50, 30 * 5 / 35}
    expected |= {10 + 7.5, 10 * 40 / 50}
    assert values == pytest.approx(sorted(expected), abs=1e-4)
    for n in networks(stock, 3):
        assert sum(i == 0 for i, _ in n.shares) <= 2  # never more than there are


@pytest.mark.parametrize("text", ["", "1R", "1R/50W*x", "1/50W,2R/-5W", "1R/50W:steel", "0R/5W"])
def test_bad_stock_is_listed(text: str) -> None:
    with pytest.raises(ProblemsError) as caught:
        parse_stock(text)
    assert all(p.wrong for p in caught.value.problems)
    assert any(p.instead for p in caught.value.problems)


def test_bad_stock_file_has_lines(tmp_path: Path) -> None:
    path = tmp_path / "stock.yaml"
    path.write_text("stock:\n  - {value: 1R, watts: 50W}\n  - {value: 2X, watts: 5}\n  - 7\n")
    with pytest.raises(ProblemsError) as caught:
        parse_stock(str(path))
    assert {p.line for p in caught.value.problems} == {3, 4}
    path.write_text("stock:\n  - {value: 1R, watts: 50W, count: 3, make: film}\n")
    assert parse_stock(str(path)) == [Piece(1.0, 50.0, 3, "film")]


# -- discharge ------------------------------------------------------------------------------------


def test_one_capacitor_and_its_bleeder() -> None:
    """RC ln(V0/V): the supply, once off, is out of it."""
    (found,) = discharge.stored(soft(), 1.0)
    level = 15.0 * 1500 / 1510
    assert found.level == pytest.approx(level, rel=1e-4)
    assert found.energy == pytest.approx(0.5 * 100e-6 * level**2, rel=1e-4)
    assert found.own == pytest.approx(1500 * 100e-6 * math.log(level), rel=1e-3)
    assert found.bleeders == ("R1",)
    assert found.resistor_seconds == pytest.approx(found.resistor * 100e-6 * math.log(level))


def test_valve_supply_capacitor_by_capacitor() -> None:
    """By hand: C1 and C2 are joined by L1 and share R1: 64 uF, 220 kohm. C3, with gas tubes out and
    valves cold, has R10 100 k and R7 + RV1 + R6 in parallel. C5 has R11 to a dark tube: nothing."""
    found = {s.part: s for s in discharge.stored(valves(), 60.0)}
    assert found["C2"].energy == pytest.approx(0.5 * 32e-6 * 399.5**2, rel=0.01)
    both = 64e-6 * 220e3 * math.log(399.5 / 60.0)
    assert found["C1"].own == pytest.approx(both, rel=0.01)
    assert found["C2"].own == pytest.approx(both, rel=0.01)
    assert found["C1"].bleeders == found["C2"].bleeders == ("R1",)
    divider = 150e3 + 0.288 * 25e3 + 82e3
    alone = 16e-6 / (1 / 100e3 + 1 / divider) * math.log(251.1 / 60.0)
    assert found["C3"].own == pytest.approx(alone, rel=0.02)
    assert found["C3"].energy == pytest.approx(0.5 * 16e-6 * 251.1**2, rel=0.01)
    assert found["C5"].own is None
    assert "nothing in the circuit" in found["C5"].words
    assert found["C5"].energy == pytest.approx(0.5 * 16e-6 * 225.6**2, rel=0.01)


def test_an_open_bleeder_is_seen() -> None:
    made = valves()
    gone = {("R1", "g"): 1e-12}
    found = {s.part: s for s in discharge.stored(Bench(made.machine, made.condition, gone), 60.0)}
    assert found["C1"].own is None


def test_proof_by_meter() -> None:
    item = next(s for s in discharge.stored(valves(), 60.0) if s.part == "C1")
    assert discharge.verdict(item, 0.4)["passed"]
    assert not discharge.verdict(item, 12.0)["passed"]
    assert "above" in discharge.verdict(item, -75.0)["reasons"][0]


# -- leaky C7 -------------------------------------------------------------------------------------


def test_leaky_paper_capacitor_is_found_at_working_volts_not_by_ohmmeter() -> None:
    """Notes of the valve supply: 500 kohm at 250 V, over 20 Mohm on an ohmmeter."""
    made = valves()
    part = made.machine.assembly.parts["C7"]
    level = reform.working_volts(made, part)
    assert level == pytest.approx(251.0 - 86.0, abs=1.0)
    test = reform.leak_test(part, level)
    bad = reform.leak_verdict(test, level * 1e6 / 1.5e6)  # 500 kohm behind 1 Mohm
    assert not bad["passed"]
    assert bad["amps"] == pytest.approx(level / 1.5e6)
    assert reform.leak_verdict(test, 0.5)["passed"]
    # the same specimen, lifted or not, under an ohmmeter
    leaky = next(m.changes for m in part.modes() if m.name == "leaky")
    assert leaky["C7", "g"] == pytest.approx(1 / 500e3)
    circuit = DeadCircuit(made.machine)
    asks = [Ask("p250", "gb"), Ask("p250", "gb", leaky)]
    read = circuit.read(asks, Condition("off"), ohmmeters()["auto"])
    assert read.value[1] == pytest.approx(read.value[0], rel=0.01)
    # and with power on it takes the rail from 250 to 214 V, as the notes have it
    table = Bench(made.machine, made.condition, leaky).solve(
        [{("load:p250", "g"): 1e-4, ("load:n150", "g"): 1 / 30e3, ("load:p108", "g"): 1 / 18e3}]
    )
    assert float(table.mean[0, table.column("p250")]) == pytest.approx(214.0, abs=2.0)


def test_a_shorted_paper_capacitor_is_still_seen_by_ohmmeter() -> None:
    made = valves()
    short = next(m.changes for m in made.machine.assembly.parts["C7"].modes() if m.name == "short")
    circuit = DeadCircuit(made.machine)
    asks = [Ask("p250", "gb"), Ask("p250", "gb", short)]
    read = circuit.read(asks, Condition("off"), ohmmeters()["auto"])
    assert read.value[1] < 0.01 * read.value[0]


def test_paper_is_not_formed() -> None:
    with pytest.raises(ProblemsError, match="no oxide"):
        part = valves().machine.assembly.parts["C7"]
        reform.plan(part, RULES["four-hours"], LEAKAGES["jan-c-62"])


def test_no_rule_is_picked_for_the_user() -> None:
    with pytest.raises(ProblemsError) as caught:
        reform.pick_rule(None)
    for name in RULES:
        assert name in str(caught.value)


# -- log of a forming -----------------------------------------------------------------------------


def forming(*readings: tuple[float, float, float]) -> list[Formed]:
    return [Formed(60.0 * minutes, volts, amps) for minutes, volts, amps in readings]


def a_plan() -> reform.Plan:
    part = valves().machine.assembly.parts["C3"]
    return reform.plan(part, RULES["four-hours"], LEAKAGES["jan-c-62"], working=250.0)


@pytest.mark.parametrize(
    ("log", "state"),
    [
        ([], "go-on"),
        ([(0, 60, 0.9e-3), (10, 60, 0.5e-3)], "go-on"),
        ([(0, 60, 0.9e-3), (10, 60, 0.9e-3), (20, 60, 0.89e-3)], "go-on"),
        ([(0, 60, 1.2e-3)], "stop"),  # over 1 mA
        ([(0, 250, 0.5e-3), (10, 250, 0.7e-3)], "stop"),  # rising
        ([(0, 250, 0.5e-3), (250, 250, 0.4e-3)], "done"),
        ([(0, 250, 0.5e-3), (100, 250, 0.4e-3)], "go-on"),  # not held long enough
        ([(0, 250, 0.97e-3), (200, 250, 0.97e-3), (250, 250, 0.96e-3)], "reject"),
    ],
)
def test_states_of_a_forming(log: list[tuple[float, float, float]], state: str) -> None:
    assert judge(a_plan(), forming(*log))["state"] == state


def test_heat_in_the_can_stops_it() -> None:
    part = valves().machine.assembly.parts["C3"]
    made = reform.plan(part, RULES["ten-milliamps"], LEAKAGES["jan-c-62"], working=250.0)
    assert judge(made, forming((0, 250, 3e-3)))["state"] == "stop"  # 0.75 W
    assert judge(made, forming((0, 150, 3e-3)))["state"] == "go-on"  # 0.45 W


def test_end_of_an_exponential_is_predicted() -> None:
    log = [Formed(t, 250.0, 4e-3 * math.exp(-t / 900.0)) for t in (0.0, 300.0, 600.0)]
    assert predicted_end(log, 1e-3) == pytest.approx(900.0 * math.log(4.0), rel=1e-6)
    assert predicted_end(log[:2], 1e-3) is None
    rising = [Formed(t, 250.0, 1e-3 * math.exp(t / 900.0)) for t in (0.0, 300.0, 600.0)]
    assert predicted_end(rising, 1e-3) is None


def test_plot_shows_readings_and_limit() -> None:
    lines = plot(forming((0, 250, 4e-3), (10, 250, 2e-3), (20, 250, 1.5e-3)), 1e-3)
    assert sum(line.count("*") for line in lines) == 3
    assert any("-" * 20 in line for line in lines)


# -- a supply that restarts -----------------------------------------------------------------------


def test_restart_into_a_short() -> None:
    """Notes of the switching supply: bursts peak 13.9 A each 0.118 s, 52 mA mean from raw."""
    opened, _ = open_machine(EXAMPLES / "stile17" / "ob8.yaml")
    made = Bench(opened, Condition("raw", "none"), {})
    found = overcurrent.restart(made, "OUT", opened.assembly.rails["OUT"], 8.0)
    full, short = found[0], found[-1]
    assert full.volts == pytest.approx(4.963, abs=0.05)
    assert short.status.startswith("restarting")
    assert short.period == pytest.approx(0.118, rel=0.03)
    assert short.peak_amps == pytest.approx(13.9, rel=0.03)
    assert short.feed_amps == pytest.approx(52e-3, rel=0.3)  # 40 mA here
    assert "ticks every" in overcurrent.restart_steps(short, 8.0)[0]


def test_crowbar_of_the_switching_supply() -> None:
    """Notes: a 5.6 V zener and the gate, about 6.2 V."""
    opened, _ = open_machine(EXAMPLES / "stile17" / "ob8.yaml")
    found = crowbar.find(opened)
    assert found == [("SCR1", "OUT")]
    bar = crowbar.predict_trip(
        Bench(opened, Condition("off", "none"), {}), "SCR1", "OUT", opened.assembly.rails["OUT"]
    )
    assert bar.trip == pytest.approx(6.2, abs=0.1)
    assert bar.on_volts < 1.5
    assert bar.stop == pytest.approx(1.1 * 6.6)
    assert "not solved" in bar.after[0]
