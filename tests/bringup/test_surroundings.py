"""What sits beside what, what works harder than usual, fans and lamps as loads and evidence."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from halfsplit.assembly.condition import Change, Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bench.bringing import planned_feed
from halfsplit.bench.gating import gates_of
from halfsplit.bench.proving import protect
from halfsplit.bench.session import Session
from halfsplit.bringup.gates import refusals
from halfsplit.bringup.power import power_check, worst_of
from halfsplit.diagnosis.signs import working_chance
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.stress import stresses
from halfsplit.problems import HalfsplitError
from tests.simulator import tray

HALF = Condition("raws", "half")


def test_beside_works_both_ways() -> None:
    assembly = tray.tray().assembly
    assert "R3" in assembly.beside("Q1") and assembly.beside("R3") == ("Q1",)
    assert assembly.beside("R15") == ()


def test_what_runs_hot_without_passing_a_rating_is_named_with_its_neighbours(
    tmp_path: Path,
) -> None:
    """C4 shorted at half load: Q1 from 4 to 20 W (notes: 20 W into a short), R3 from 0.17 to
    0.84 W, here of a part of 5 W; R3 and C4 sit beside Q1."""
    path = tmp_path / "larger.yaml"
    text = tray.EXAMPLE.read_text(encoding="utf-8")
    assert text.count("power: 0.75W") == 2
    path.write_text(text.replace("power: 0.75W", "power: 5W"), encoding="utf-8")
    assembly, problems = load(path)
    assert assembly is not None, problems
    machine = Machine(assembly)
    (fault,) = [h for h in single_faults(assembly) if h.name == "C4 short"]
    found = power_check(machine, HALF, [(fault, 0.5)], propose=False)
    worked = {h.part: h for h in found.harder}
    assert worked["R3"].watts == pytest.approx(0.84, rel=0.1)
    assert worked["R3"].times > 4.0 and worked["R3"].known
    assert "Q1" not in worked and [f.part for f in found.findings if f.ratio > 1.0] == ["Q1"]
    both = stresses(machine, HALF, [{}, fault.changes])
    usual, hot = (worst_of(both, row, "watts", "Q1")[1] for row in (0, 1))
    assert hot == pytest.approx(20.0, rel=0.1) and hot > 4.0 * usual
    assert {"R3", "C4"} <= set(found.beside["Q1"])


def test_a_rail_too_high_for_logic_is_told() -> None:
    """R17 open at the bench load: the crowbar fires; with the crowbar out P5 stands at 10.08 V, and
    with C4 shorted at 6.93 V, below the 7.0 V TTL stands (design notes of the tray)."""
    cases = {h.name: h for h in single_faults(tray.tray().assembly)}
    at = Condition("raws", "bench")
    out = at.with_change(Change("SCR1", "removed"))
    asked = [(cases["R17 open"], 0.2), (cases["C4 short"], 0.2)]
    assert power_check(tray.tray(), at, asked, propose=False).rails == ()
    (line,) = power_check(tray.tray(), out, asked, propose=False).rails
    assert line.startswith("P5 would stand at 10.0") and "if R17 open (20 %)" in line
    assert "7.00 V" in line


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    file = Path(shutil.copy(tray.EXAMPLE, tmp_path / "pt3.yaml"))
    with Session(file) as opened:
        yield opened


def test_planning_while_it_is_off_takes_a_steady_feed(session: Session) -> None:
    """The pages for loads and protection have no field for a feed, and nobody plans with it on."""
    session.set_condition(Condition("off"))
    assert planned_feed(session) == "raws"
    found = protect(session, ["N12"], feed=planned_feed(session))
    assert "fed by raws" in found["condition"]
    assert not any("not_solved" in t for t in found["tests"])
    session.set_condition(Condition("mains", "none"))
    assert planned_feed(session) is None


def test_neighbours_of_a_part_worked_on_are_looked_at_before_power(session: Session) -> None:
    def shut() -> list[str]:
        return [r for g in refusals(gates_of(session), "power") for r in g.refused if "R22" in r]

    assert shut() == []
    session.set_condition(session.condition.with_change(Change("R21", "fitted")))
    assert "sits beside R21" in shut()[0]
    session.observe("", "R22", sign="as-drawn")
    assert shut() == []
    session.set_condition(session.condition.with_change(Change("C8", "removed")))
    assert shut() == []  # R22 is not beside C8


# A 12 V rail with a power-good lamp behind a dropper, and a fan.
TEXT = """assembly: Panel
parts:
  S1: {kind: supply, volts: 12V, ohms: 0.1R, pos: p12, neg: com}
  R1: {kind: resistor, value: 10R, power: 2W, a: p12, b: lp}
  R2: {kind: resistor, value: 1k, power: 1W, a: lp, b: com}
  LP1: {kind: lamp, volts: 10V, amps: 200mA, a: lp, b: com}
  R3: {kind: resistor, value: 1R, power: 5W, a: p12, b: fn}
  M1: {kind: fan, volts: 12V, amps: 300mA, start: 900mA, a: fn, b: com}
rails:
  P12: {net: p12, limits: 11.4..12.6V}
"""


@pytest.fixture
def panel(tmp_path: Path) -> Iterator[Session]:
    file = tmp_path / "panel.yaml"
    file.write_text(TEXT)
    with Session(file) as opened:
        yield opened


def weight(session: Session, name: str) -> float:
    weights = session.belief.weights()
    return float(
        sum(w for h, w in zip(session.hypotheses, weights, strict=True) if name in h.plain)
    )


def test_chances_of_light_add_up() -> None:
    share = np.array([0.0, 0.1, 0.3, 0.6, 1.0, np.nan])
    told = {n: working_chance(n, share) for n in ("lit", "dim", "dark")}
    assert np.allclose(sum(told.values())[:-1], 1.0, atol=0.05)
    assert told["dark"][0] > 0.8 and told["dim"][2] > 0.8 and told["lit"][4] > 0.8
    assert told["lit"][5] == pytest.approx(1 / 3)
    assert np.allclose(working_chance("stopped", share), told["dark"])


def shift(session: Session, part: str, sign: str, up: str, down: str) -> float:
    """By how much a sign moves the odds of one fault against another."""
    before = weight(session, up) / weight(session, down)
    session.observe("", part, sign=sign)
    after = weight(session, up) / weight(session, down)
    session.undo()
    return after / before


@pytest.mark.parametrize("cause", ["R1 open", "LP1 open", "R2 short"])
def test_a_dark_lamp_accuses_what_feeds_it(panel: Session, cause: str) -> None:
    """R1 or the filament open, or R2 shorted, leave it dark; R1 drifted low does not, and a lamp
    that draws half is dim."""
    assert shift(panel, "LP1", "dark", cause, "R1 drifted low") > 10.0
    assert shift(panel, "LP1", "dark", cause, "LP1 dim") > 10.0
    assert shift(panel, "LP1", "lit", cause, "R1 drifted low") < 0.1


def test_a_lit_lamp_clears_what_feeds_it(panel: Session) -> None:
    before = weight(panel, "R1 open")
    panel.observe("", "LP1", sign="lit")
    assert weight(panel, "R1 open") < before / 5.0


@pytest.mark.parametrize("cause", ["M1 stuck", "M1 open", "R3 open"])
def test_a_fan_that_stands_is_stuck_open_or_unfed(panel: Session, cause: str) -> None:
    assert shift(panel, "M1", "stopped", cause, "R3 drifted low") > 10.0
    assert shift(panel, "M1", "turning", cause, "R3 drifted low") < 0.1


def test_signs_of_lamps_are_not_signs_of_resistors(panel: Session) -> None:
    with pytest.raises(HalfsplitError, match="sign of a lamp"):
        panel.observe("", "R1", sign="lit")
    panel.set_condition(Condition("off"))
    with pytest.raises(HalfsplitError, match="is off"):
        panel.observe("", "LP1", sign="dark")


def test_fan_and_lamp_are_loads(tmp_path: Path) -> None:
    """By hand: 12 V less R3's share, 0.29 A; three times that at the start, ten times for a cold
    filament; stuck the fan takes twice its current and passes its watts."""
    file = tmp_path / "panel.yaml"
    file.write_text(TEXT)
    assembly, problems = load(file)
    assert assembly is not None, problems
    machine = Machine(assembly)
    (stuck,) = [h for h in single_faults(assembly) if h.name == "M1 stuck"]
    found = power_check(machine, Condition("supply"), [(stuck, 0.5)], propose=False)
    assert any("M1 starts with 0.88 A" in w or "M1 starts with 870 mA" in w for w in found.starts)
    assert any("LP1 takes up to" in w for w in found.starts)
    assert not found.objections
    held = stresses(machine, Condition("supply"), [{}, stuck.changes])
    assert worst_of(held, 0, "watts", "M1")[2] < 0.8
    # 12 V over 1 ohm and 12 V / 0.6 A: 0.57 A, 6.5 W of the 4.8 W that 1.15 times 12 V would give.
    assert worst_of(held, 1, "watts", "M1")[1] == pytest.approx(0.571**2 * 20.0, rel=0.02)
    assert worst_of(held, 1, "watts", "M1")[2] > 1.3


# A 105 V gas tube behind its dropper: 9.5 mA lit, by hand.
TUBE = """assembly: Reference
parts:
  S1: {kind: supply, volts: 200V, ohms: 10R, pos: raw, neg: com}
  R1: {kind: resistor, value: 10k, power: 2W, a: raw, b: ref}
  R2: {kind: resistor, value: 1M, power: 1W, a: ref, b: com}
  V1: {kind: gas-tube, value: 105V, test_current: 10mA, impedance: 100R, strike: 130V,
       min_current: 5mA, max_current: 30mA, a: ref, k: com}
rails:
  REF: {net: ref, limits: 100..110V}
"""


def test_a_gas_tube_that_does_not_glow_has_no_current(tmp_path: Path) -> None:
    file = tmp_path / "tube.yaml"
    file.write_text(TUBE)
    with Session(file) as bench:
        assert shift(bench, "V1", "dark", "R1 open", "R1 drifted low") > 10.0
        assert shift(bench, "V1", "lit", "R1 open", "R1 drifted low") < 0.1
        with pytest.raises(HalfsplitError, match="sign of a fan"):
            bench.observe("", "V1", sign="turning")
