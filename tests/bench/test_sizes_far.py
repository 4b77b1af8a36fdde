"""Leaks and shorts of sizes far from the usual, in a delay relay of ours; readings by hand,
but for those of the half ohm, which an ngspice deck typed by hand gave.

R1 charges C1 through 470k from 24 V; the zener behind it conducts from 9.1 V. Under that a leak of
C1 divides the 24 V with R1 alone, and the relay's coil of 700R stands across CR2.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from halfsplit.api import Bench, open_bench
from halfsplit.faults.hypotheses import FURTHER, SCALES, SHORT_UP_TO, single_faults

DELAY = """
assembly: Delay relay
parts:
  S1:  {kind: supply, volts: 24V, ohms: 1R, pos: vin, neg: com}
  F1:  {kind: fuse, amps: 1A, speed: F, a: vin, b: p24}
  R1:  {kind: resistor, value: 470k, power: 0.25W, a: p24, b: tc}
  C1:  {kind: electrolytic, value: 47u, volts: 35V, pos: tc, neg: com}
  CR1: {kind: zener, value: 9.1V, power: 400mW, test_current: 5mA, impedance: 10ohm, k: tc, a: zb}
  R2:  {kind: resistor, value: 100k, power: 0.25W, a: zb, b: com}
  Q1:  {type: BC108, c: c1, b: zb, e: e1}
  R3:  {kind: resistor, value: 22k, power: 0.25W, a: p24, b: c1}
  Q2:  {type: 2N2905A, c: rel, b: b2, e: p24}
  R4:  {kind: resistor, value: 10k, power: 0.25W, a: c1, b: b2}
  R5:  {kind: resistor, value: 100R, power: 0.25W, a: e1, b: com}
  K1:  {kind: relay, coil: 700R, volts: 24V, c1: rel, c2: com, a: p24, b: lmp}
  CR2: {type: 1N4148, a: com, k: rel}
  DS1: {kind: lamp, volts: 24V, amps: 100mA, a: lmp, b: com}
rails:
  P24: {net: p24, limits: 23..25V}
"""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    file = tmp_path / "delay.yaml"
    file.write_text(DELAY)
    with open_bench(file) as opened:
        opened.condition("supply", "none")
        yield opened


@pytest.mark.parametrize("kilohms", [4.7, 30.0, 60.0, 150.0])
def test_a_leak_of_any_size_is_found(bench: Bench, kilohms: float) -> None:
    """Two decades about: the usual leak of such a capacitor is taken as 1.75k."""
    volts = 24.0 * kilohms / (470.0 + kilohms)
    for net, shown in (("lmp", "0.00"), ("b2", "24.0"), ("tc", f"{volts:.3f}")):
        bench.read(net, shown)
    assert bench.suspects()[0].name == "C1 leaky"
    bench.condition(feed="off")
    bench.read("tc", f"{kilohms:.4g}k", quantity="ohms")
    decided = bench.decided()
    assert decided is not None and decided.name == "C1 leaky"


@pytest.mark.parametrize("ohms", [0.12, 0.5])
def test_so_is_a_short_by_an_ohmmeter(bench: Bench, ohms: float) -> None:
    """Q2 drives about 0.29 A into it, as that deck has it. A coil shorted within is taken as a few
    ohms, which would leave too much there and read too much dead."""
    bench.read("lmp", "0.00")
    bench.read("rel", f"{0.29 * ohms:.3f}")
    bench.condition(feed="off")
    bench.read("rel", f"{1.0 / (1.0 / ohms + 1.0 / 700.0):.3f}", quantity="ohms")
    assert bench.suspects()[0].name == "CR2 short"
    assert bench.blamed()["CR2"] > 0.98  # and Q2 perhaps, which it may have taken along


def test_a_short_of_half_an_ohm_is_not_put_down_to_the_coil(bench: Bench) -> None:
    """All three as the deck gave them."""
    for net, shown in (("lmp", "0.00"), ("b2", "22.89"), ("rel", "0.145")):
        bench.read(net, shown)
    assert bench.decided() is None
    assert bench.blamed()["CR2"] > 0.1


def test_sizes_of_each_fault_and_their_odds(bench: Bench) -> None:
    alone = {h.name: h.faults[0] for h in single_faults(bench.session.assembly) if h.faults}
    leak, short, value = alone["C1 leaky"], alone["CR2 short"], alone["C1 value half"]
    assert leak.scales == (*SCALES, *FURTHER) and value.scales == SCALES
    ohms = {1.0 / v for v in short.at(max(short.scales)).changes.values()}
    assert max(ohms) == pytest.approx(10.0)
    cap = alone["C1 short"]
    ends = sorted(1.0 / v for s in cap.scales for v in cap.at(s).changes.values())
    assert ends[-1] <= SHORT_UP_TO < 2.2 * ends[-1]
    assert alone["C1 open"].scales == ()
    for fault in (leak, short, value):  # what is left is the usual size's
        sized = sum(fault.at(s).odds for s in fault.scales)
        assert sized == pytest.approx(0.72 * fault.odds)


def test_a_machine_without_a_fault_is_headed_by_none(bench: Bench) -> None:
    """Though what shows nowhere weighs more: dried out capacitors, of which nothing here tells. The
    readings are those expected: this is about what is said of them, not whether they are right."""
    at = {net: bench.expect(net)[0] for net in ("p24", "tc", "b2", "rel", "lmp")}
    for net, volts in at.items():
        bench.read(net, f"{volts:.2f}")
    lead = bench.suspects()[0]
    assert lead.name == "no fault" and lead.faults == () and lead.alternatives
