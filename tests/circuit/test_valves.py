"""Valve elements by themselves: slopes, cut-off, latching, and a pentode wired as a triode."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from halfsplit.circuit import elements as el
from halfsplit.circuit.jit import NO, jit
from halfsplit.circuit.kernel import Work, assemble, assemble_straight, make_work
from halfsplit.circuit.netlist import Netlist
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status
from halfsplit.circuit.topology import Arrays, Topology, compile_netlist


@jit
def filled_in(ar: Arrays, p: Any, x: Any, hq: Any, latch: Any, w: Work) -> None:
    """Leave currents and slopes at `x` in `w`; only compiled code can call what does it."""
    assemble_straight(ar, p, x, hq, latch, 0.0, 0.0, 0.0, w)
    assemble(ar, p, x, hq, latch, 0.0, 0.0, NO, w)


def compiled(*elements: el.Element) -> Topology:
    """A topology of these elements."""
    net = Netlist("com")
    net.add(*elements)
    return compile_netlist(net)


def filled(topology: Topology, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Currents leaving the nets at `x`, and the dense matrix of their slopes."""
    ar = topology.arrays
    count = ar.code.size
    full = np.append(x, 0.0)
    latch = np.ones(count, dtype=np.int8)
    hq = np.zeros((count, 2))
    w = make_work(ar)
    row = topology.base
    filled_in(ar, row, full, hq, latch, w)
    a, f = w.a, w.f
    dense = np.zeros((ar.n, ar.n))
    for e in range(count):
        for i, ni in enumerate(ar.nodes[e]):
            for j, nj in enumerate(ar.nodes[e]):
                if ni < ar.n and nj < ar.n and ar.jac[e, i, j] < ar.lu.nnz:
                    dense[ni, nj] = a[ar.jac[e, i, j]]
    for i in range(ar.n):
        dense[i, i] = a[ar.self_pos[i]]
    return f[: ar.n].copy(), dense


LEAKS = {"gak": 1e-8, "ggk": 2e-8, "gag": 3e-8}


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(
    "element",
    [
        el.Triode("V", ("a", "g", "k"), LEAKS),
        el.Pentode("V", ("a", "g", "s", "k"), LEAKS | {"gsk": 1e-8, "gas": 1e-8}),
        el.Vacuum("V", ("a", "k"), {"k": 1e-3, "g": 1e-8}),
        el.Gas("V", ("a", "k")),
    ],
    ids=lambda e: type(e).__name__,
)
def test_slopes_are_those_of_the_currents(element: el.Element, seed: int) -> None:
    """Against central differences at random voltages, conducting, cut off, and the wrong way."""
    topology = compiled(element)
    random = np.random.default_rng(seed)
    scale = {"a": 250.0, "g": 6.0, "s": 200.0, "k": 20.0}
    x = np.array([random.uniform(-0.3, 1.0) * scale[n] for n in topology.nets])
    _, slopes = filled(topology, x)
    for j in range(len(x)):
        step = np.zeros(len(x))
        step[j] = 1e-4
        up, _ = filled(topology, x + step)
        down, _ = filled(topology, x - step)
        assert (up - down) / 2e-4 == pytest.approx(slopes[:, j], rel=1e-4, abs=1e-9)
    current, _ = filled(topology, x)
    assert abs(current.sum()) < 1e-9  # what goes in comes out (but for the leak to common)


def test_a_cold_or_dead_valve_passes_nothing() -> None:
    nets = el.Source("A", ("a", "com"), {"dc": 250.0}), el.Resistor("R", ("k", "com"), {"g": 1e-3})
    topology = compiled(*nets, el.Triode("V", ("a", "k", "k")))
    for key in ("heat", "emission"):
        found = operating_point(topology, topology.rows([{}, {("V", key): 0.0}]))
        volts = found.mean[:, topology.net_index["k"]]
        assert volts[0] > 0.5 and abs(volts[1]) < 1e-5


def test_half_the_emission_is_half_the_current() -> None:
    parts = el.Source("A", ("a", "com"), {"dc": 250.0}), el.Resistor("R", ("k", "com"), {"g": 1e6})
    topology = compiled(*parts, el.Triode("V", ("a", "com", "k")))
    found = operating_point(topology, topology.rows([{}, {("V", "emission"): 0.5}]))
    full, half = found.mean[:, topology.net_index["k"]]
    assert half / full == pytest.approx(0.5, rel=1e-4)


def test_a_pentode_wired_as_a_triode_adds_its_two_currents() -> None:
    """Screen on the anode's net: both currents leave one net, by the pentode's own law."""
    source = el.Source("A", ("a", "com"), {"g": 1e6, "dc": 200.0})
    topology = compiled(source, el.Source("G", ("g", "com"), {"g": 1e6, "dc": -10.0}),
                        el.Resistor("R", ("k", "com"), {"g": 1e6}),
                        el.Pentode("V", ("a", "g", "a", "k")))  # fmt: skip
    found = operating_point(topology, topology.rows([{}]))
    drive = 200.0 / 60.0 * np.log1p(np.exp(60.0 * (1 / 11.0 - 10.0 / np.sqrt(1.0 + 200.0**2))))
    want = drive**1.35 * (2.0 / 650.0 * np.arctan(200.0 / 24.0) + 1.0 / 4200.0)
    assert found.mean[0, topology.net_index["k"]] * 1e6 == pytest.approx(want, rel=1e-3)


def tube(feed: float, ohms: float, **values: float) -> tuple[float, bool, int]:
    """Volts on a tube fed through a resistor, whether it is lit, and the status."""
    topology = compiled(
        el.Source("S", ("raw", "com"), {"g": 1e3, "dc": feed}),
        el.Resistor("R", ("raw", "t"), {"g": 1.0 / ohms}),
        el.Gas("T", ("t", "com"), values),
    )
    found = operating_point(topology, topology.rows([{}]))
    lit = bool(found.latched[0, topology.element_index["T"]])
    return float(found.mean[0, topology.net_index["t"]]), lit, int(found.status[0])


def test_a_gas_tube_strikes_and_then_holds() -> None:
    volts, lit, status = tube(200.0, 4000.0)
    assert lit and status == Status.POWERED_UP
    assert volts == pytest.approx((150.0 / 150.0 + 200.0 / 4000.0) / (1 / 150.0 + 1 / 4000.0), 1e-4)


def test_below_its_striking_voltage_it_only_leaks() -> None:
    volts, lit, _ = tube(160.0, 4000.0)  # more than it burns at, less than it strikes at
    assert not lit and volts == pytest.approx(160.0, rel=1e-4)


@pytest.mark.parametrize("feed", [-400.0, 300.0])
def test_backwards_or_dead_it_never_lights(feed: float) -> None:
    values = {} if feed < 0 else {"able": 0.0}
    volts, lit, _ = tube(feed, 4000.0, **values)
    assert not lit and volts == pytest.approx(feed, rel=1e-3)


def test_one_that_can_neither_burn_nor_stay_dark_is_not_claimed() -> None:
    """Fed through 10 Mohm it strikes, starves, goes out and strikes again: no steady reading."""
    _, _, status = tube(300.0, 1e7)
    assert status == Status.UNSOLVED
