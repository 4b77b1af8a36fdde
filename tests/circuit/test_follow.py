"""Self-oscillating circuits followed to their limit cycle, against arithmetic done by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from halfsplit.circuit import elements as el
from halfsplit.circuit.follow import follow
from halfsplit.circuit.netlist import Netlist
from halfsplit.circuit.solution import Rhythm, Solution, Status, told
from halfsplit.circuit.topology import Topology, compile_netlist

VIN, L, ESR, LOAD = 28.0, 150e-6, 0.030, 1.25


def resistor(name: str, a: str, b: str, ohms: float) -> el.Resistor:
    return el.Resistor(name, (a, b), {"g": 1.0 / ohms})


def source(name: str, net: str, volts: float, ohms: float = 1e-3) -> el.Source:
    return el.Source(name, (net, "com"), {"dc": volts, "g": 1.0 / ohms})


def hysteretic() -> Topology:
    """An open-collector comparator with hysteresis, two drivers, a PNP switch, choke and output."""
    net = Netlist()
    sinks = {"gain": 1e5, "gout": 0.05, "low": 0.1, "high": 0.5, "limit": 0.02, "collector": 1.0}
    small = {"ist": 1e-14, "isf": 1e-16, "isr": 1e-14}
    net.add(
        source("V", "raw", VIN, 0.01),
        source("H", "h12", 12.0, 1.0),
        source("R", "refs", 5.0, 1.0),
        resistor("R9", "refs", "refn", 1e3),
        el.Capacitor("C10", ("refn", "com"), {"c": 1e-6, "esr": 1.0}),
        resistor("R21", "refn", "vp", 1e3),
        resistor("R11", "cmp", "vp", 180e3),
        el.Amplifier("U1", ("vp", "out", "cmp", "h12", "com"), sinks),
        resistor("R5", "h12", "cmp", 2.2e3),
        resistor("R12", "cmp", "qb3", 2.2e3),
        el.Bjt("Q3", ("qc3", "qb3", "qb2"), small),
        resistor("R6", "h12", "qc3", 220.0),
        resistor("R4", "qb2", "com", 220.0),
        el.Bjt("Q2", ("qc2", "qb2", "com"), {"ist": 1e-13, "isf": 1e-15, "isr": 1e-14}),
        resistor("R3", "qb", "qc2", 56.0),
        resistor("R2", "qb", "raw", 22.0),
        el.Bjt("Q1", ("sw", "qb", "raw"), {"pol": -1.0, "ist": 1e-12, "isf": 2e-14, "isr": 1e-12}),
        el.Diode("CR5", ("com", "sw"), {"is": 1e-9, "nvt": 0.045}),
        el.Capacitor("C4", ("sw", "snb"), {"c": 10e-9}),
        resistor("R14", "snb", "com", 10.0),
        el.Inductor("L1", ("sw", "out"), {"l": L, "r": 0.01}),
        el.Capacitor("C5", ("out", "com"), {"c": 4400e-6, "esr": ESR}),
        resistor("RL", "out", "com", LOAD),
    )
    return compile_netlist(net)


def run(topology: Topology, **changes: float) -> tuple[Solution, Rhythm]:
    laid = {tuple(k.split("_")): v for k, v in changes.items()}
    return follow(topology, topology.rows([laid]))  # type: ignore[list-item]


def test_frequency_of_a_hysteretic_step_down_by_hand() -> None:
    """f = (Vin - Vo) (Vo + Vd) ESR / ((Vin + Vd) L Vh): the ripple is the choke's, across the ESR.

    Source: common practice, no published source; the formula of the design notes with the
    freewheel diode's drop Vd put in. It knows no delays, and takes all of the choke's ripple
    through the ESR.
    """
    top = hysteretic()
    solved, rhythm = run(top)
    status = Status(int(solved.status[0]))
    assert status is Status.OSCILLATING
    out, vp = top.net_index["out"], top.net_index["vp"]
    volts = float(solved.mean[0, out])
    window = float(solved.high[0, vp] - solved.low[0, vp])
    # By hand: the comparator's output swings from about 0.2 V to the divider R5, R12 with two
    # base drops, 6.7 V, and R11 brings 1/181 of it to the input.
    assert window == pytest.approx(6.5 / 181.0, rel=0.05)
    drop = 0.045 * math.log(4.0 / 1e-9)  # of the diode at the load's current, by its own law
    by_hand = (VIN - volts) * (volts + drop) * ESR / ((VIN + drop) * L * window)
    assert 1.0 / rhythm.period[0] == pytest.approx(by_hand, rel=0.06)
    assert rhythm.duty[0] == pytest.approx((volts + 0.95) / (VIN + 0.85), rel=0.03)
    choke = top.element_index["L1"]
    assert rhythm.held_mean[0, choke] == pytest.approx(volts / LOAD, rel=0.02)
    assert "oscillating at" in told(status, float(rhythm.period[0]))


def test_frequency_follows_the_capacitor() -> None:
    """A sixth of the resistance, about a sixth of the frequency: why low-ESR parts howl."""
    top = hysteretic()
    _, normal = run(top)
    _, low = run(top, C5_esr=ESR / 6.0)
    assert low.period[0] > 3.0 * normal.period[0]


def test_a_circuit_that_stands_still_says_so() -> None:
    """The switch shorted: nothing beats any more, and Ohm's law gives the output."""
    top = hysteretic()
    solved, rhythm = run(top, Q1_gce=1e3)
    assert Status(int(solved.status[0])) is Status.SOLVED
    assert rhythm.period[0] == 0.0
    out = float(solved.mean[0, top.net_index["out"]])
    assert out == pytest.approx(VIN * LOAD / (LOAD + 0.01 + 1e-3 + 0.01), rel=3e-3)
    assert solved.residual[0] < 1e-6


def test_a_ringing_choke_decays_as_the_arithmetic_says() -> None:
    """Half a joule put in a damped circuit: it ends at rest, and the row says steady."""
    net = Netlist()
    net.add(
        source("V", "a", 10.0),
        el.Inductor("L1", ("a", "b"), {"l": 1e-3, "r": 1.0}),
        el.Capacitor("C1", ("b", "com"), {"c": 10e-6, "esr": 1e-3}),
        resistor("R", "b", "com", 1e3),
    )
    top = compile_netlist(net)
    solved, _ = follow(top, top.rows([{}]))
    assert Status(int(solved.status[0])) is Status.SOLVED
    assert solved.mean[0, top.net_index["b"]] == pytest.approx(10.0 * 1000.0 / 1001.0, rel=1e-4)


def test_stored_charge_of_a_diode_by_hand() -> None:
    """A diode carrying If, then driven to Ir, blocks only after tt ln(1 + If/Ir).

    Source: the usual charge-control result (R. H. Kingston, Proc. IRE 42, 1954), from memory,
    unconfirmed. Here a relaxation drives a square wave of 10 V both ways through 1 kohm: what the
    charge adds to the mean voltage of the diode is its share of a half period.
    """
    storage = 20e-6 * math.log(2.0)
    net = Netlist()
    swing = {"gain": 1e5, "gout": 10.0, "high": 0.0, "low": 0.0, "limit": 1.0, "gq": 0.0}
    net.add(
        source("P", "vp", 10.0),
        source("N", "vn", -10.0),
        el.Amplifier("U1", ("half", "cap", "sq", "vp", "vn"), swing),
        resistor("R1", "sq", "half", 10e3),
        resistor("R2", "half", "com", 10e3),
        resistor("R3", "sq", "cap", 10e3),
        el.Capacitor("C1", ("cap", "com"), {"c": 20e-9, "esr": 1e-2}),
        resistor("R4", "sq", "d", 1e3),
        el.Diode("D1", ("d", "com"), {"is": 1e-12}),
    )
    top = compile_netlist(net)
    # An offset starts the relaxation, whose period is 2 R C ln 3 (by hand).
    plain, beat = follow(top, top.rows([{("U1", "offset"): 1e-3}]))
    slow, _ = follow(top, top.rows([{("U1", "offset"): 1e-3, ("D1", "tt"): 20e-6}]))
    assert Status(int(plain.status[0])) is Status.OSCILLATING
    period = 2.0 * 10e3 * 20e-9 * math.log(3.0)
    assert beat.period[0] == pytest.approx(period, rel=0.02)
    d = top.net_index["d"]
    gain = float(slow.mean[0, d] - plain.mean[0, d])
    # For that long the diode stays near +0.6 V where it would have gone to -10 V.
    assert gain == pytest.approx(10.6 * storage / period, rel=0.25)


def test_every_row_of_a_batch_ends_with_a_word() -> None:
    top = hysteretic()
    rows = top.rows([{("RL", "g"): 1.0 / ohms} for ohms in (0.6, 1.0, 2.0)])
    solved, rhythm = follow(top, rows)
    for row, status in enumerate(solved.status):
        assert Status(int(status)) in (Status.OSCILLATING, Status.SOLVED)
        assert told(Status(int(status)), float(rhythm.period[row]))
        assert solved.residual[row] < 1e-6
    assert np.isfinite(solved.mean).all()
