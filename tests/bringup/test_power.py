"""The power check's words and proposals, stress of single parts, and what faults take along."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.assembly.condition import Change, Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.power import HEALTHY, power_check, worst_of
from halfsplit.faults.cascades import cascades
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.stress import stresses
from tests.simulator import stile, tray

TEXT = """assembly: Bench ten
parts:
  S1: {kind: supply, volts: 20V, ohms: 1mohm, pos: raw, neg: com}
  R1: {kind: resistor, value: 10R, power: 5W, a: raw, b: out}
  R2: {kind: resistor, value: 90R, power: 5W, a: out, b: com}
  C1: {kind: electrolytic, value: 100u, volts: 16V, pos: out, neg: com}
  C2: {kind: tantalum, value: 10u, volts: 25V, pos: com, neg: out}
"""


@pytest.fixture
def bench(tmp_path: Path) -> Machine:
    file = tmp_path / "b.yaml"
    file.write_text(TEXT)
    assembly, problems = load(file)
    assert assembly is not None, problems
    return Machine(assembly)


def test_watts_volts_and_polarity_by_ohms_law(bench: Machine) -> None:
    """20 V over 10 and 90 ohm, and over 10 ohm alone: by hand."""
    found = stresses(bench, Condition("supply"), [{}, {("C1", "g"): 1e3}])
    assert worst_of(found, 0, "watts", "R2")[1] == pytest.approx(18.0**2 / 90.0, rel=1e-3)
    assert worst_of(found, 1, "watts", "R1")[2] == pytest.approx(40.0 / 5.0, rel=0.01)
    assert worst_of(found, 0, "volts", "C1")[2] == pytest.approx(18.0 / 16.0, rel=1e-3)
    assert worst_of(found, 0, "reverse", "C2")[1] == pytest.approx(18.0, rel=1e-3)
    words = [o.words for o in found.over(0)]
    assert any("C2 has 18.00 V the wrong way round" in w for w in words)
    assert any("C1 has 18.00 V across it: 1.1 times its 16.00 V" in w for w in words)


def test_verdict_says_do_not_energise_and_never_the_other_word(bench: Machine) -> None:
    check = power_check(bench, Condition("supply"), propose=False)
    assert check.verdict.startswith("do not energise: ") and "C2" in check.verdict
    assert check.at == "20.00 V of S1"
    good = power_check(tray.tray(), Condition("raws", "full"), propose=False)
    assert good.verdict.startswith("no objection found at 10.80 V on v5r, 20.50 V on vrpr")
    assert "limits to watch" in good.verdict
    assert "safe" not in (check.verdict + good.verdict).lower()


def test_a_bypassed_fuse_is_an_objection() -> None:
    condition = Condition("raws", "none", (Change("F2", "bypassed"),))
    assert "F2 is bypassed" in power_check(tray.tray(), condition, propose=False).verdict


def test_the_verdict_names_what_an_unlikely_suspect_would_do() -> None:
    """C4 shorted puts 20 W into Q1 (design notes), too hot for its heatsink: with a weight of 3 in
    a thousand no objection, but a limit to watch, and never "no part above 80 %"."""
    machine = tray.tray()
    (short,) = [h for h in single_faults(machine.assembly) if h.name == "C4 short"]
    found = power_check(machine, Condition("raws", "half"), [(short, 0.003)], propose=False)
    assert not found.objections and found.verdict.startswith("no objection found at")
    assert found.verdict.count("Q1") == 1 and "if C4 short (0 %)" in found.verdict
    assert "no part above" not in found.verdict


def test_suspects_count_by_weight_and_a_repaired_one_not_at_all() -> None:
    machine = tray.tray()
    (short,) = [h for h in single_faults(machine.assembly) if h.name == "Q10 c-e short"]
    hot = power_check(machine, Condition("raws", "full"), [(short, 0.4)], propose=False)
    assert "R21" in hot.verdict and "Q10 c-e short (40 %)" in hot.verdict
    assert hot.damage > 0.1
    light = power_check(machine, Condition("raws", "full"), [(short, 0.001)], propose=False)
    assert not light.objections and any(f.under != HEALTHY for f in light.findings)
    mended = Condition("raws", "full", (Change("Q10", "fitted"),))
    assert not power_check(machine, mended, [(short, 0.4)], propose=False).objections


def test_lightest_energising_teaches_and_hurts_nothing() -> None:
    """The master rail's raw alone, 100 mA or so: what the wise path of the tray's notes does."""
    machine = tray.tray()
    asked = ("C4 short", "R3 open", "CR3 open", "Q4 open base")
    cases = [(h, 0.2) for h in single_faults(machine.assembly) if h.name in asked]
    found = power_check(machine, Condition("raws", "none"), cases).lightest
    first = found[0]
    assert first.teaches == pytest.approx(1.0) and first.risk <= 0.01
    assert first.amps <= 0.2 and "mains unplugged" in first.words
    assert found[-1].lamp > 0.0


def test_open_freewheel_diode_blows_the_switch() -> None:
    """With CR5 open the choke drives sw to -190 V at 0.8 A (design notes, by a general circuit
    simulator; ngspice gives it live in test_stile): 218 V across a switch of 80 V."""
    machine, at = stile.machine(), Condition("raw", "lamp")
    found = stresses(machine, at, [{}, tray.modes(machine, "CR5 open")])
    limit, value, ratio = worst_of(found, 1, "volts", "Q1")
    assert limit.limit == 80.0
    assert value == pytest.approx(28.0 + 190.0, rel=0.15)
    assert ratio > 2.0 > worst_of(found, 0, "volts", "Q1")[2]
    (fault,) = [h for h in single_faults(machine.assembly) if h.name == "CR5 open"]
    taken = cascades(machine, [fault], [at])["CR5 open"]
    assert ("Q1", "c-e short") in {(t.part, t.mode) for t in taken}


def test_what_a_shorted_pass_transistor_takes_along() -> None:
    """Q10 shorted at full load: 0.18 ohm takes the raw rail less the load's share, by hand within a
    tenth; the fuse opens; nothing is claimed of parts that work as before."""
    machine = tray.tray()
    listed = [h for h in single_faults(machine.assembly) if h.name in ("Q10 c-e short", "R24 open")]
    found = cascades(machine, listed, [Condition("raws", "full"), Condition("raws", "none")])
    taken = {t.part: t for t in found["Q10 c-e short"]}
    assert taken["R21"].mode == "open" and 0.3 < taken["R21"].chance <= 0.95
    assert taken["F2"].mode == "open" and "Q10" not in taken
    amps = 10.8 / (0.155 + 0.0125 + 0.01 + 0.18)  # into the fired crowbar, less its volt or so
    assert taken["R21"].ratio < 0.18 * amps**2 / 10.0
    assert found["R24 open"] == []
