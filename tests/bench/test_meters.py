"""Meters and scopes as they are: their claims, what they load, what they show of AC."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.reference.oracle import machine
from tests.simulator import deck

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.bench.expect import expect
from halfsplit.bench.session import Session
from halfsplit.diagnosis.meters import Meter, meters, scope_error
from halfsplit.faults.dictionary import predict
from halfsplit.faults.loaded import WORTH_ASKING, load
from halfsplit.faults.predictions import Predictions
from halfsplit.problems import NotFoundError, ProblemsError

DIVIDER = """
assembly: Two megohms
parts:
  S1: {kind: supply, volts: 10V, ohms: 10mohm, pos: vin, neg: com}
  R1: {kind: resistor, value: 1M, a: vin, b: mid}
  R2: {kind: resistor, value: 1M, a: mid, b: com}
"""
# Invented: a series regulator with a high-resistance divider, so that a meter on its tap is seen.
REGULATOR = """
assembly: High divider
parts:
  S1: {kind: supply, volts: 30V, ohms: 1ohm, pos: vin, neg: com}
  R1: {kind: resistor, value: 4k7, a: vin, b: drive}
  Q1: {kind: npn, gain_typical: 100, c: vin, b: drive, e: out}
  Q2: {kind: npn, gain_typical: 200, c: drive, b: tap, e: vz}
  D1: {kind: zener, value: 6.2V, power: 400mW, test_current: 5mA, impedance: 10ohm, a: com, k: vz}
  R2: {kind: resistor, value: 2k2, a: out, b: vz}
  R3: {kind: resistor, value: 47k, a: out, b: tap}
  R4: {kind: resistor, value: 47k, a: tap, b: com}
  R5: {kind: resistor, value: 1k, a: out, b: com}
"""


def read(circuit: Machine, net: str, ohms: float) -> tuple[Predictions, Predictions]:
    """Without a meter, and with one of `ohms` on a net."""
    condition = Condition(circuit.assembly.default_feed())
    bare = predict(circuit, condition, [{}], moves=[])
    each = np.array([ohms])
    return bare, load(circuit, condition, [{}], [], bare, net, "", each, least=WORTH_ASKING)


def test_ten_megohms_across_a_megohm_divider() -> None:
    """10 V, 1 M over 1 M, 10 Mohm meter: 4.762 V. Source: 10 || 1 = 0.90909 M; arithmetic."""
    bare, loaded = read(machine(DIVIDER), "mid", 10e6)
    assert bare.mean[0, bare.column("mid")] == pytest.approx(5.0, abs=1e-3)
    assert loaded.mean[0, loaded.column("mid")] == pytest.approx(4.762, abs=1e-3)
    assert loaded.loaded is not None and loaded.loaded.all()


def test_a_meter_on_a_feedback_point_moves_the_output() -> None:
    """20 kohm/V on its 10 V range at the divider tap: the loop holds the tap and the output rises.

    A divider worked out afterwards would have the tap fall and the output stay. By ngspice too.
    """
    circuit = machine(REGULATOR)
    meter = meters()["pointer-20k"]
    bare = predict(circuit, Condition(circuit.assembly.default_feed()), [{}], moves=[])
    tap, out = bare.column("tap"), bare.column("out")
    ohms = meter.input_ohms(float(bare.mean[0, tap]))
    assert ohms == 200e3  # 10 V range
    _, loaded = read(circuit, "tap", ohms)
    written = deck.write(circuit.topology, {})
    written.lines.append(f"Rmeter {written.net('tap')} 0 {ohms:g}")
    reference = deck.operating_point(written, ["tap", "out"])
    assert reference is not None
    assert loaded.mean[0, out] == pytest.approx(reference["out"], rel=0.005)
    assert loaded.mean[0, tap] == pytest.approx(reference["tap"], rel=0.005)
    assert loaded.mean[0, out] - bare.mean[0, out] > 1.0
    assert abs(loaded.mean[0, tap] - bare.mean[0, tap]) < 0.05  # held; a passive divider: -0.7 V


def test_the_bench_says_what_the_meter_moves(tmp_path: Path) -> None:
    file = tmp_path / "regulator.yaml"
    rail = "rails:\n  OUT: {net: out, limits: 13..16V}\n"
    file.write_text(REGULATOR + rail, encoding="utf-8")
    with Session(file) as session:
        assert expect(session, ["tap"], [session.condition])[0].disturbs == ()
        session.set_meter(kind="pointer-20k")
        ((name, change),) = expect(session, ["tap"], [session.condition])[0].disturbs
        assert name == "OUT" and change == pytest.approx(6.89 / 200e3 * 47e3, rel=0.06)


def test_a_light_meter_is_not_solved_for() -> None:
    """10 Mohm on a 2.6 ohm output moves nothing: the table comes back as it was."""
    bare, loaded = read(machine(REGULATOR), "out", 10e6)
    assert loaded is bare


def test_expected_reading_has_the_meter_in_it(tmp_path: Path) -> None:
    file = tmp_path / "divider.yaml"
    file.write_text(DIVIDER, encoding="utf-8")
    with Session(file) as session:
        line = expect(session, ["mid"], [session.condition])[0]
        assert line.mean == pytest.approx(4.762, abs=1e-3)
        session.set_meter(kind="pointer-20k")
        line = expect(session, ["mid"], [session.condition])[0]
        # 10 V range, 200 kohm || 1 M = 166.67 k: 10 * 166.67/1166.67 = 1.4286 V
        assert line.mean == pytest.approx(1.4286, abs=1e-3)
        # Read 1.43 V on that range: what a healthy divider shows through this meter.
        session.set_meter(scale="10V")
        session.read("mid", "1.43")
        (item,) = session.evidence()
        expected = session.belief.expect(session.lookup(item, session.hypotheses), item)
        assert expected.mean[0] == pytest.approx(1.4286, abs=0.02)
        with pytest.raises(NotFoundError, match="pointer-20k"):
            session.set_meter(kind="nonesuch")


def test_a_digital_meters_claim() -> None:
    """0.5 % + 2 counts at 15.00 V, 0.01 V a count: 0.095 V. Source: direct-voltage accuracy table
    of a maker's manual for a 6000-count meter, read second-hand."""
    assert Meter().limit(15.0, 0.01) == pytest.approx(0.095)
    assert Meter().sigma(15.0, 0.01) == pytest.approx(0.0475)


def test_a_pointer_goes_by_its_range() -> None:
    """3 % of 50 V is 1.5 V wherever the pointer stands; 20 kohm/V makes that range 1 Mohm."""
    meter = meters()["pointer-20k"]
    assert meter.range_for(12.0) == 50.0
    assert meter.limit(12.0, 0.0) == pytest.approx(1.5)
    assert meter.input_ohms(12.0) == 1e6


@pytest.mark.parametrize(
    ("peak_to_peak", "error"),
    [(0.043, 0.0024), (0.9, 0.048), (7.9, 0.24), (8.0, 0.24), (8.1, 0.48)],
)
def test_a_scope_errs_by_its_full_scale(peak_to_peak: float, error: float) -> None:
    """3 % of eight divisions of the 1-2-5 step it fits on: 43 mV fits 10 mV a division, 2.4 mV.

    Source: plus or minus 3 % of full scale, makers' manuals, read second-hand; steps arithmetic.
    """
    assert scope_error(peak_to_peak) == pytest.approx(error)


def wave(kind: str, count: int = 4096) -> np.ndarray:
    t = (np.arange(count) + 0.5) / count
    return {
        "sine": math.sqrt(2) * np.sin(2 * np.pi * t),
        "square": np.where(t < 0.5, 1.0, -1.0),
        "triangle": math.sqrt(3) * (4 * np.abs(t - 0.5) - 1),
        "full-wave": np.abs(math.sqrt(2) * np.sin(2 * np.pi * t)),
        "half-wave": np.maximum(2.0 * np.sin(2 * np.pi * t), 0.0),
    }[kind]


# Waves of 1 V rms, their direct part blocked: sine-scaled average, and true rms. Published: table
# of waveforms in the maker's manual of a hand-held meter sold in both sorts, read second-hand.
# Closed forms give the same: square pi/(2 sqrt 2) = 1.1107, triangle 1.1107 sqrt(3)/2 = 0.9619,
# full-wave sqrt(1 - 8/pi^2) = 0.4352, half-wave sqrt(1 - 4/pi^2) = 0.7712. The average of the
# half-wave is the one where the table (0.764) and the closed form differ: with s = asin(1/pi),
# 1.1107 (4 cos s - (2/pi) (pi - 2 s)) / pi = 0.7794, taken here.
PUBLISHED = {
    "sine": (1.000, 1.000),
    "square": (1.110, 1.000),
    "triangle": (0.960, 1.000),
    "full-wave": (0.421, 0.435),
    "half-wave": (0.7794, 0.771),
}


@pytest.mark.parametrize("kind", PUBLISHED)
def test_alternating_volts_of_known_waves(kind: str) -> None:
    slow = 1.0 / 50.0 / 4096
    average, rms = PUBLISHED[kind]
    assert Meter(ac="true-rms").alternating(wave(kind), slow) == pytest.approx(rms, abs=1e-3)
    # The table gives two or three figures: 0.960 stands for 0.9619.
    assert Meter(ac="average").alternating(wave(kind), slow) == pytest.approx(average, abs=2.5e-3)


def test_sixty_four_samples_are_enough() -> None:
    for kind, (_, rms) in PUBLISHED.items():
        meter = Meter(ac="true-rms")
        assert meter.alternating(wave(kind, 64), 1e-4) == pytest.approx(rms, rel=5e-3)


def test_a_meter_that_does_not_block_reads_a_battery() -> None:
    """10 V direct through a full bridge scaled for a sine: 11.1 V; a blocked one shows nothing."""
    level = np.full(64, 10.0)
    assert meters()["pointer-20k"].alternating(level, 1e-4) == pytest.approx(11.107, abs=1e-3)
    assert meters()["digital"].alternating(level, 1e-4) == pytest.approx(0.0, abs=1e-9)
    # True rms of 3 V alternating on 4 V direct, not blocked: 5 V.
    both = Meter(ac="true-rms", blocks=False).alternating(3.0 * wave("sine") + 4.0, 1e-5)
    assert both == pytest.approx(5.0, rel=1e-3)


def test_rows_of_their_own_period() -> None:
    """50 Hz and 1 kHz on a meter that ends at 1 kHz: 1/sqrt(1.0025) and 1/sqrt(2)."""
    meter = Meter(ac="true-rms", bandwidth=1000.0)
    two = meter.alternating(np.stack([wave("sine")] * 2), np.array([0.02, 1e-3]) / 4096)
    assert two == pytest.approx([0.9988, 0.7071], rel=1e-3)


def test_bandwidth_rolls_off() -> None:
    """A sine at the bandwidth reads 1/sqrt(2), whatever it responds to: -3 dB."""
    for kind in ("average", "true-rms"):
        meter = Meter(ac=kind, bandwidth=1000.0)  # type: ignore[arg-type]
        at = meter.alternating(wave("sine"), 1e-3 / 4096)
        assert at == pytest.approx(1 / math.sqrt(2), rel=2e-3)
    with pytest.raises(ValueError, match="no alternating range"):
        Meter().alternating(wave("sine"), 1e-5)


def test_every_shipped_meter_has_a_load_and_a_claim() -> None:
    for name, meter in meters().items():
        assert meter.input_ohms(1.0) > 0 and meter.limit(1.0, 0.01) > 0, name


def test_a_heavy_meters_reading_is_weighed_as_that_meter_reads(tmp_path: Path) -> None:
    """1.43 V at the middle of the divider: healthy on 20 kohm/V, a fault on 10 Mohm."""
    chances = []
    for kind in ("pointer-20k", "digital"):
        file = tmp_path / kind / "divider.yaml"
        file.parent.mkdir()
        file.write_text(DIVIDER, encoding="utf-8")
        with Session(file) as session:
            session.set_meter(kind=kind, scale="10V" if kind == "pointer-20k" else None)
            session.read("mid", "1.43")
            chances.append(session.belief.weights()[0] / session.hypotheses[0].prior)
    assert chances[0] > 1.0 > chances[1]  # for "no fault", against the digital one


def test_figures_are_of_a_plain_digital_meter_unless_a_kind_is_named(tmp_path: Path) -> None:
    """A pointer's scale and AC law say nothing of the meter whose figures are typed after it."""
    file = tmp_path / "divider.yaml"
    file.write_text(DIVIDER, encoding="utf-8")
    with Session(file) as session:
        session.set_meter(kind="pointer-20k", scale="100V")
        session.set_meter(ohms="10M", accuracy="0.5%")
        assert session.meter == meters()["digital"]
        session.set_meter(kind="pointer-20k", of_range="2%")
        assert session.meter == replace(meters()["pointer-20k"], full_scale=0.02)
        session.set_meter(scale="10V")  # its switch turned: the same meter still
        assert session.meter.sensitivity == 20e3 and session.meter.range_volts == 10.0
        # Of full scale, and a plain digital meter has none that is known: it would come to nothing.
        with pytest.raises(ProblemsError, match="full scale"):
            session.set_meter(of_range="3%")
        session.set_meter(of_range="3%", scale="25V")
        assert session.meter.limit(10.0, 0.0) == pytest.approx(0.05 + 0.75)
