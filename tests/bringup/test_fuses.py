"""Fuses opened in the power check, in cascades and in expectations."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from halfsplit.assembly.condition import Change, Condition, refit
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.power import HEALTHY, PowerCheck, power_check
from halfsplit.faults.cascades import cascades
from halfsplit.faults.dictionary import predict
from halfsplit.faults.hypotheses import Hypothesis, single_faults
from halfsplit.faults.melting import blown, first_to_open, lasting, melting_time
from halfsplit.parts.kinds.fuse import Fuse
from tests.simulator import tray

FULL = Condition("raws", "full")


def fuse(amps: str = "1A", **more: str) -> Fuse:
    return Fuse.model_validate({"kind": "fuse", "amps": amps, "a": "a", "b": "b", **more})


@pytest.mark.parametrize(
    ("more", "times", "least", "most"),
    [
        ({}, 2.1, 0.0, 1800.0),
        ({}, 2.75, 0.05, 2.0),
        ({}, 4.0, 0.01, 0.3),
        ({}, 10.0, 0.0, 0.02),
        ({"speed": "T"}, 2.1, 0.0, 120.0),
        ({"speed": "T"}, 2.75, 0.6, 10.0),
        ({"speed": "T"}, 4.0, 0.15, 3.0),
        ({"speed": "T"}, 10.0, 0.02, 0.3),
        ({"standard": "UL 248-14"}, 1.35, 0.0, 3600.0),
        ({"standard": "UL 248-14"}, 2.0, 0.0, 120.0),
    ],
)
def test_times_as_the_standards_have_them(
    more: dict[str, str], times: float, least: float, most: float
) -> None:
    """IEC 60127-2 sheet 2 in a maker's 617 series sheet; sheet 3 from memory, unconfirmed; UL
    248-14 in a maker's catalogue."""
    told = melting_time(fuse(**more), times)
    assert told is not None
    assert told[1] == pytest.approx(most, rel=1e-6)
    assert told[0] == pytest.approx(least, rel=1e-6, abs=1e-9)


def test_one_ampere_of_one_standard_is_not_one_of_the_other() -> None:
    """At 1.5 A the one must hold an hour, the other must have opened."""
    assert melting_time(fuse(), 1.5) is None
    assert melting_time(fuse(standard="UL 248-14"), 1.5) is not None


def test_energy_to_melt_tells_the_shortest_time() -> None:
    """50 A2s at 5 times 2 A: 0.5 s; at 2.75 times the leads take part, and the sheet counts."""
    small = fuse("2A", speed="T", i2t="50")
    told = melting_time(small, 5.0)
    assert told is not None and told[0] == pytest.approx(50.0 / 10.0**2)
    plain = melting_time(fuse("2A", speed="T"), 2.75)
    assert melting_time(small, 2.75) == plain


def test_the_faster_of_two_goes_first() -> None:
    two = {"F1": fuse("2A", speed="T"), "F2": fuse("2A")}
    found = first_to_open(two, {"F1": 8.0, "F2": 8.0})
    assert found is not None and found.part == "F2"
    assert found.words == "F2 (2.0 A F) at 8.0 A opens in 10 ms to 300 ms"
    assert first_to_open(two, {"F1": 3.0, "F2": 3.0}) is None
    assert lasting(1800.0) == "30 min"


def suspect(name: str) -> Hypothesis:
    return next(h for h in single_faults(tray.tray().assembly) if h.name == name)


def check(name: str, at: Condition = FULL, marked: str = "") -> PowerCheck:
    drawn = tray.tray().assembly.parts["F2"]
    values = (("amps", marked),)
    other = {"F2": refit(drawn, Change("F2", "fitted", "", values))} if marked else None
    return power_check(tray.tray(), at, [(suspect(name), 0.4)], marked=other, propose=False)  # type: ignore[arg-type]


def test_before_and_after_against_ngspice() -> None:
    """Q10 shorted at full load: the crowbar fires, F2 carries what ngspice says and opens; the
    rails left are those of ngspice with F2 out."""
    (story,) = [s for s in check("Q10 c-e short").fuses if s.opens]
    before = tray.by_ngspice("Q10 c-e short", FULL, ["v5r", "v5f"])
    gone = FULL.with_change(Change("F2", "removed"))
    after = tray.by_ngspice("Q10 c-e short", gone, ["p5", "p12", "n12"])
    assert before is not None and after is not None and story.rails is not None
    amps = (before["v5r"] - before["v5f"]) / 12.5e-3
    assert story.opens == ("F2",)
    drawn = tray.tray().assembly.parts["F2"]
    assert isinstance(drawn, Fuse)
    told = melting_time(drawn, amps / 8.0)
    assert told is not None and story.most == pytest.approx(told[1], rel=0.25)  # a steep curve
    assert "R21 takes" in story.until
    for rail, net in (("P5", "p5"), ("P12", "p12"), ("N12", "n12")):
        assert story.rails[rail] == pytest.approx(after[net], rel=0.01, abs=0.03), rail


def test_heat_is_cut_short_and_the_rest_is_looked_at() -> None:
    found = check("Q10 c-e short")
    r21 = next(f for f in found.findings if f.part == "R21")
    assert r21.when == "until F2 opens" and r21.ratio > 5.0
    assert any("until F2 opens" in o for o in found.objections)
    assert found.verdict.startswith("do not energise")


def test_an_oversize_fuse_does_not_open_and_the_wiring_pays() -> None:
    """The 15 A somebody fitted holds 19 A for an hour or more; the 8 A drawn would have opened."""
    found = check("Q10 c-e short", marked="15A")
    assert not any(s.opens for s in found.fuses)
    (story,) = found.fuses
    assert "F2, 15 A F" in story.words and "where the 8.0 A drawn opens within" in story.words
    assert "R21" in story.words and "AWG" in story.words and "wide" in story.words
    # By hand, IPC-2221 outside at 10 K, 19 A: (19/(0.048 x 10^0.44))^(1/0.725) = 945 mil2, 17.4 mm
    # of 35 um copper.
    width = re.search(r"trace ([0-9.]+) mm wide", story.words)
    assert width is not None and float(width[1]) == pytest.approx(17.4, rel=0.03)
    r21 = next(f for f in found.findings if f.part == "R21")
    assert r21.when == "" and r21.chance > 0.3
    fuse_itself = next(f for f in found.findings if f.part == "F2")
    assert fuse_itself.limit == 15.0


def test_healthy_opens_nothing() -> None:
    found = check("R24 open")
    assert found.fuses == () and all(f.when == "" for f in found.findings)


TEXT = """assembly: Bench eleven
parts:
  S1: {kind: supply, volts: 24V, ohms: 0.5R, pos: raw, neg: com}
  F1: {kind: fuse, amps: 1A, speed: F, a: raw, b: top}
  R1: {kind: resistor, value: 20R, power: 50W, a: top, b: com}
  R2: {kind: resistor, value: 100R, power: 5W, a: raw, b: com}
  R3: {kind: resistor, value: 100R, power: 10W, a: top, b: com}
  R4: {kind: resistor, value: 470R, power: 0.25W, a: raw, b: mid}
  R5: {kind: resistor, value: 47R, power: 0.25W, a: mid, b: top}
  R6: {kind: resistor, value: 100R, power: 0.25W, a: mid, b: com}
rails:
  TOP: {net: top, limits: 20..24V}
"""


@pytest.fixture
def bench(tmp_path: Path) -> Machine:
    file = tmp_path / "b.yaml"
    file.write_text(TEXT)
    assembly, problems = load(file)
    assert assembly is not None, problems
    return Machine(assembly)


def test_expectations_tell_both(bench: Machine) -> None:
    """R3 shorted puts 24 V on 0.5 ohm and the fuse: by hand 24/(0.5+0.1+0.1) at most; then what
    is left comes through R4 and R5: 24 V x (R5 in parallel R6)/(470 + that) at mid, nearly."""
    at = Condition("supply")
    laid = next(h for h in single_faults(bench.assembly) if h.name == "R3 short").changes
    table = predict(bench, at, [laid], moves=[])
    opening, after = blown(bench, at, laid, table)
    assert [o.part for o in opening] == ["F1"] and after is not None
    assert opening[0].amps == pytest.approx(24.0 / (0.5 + 0.1 + 1 / 10.0), rel=0.15)
    mid = 24.0 * (1 / (1 / 47.0 + 1 / 100.0)) / (470.5 + 1 / (1 / 47.0 + 1 / 100.0))
    assert float(after.mean[0, after.column("mid")]) == pytest.approx(mid, rel=0.02)
    healthy = predict(bench, at, [{}], moves=[])
    assert blown(bench, at, {}, healthy) == ((), None)


def test_what_is_left_may_burn_too(bench: Machine) -> None:
    """With F1 open R4 carries the shorted rail's current: looked at afterwards as well."""
    faults = [h for h in single_faults(bench.assembly) if h.name == "R3 short"]
    found = power_check(bench, Condition("supply"), [(faults[0], 0.5)], propose=False)
    after = {f.part: f for f in found.findings if f.when == "once F1 is open"}
    assert "R4" in after  # 24 V over 470 ohm and some 30 more: 1 W of a quarter
    assert after["R4"].value == pytest.approx(470.0 * (24.0 / 502.0) ** 2, rel=0.05)
    taken = {t.part: t for t in cascades(bench, faults, [Condition("supply")])["R3 short"]}
    assert taken["F1"].mode == "open" and "once F1 is open" in taken["R4"].words


def test_verdict_of_a_healthy_machine_whose_fuse_opens(tmp_path: Path) -> None:
    """A 0.25 A fuse in front of 1.2 A: the objection names it, with no suspect at all."""
    file = tmp_path / "b.yaml"
    file.write_text(TEXT.replace("amps: 1A", "amps: 250mA"))
    assembly, problems = load(file)
    assert assembly is not None, problems
    found = power_check(Machine(assembly), Condition("supply"), propose=False)
    (story,) = found.fuses
    assert story.under == HEALTHY and story.opens == ("F1",)
    assert "F1" in found.verdict and found.verdict.startswith("do not energise")
