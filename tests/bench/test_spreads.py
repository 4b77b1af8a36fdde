"""Spreads drawn on demand: for whom, at what nets, once, and what they do to the suspects."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from tests.simulator import tray

from halfsplit.assembly.condition import Condition
from halfsplit.bench.draws import HEAVIEST, Draws
from halfsplit.bench.expect import expect
from halfsplit.bench.session import Session
from halfsplit.faults.sampling import Sampler

# A thyristor whose gate stands at its trigger point: fired in some specimens, not in others.
GATE = """assembly: Bench ten
parts:
  S1: {kind: supply, volts: 5V, ohms: 10mohm, pos: vcc, neg: com}
  R1: {kind: resistor, value: 100R, power: 1W, a: vcc, b: out}
  R2: {kind: resistor, value: 850R, a: vcc, b: gate}
  SCR1: {kind: scr, volts: 50V, amps: 4A, trigger_volts: 0.7V, trigger_amps: 5mA,
         holding_amps: 5mA, a: out, k: com, g: gate}
"""


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the demo tray, with an empty cache."""
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))
    return Path(shutil.copy(tray.EXAMPLE, tmp_path / "pt3.yaml"))


def _gate(tmp_path: Path) -> Path:
    path = tmp_path / "gate.yaml"
    path.write_text(GATE)
    return path


def test_only_rows_that_carry_weight_are_tried_and_only_once(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: list[int] = []
    pilots = Sampler.pilots

    def counted(self: Sampler, rows):  # type: ignore[no-untyped-def]
        tried.append(len(rows))
        return pilots(self, rows)

    monkeypatch.setattr(Sampler, "pilots", counted)
    with Session(file) as session:
        session.set_condition(Condition("raws", "half"))
        session.read("n12", "-1.81")
        weights = session.belief.weights()
        first = session.next_checks()
        assert 1 <= sum(tried) <= 6 * HEAVIEST < len(session.hypotheses)
        assert session.condition in session.draws._known  # whoever is tried is remembered

    def never(self: Sampler, *_):  # type: ignore[no-untyped-def]
        raise AssertionError("drawn again")

    monkeypatch.setattr(Sampler, "pilots", never)
    monkeypatch.setattr(Sampler, "draw", never)
    with Session(file) as session:
        assert session.belief.weights() == pytest.approx(weights, abs=1e-6)
        assert [c.candidate for c in session.next_checks()] == [c.candidate for c in first]


def test_either_of_two_readings_is_that_of_a_good_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Slopes know one state of the thyristor only. With draws a reading of the other makes "no
    fault" likelier than it was, one between the two does not, and what to expect names both."""
    with Session(_gate(tmp_path)) as session:
        line = expect(session, ["out"], [session.condition])[0]
        assert line.note.startswith("bistable: out reads about")
        assert line.high - line.low > 3.0  # both states lie within
        table = session.table(session.condition)
        assert table.mean[0, table.column("out")] < 1.5  # marked values fire it
        prior = session.hypotheses[0].prior
    weights = {}
    for way, value in (("drawn", "5.0"), ("drawn", "3.0"), ("slopes", "5.0")):
        (tmp_path / f"{way}{value}").mkdir()
        if way == "slopes":
            monkeypatch.setattr(Draws, "draw", lambda *_: False)
        with Session(_gate(tmp_path / f"{way}{value}")) as session:
            session.read("out", value)
            weights[way, value] = float(session.belief.weights()[0])
    assert weights["slopes", "5.0"] < 0.01 * prior
    assert weights["drawn", "5.0"] > prior
    assert weights["drawn", "3.0"] < prior


def test_a_fault_that_cannot_show_gains_nothing_by_a_reading(file: Path) -> None:
    """Fed by bench supplies, F1 in the mains lead carries nothing: whatever is read, and however
    far tolerances bend it, F1 open is as likely beside no fault as before. Readings of a good
    specimen that folds back early, by ngspice."""
    with Session(file) as session:
        session.set_condition(Condition("raws", "full"))
        for net, volts in (("qb14", "5.28"), ("p5", "4.84"), ("n12", "-12.35"), ("sns", "4.86")):
            session.read(net, volts)
        listed, weights = session.hypotheses, session.belief.weights()
        at = next(i for i, h in enumerate(listed) if h.name == "F1 open")
        prior = listed[at].prior / listed[0].prior
        assert weights[at] / weights[0] == pytest.approx(prior, rel=0.05)


@pytest.mark.long
def test_nor_does_it_beside_a_fault_that_was_mended(file: Path) -> None:
    """The same with F3 open, found and fitted: what is left of the two reads as a good machine."""
    with Session(file) as session:
        session.set_condition(Condition("raws", "bench"))
        session.read("p5", "-0.35")
        session.read("sum", "-6.55")
        session.change("F3 fitted")
        session.set_condition(replace(session.condition, load="full"))
        for net, volts in (("p5", "4.84"), ("sns", "4.86")):
            session.read(net, volts)
        listed, weights = session.hypotheses, session.belief.weights()
        at = {h.key: i for i, h in enumerate(listed)}
        alone, both = at[frozenset({"F3 open"})], at[frozenset({"F3 open", "F1 open"})]
        prior = listed[both].prior / listed[alone].prior
        assert weights[both] / weights[alone] == pytest.approx(prior, rel=0.05)


def test_a_hot_regulator_is_told_at_the_air_there_is(tmp_path: Path) -> None:
    """7 W from 12 V into 5 ohm at 25 K/W to air: what 150 degC allows, by the quadratic of source
    and load, worked out here; MC7800/D Rev 27 for 5 K/W to the case."""
    path = tmp_path / "reg.yaml"
    path.write_text(
        """assembly: Bench seven
parts:
  S1: {kind: supply, volts: 12V, ohms: 1mohm, pos: raw, neg: com}
  U1: {type: "7805", SINK in: raw, com: com, out: p5}
  R1: {kind: resistor, value: 5R, power: 10W, a: p5, b: com}
""".replace("SINK", "sink: 20K/W,")
    )
    for air in (25.0, 50.0):
        watts = (150.0 - air) / 25.0  # into 5 ohm from 12 V: (12 - 5 I) I = watts
        volts = 5.0 * (12.0 - (144.0 - 20.0 * watts) ** 0.5) / 10.0
        with Session(path) as session:
            at = session.condition_from(None, None, ambient=f"{air:g}degC")
            note = expect(session, ["p5"], [at])[0].note
        assert f"air {air:g} °C" in note and "U1 held at 150 °C" in note
        told = float(note.rpartition("about ")[2].split()[0])
        assert told == pytest.approx(volts, rel=0.04)
    plain = tmp_path / "plain.yaml"
    plain.write_text(path.read_text().replace("sink: 20K/W,", ""))
    with Session(plain) as session:
        assert expect(session, ["p5"], [session.condition])[0].note == ""
