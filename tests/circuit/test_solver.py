"""The solver on circuits argued by hand, and Kirchhoff's law apart from its own test."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.simulator import tray

from halfsplit.circuit import elements as el
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.netlist import Netlist, Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move, sensitivities
from halfsplit.circuit.solution import Status
from halfsplit.circuit.topology import Topology, compile_netlist


def resistor(name: str, a: str, b: str, ohms: float) -> el.Resistor:
    return el.Resistor(name, (a, b), {"g": 1.0 / ohms})


def supply(name: str, net: str, volts: float, ohms: float = 1e-3) -> el.Source:
    return el.Source(name, (net, "com"), {"dc": volts, "g": 1.0 / ohms})


def build(*elements: el.Element) -> Topology:
    net = Netlist()
    net.add(*elements)
    return compile_netlist(net)


def volts(topology: Topology, changes: Overrides | None = None) -> dict[str, float]:
    solved = operating_point(topology, topology.rows([changes or {}]))
    assert Status(int(solved.status[0])).usable
    return dict(zip(topology.nets, solved.mean[0].tolist(), strict=True))


def test_divider_and_its_open_and_short() -> None:
    top = build(
        supply("S", "a", 10.0), resistor("R1", "a", "b", 1e3), resistor("R2", "b", "com", 1e3)
    )
    assert volts(top)["b"] == pytest.approx(5.0, abs=1e-4)  # by Ohm's law
    assert volts(top, {("R2", "g"): el.OPEN})["b"] == pytest.approx(10.0, abs=1e-3)
    assert volts(top, {("R2", "g"): el.SHORT})["b"] == pytest.approx(0.0, abs=1e-3)


def test_sensitivity_and_stiffness_of_a_divider() -> None:
    """dVb/dR2 = V R1/(R1+R2)^2 and the resistance into b is R1 parallel R2, by hand."""
    top = build(
        supply("S", "a", 10.0), resistor("R1", "a", "b", 2e3), resistor("R2", "b", "com", 3e3)
    )
    rows = top.rows([{}])
    solved = operating_point(top, rows)
    move = Move("R2", {("R2", "g"): 1.0 / 3003.0})
    spread, ohms = sensitivities(top, rows, solved.mean, solved.latched, [move])
    b = top.net_index["b"]
    assert spread[0, 0, b] == pytest.approx(10.0 * 2e3 / 5e3**2 * 3.0, rel=2e-3)
    assert ohms[0, b] == pytest.approx(1200.0, rel=1e-4)


def test_an_overridden_part_has_no_tolerance() -> None:
    top = build(
        supply("S", "a", 10.0), resistor("R1", "a", "b", 1e3), resistor("R2", "b", "com", 1e3)
    )
    rows = top.rows([{("R2", "g"): el.OPEN}])
    solved = operating_point(top, rows)
    move = Move("R2", {("R2", "g"): 1.0 / 1050.0})
    spread, _ = sensitivities(top, rows, solved.mean, solved.latched, [move])
    assert np.abs(spread).max() == 0.0


def test_junction_law_by_hand() -> None:
    """1 mA through a 1e-14 A junction: V = Vt ln(1e11)."""
    top = build(
        supply("S", "a", 10.0), resistor("R", "a", "k", 9.345e3), el.Diode("D", ("k", "com"))
    )
    v = volts(top)["k"]
    current = (10.0 - v) / 9.345e3
    assert v == pytest.approx(el.THERMAL_VOLTAGE * math.log(current / 1e-14 + 1), rel=1e-6)


def test_thyristor_fires_holds_and_lets_go() -> None:
    """Gate driven: on. Gate released in a later solve from dead: off, as a power-up would be."""
    scr = {"isg": 1e-10, "igt": 5e-3, "ih": 20e-3, "von": 0.8, "ron": 0.02}
    top = build(
        supply("S", "a", 12.0),
        resistor("RL", "a", "an", 12.0),
        el.Scr("T", ("an", "com", "g"), scr),
        resistor("RG", "a", "g", 1e3),
    )
    assert volts(top)["an"] < 1.2
    assert volts(top, {("RG", "g"): 1e-9})["an"] == pytest.approx(12.0, abs=0.01)
    # Fired but fed less than the holding current: it cannot stay on by itself.
    assert volts(top, {("RL", "g"): 1e-4, ("RG", "g"): 1e-9})["an"] > 11.0


def test_relay_pulls_and_releases_with_hysteresis() -> None:
    values = {"pull": 18.0, "drop": 6.0}
    top = build(
        supply("S", "a", 24.0),
        resistor("coil", "a", "com", 1e3),
        el.Contact("K", ("a", "b", "a", "com"), values),
        resistor("R", "b", "com", 100.0),
    )
    assert volts(top)["b"] == pytest.approx(24.0, abs=0.2)
    assert volts(top, {("S", "dc"): 12.0})["b"] == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_bench_supply_current_limit(way: float) -> None:
    """200 mA into 10 ohm, also from a supply with its plus on common; back into it flows what will:
    25 V against 30 behind 10 ohm, by hand."""
    top = build(
        el.Source("S", ("a", "com"), {"dc": way * 25.0, "g": 20.0, "limit": 0.2}),
        resistor("R", "a", "com", 10.0),
    )
    assert volts(top)["a"] == pytest.approx(way * 2.0, abs=0.03)
    driven = build(
        el.Source("S", ("a", "com"), {"dc": way * 25.0, "g": 20.0, "limit": 0.2}),
        supply("B", "b", way * 30.0),
        resistor("R", "b", "a", 10.0),
    )
    assert volts(driven)["a"] == pytest.approx(way * (25.0 + 5.0 * 0.05 / 10.05), abs=0.01)


def test_comparator_open_collector_needs_its_pull_up() -> None:
    amp = {"collector": 1.0, "gain": 2e5, "low": 0.1, "gout": 0.05, "limit": 0.02}
    top = build(
        supply("S", "v", 12.0),
        resistor("R1", "v", "ref", 1e3),
        resistor("R2", "ref", "com", 1e3),
        resistor("RP", "v", "out", 10e3),
        resistor("RI", "v", "in", 1e3),
        resistor("RJ", "in", "com", 2e3),
        el.Amplifier("U", ("in", "ref", "out", "v", "com"), amp),
    )
    assert volts(top)["out"] == pytest.approx(12.0, abs=0.05)
    assert volts(top, {("RJ", "g"): 1 / 200.0})["out"] < 0.3
    assert volts(top, {("RP", "g"): 1e-9})["out"] < 12.0


def test_opamp_follower_and_its_stuck_outputs() -> None:
    top = build(
        supply("P", "p", 15.0),
        supply("N", "n", -15.0),
        supply("I", "in", 3.0),
        el.Amplifier("U", ("in", "out", "out", "p", "n"), {}),
        resistor("RL", "out", "com", 2e3),
    )
    assert volts(top)["out"] == pytest.approx(3.0, abs=2e-3)
    assert volts(top, {("U", "stuck"): 1.0})["out"] > 12.0
    assert volts(top, {("U", "stuck"): -1.0})["out"] < -12.0


def test_transformer_ratio_and_floating_secondary() -> None:
    """Secondary rms follows the turns; a net nothing holds has enormous resistance, not a value."""
    top = build(
        el.Source("M", ("l", "com"), {"ac": 230 * math.sqrt(2), "g": 2.0, "hz": 50.0}),
        el.Winding("P", ("l", "com", "core"), {"turns": 230.0, "g": 0.25}),
        resistor("iron", "core", "com", 0.5),
        el.Winding("S", ("s", "com", "core"), {"turns": 9.0, "g": 10.0}),
        resistor("RL", "s", "com", 90.0),
        resistor("far", "x", "y", 1e3),
    )
    solved = mains_cycle(top, top.rows([{}]), 50.0)
    s = top.net_index["s"]
    peak = (solved.high[0, s] - solved.low[0, s]) / 2
    assert peak == pytest.approx(9 * math.sqrt(2) * 90 / 90.1, rel=0.01)
    rows = top.rows([{}])
    still = operating_point(top, rows)
    _, ohms = sensitivities(top, rows, still.mean, still.latched, [])
    assert ohms[0, top.net_index["x"]] > 1e9


def unbalance(top: Topology, changes: Overrides, at: dict[str, float], on: set[str]) -> float:
    """Largest net current [A] by equations written here anew, not the kernel's."""
    sums = dict.fromkeys([*top.nets, "com"], 0.0)
    v = {**at, "com": 0.0}
    vt = el.THERMAL_VOLTAGE

    def junction(u: float) -> float:
        return math.expm1(min(u, 600.0))  # only a transistor that is gone stands beyond

    def flow(a: str, b: str, amps: float) -> None:
        sums[a] += amps
        sums[b] -= amps

    for e in top.netlist:
        p = dict(zip(e.PARAMS, e.vector(), strict=True))
        p |= {k: x for (name, k), x in changes.items() if name == e.name}
        n = e.nets
        if isinstance(e, el.Resistor | el.Capacitor):
            flow(n[0], n[1], p["g"] * (v[n[0]] - v[n[1]]))
        elif isinstance(e, el.Source):
            flow(n[1], n[0], min((p["dc"] - v[n[0]] + v[n[1]]) * p["g"], p["limit"]))
        elif isinstance(e, el.Diode):
            d = v[n[0]] - v[n[1]]
            amps = p["is"] * math.expm1(d / p["nvt"]) + p["g"] * d
            amps -= p["ibv"] * math.exp((-d - p["bv"]) / p["nbv"])
            flow(n[0], n[1], amps)
        elif isinstance(e, el.Bjt):
            c, b, m = n
            if p["afloat"]:
                # The base is a net of its own, held by nothing: found by halving.
                low, high = min(v[c], v[m]) - 2.0, max(v[c], v[m]) + 2.0
                for _ in range(200):
                    mid = 0.5 * (low + high)
                    into = p["isf"] * junction(p["pol"] * (mid - v[m]) / vt)
                    into += p["isr"] * junction(p["pol"] * (mid - v[c]) / vt)
                    low, high = (mid, high) if p["pol"] * into < 0 else (low, mid)
                v, b = {**v, "its own base": mid}, "its own base"
                sums.setdefault(b, 0.0)
            be, bc = p["pol"] * (v[b] - v[m]), p["pol"] * (v[b] - v[c])
            forward, reverse = junction(be / vt), junction(bc / vt)
            # Gummel-Poon base charge: q1 of the Early voltage, q2 of high injection.
            charge = (1 + math.sqrt(1 + 4 * p["iknee"] * p["ist"] * (forward + 1))) / 2
            early = 0.0 if p["afloat"] else p["ivaf"]  # of a leakage nothing is said
            transport = p["ist"] * (forward - reverse) * (1 - bc * early) / charge
            flow(c, m, p["pol"] * transport)
            flow(b, c, p["pol"] * p["isr"] * reverse)
            flow(b, m, p["pol"] * p["isf"] * forward)
            for key, x, y in (("gce", c, m), ("gbe", b, m), ("gcb", c, b)):
                flow(x, y, p[key] * (v[x] - v[y]))
        elif isinstance(e, el.Scr):
            a, k, g = n
            flow(g, k, p["isg"] * math.expm1((v[g] - v[k]) / p["nvt"]) + p["ggk"] * (v[g] - v[k]))
            flow(a, k, p["gak"] * (v[a] - v[k]))
            if e.name in on:
                over = (v[a] - v[k] - p["von"]) / 0.03
                flow(a, k, 0.03 * math.log1p(math.exp(over)) / p["ron"])
        elif isinstance(e, el.Winding):
            amps = p["g"] * (v[n[0]] - v[n[1]] - p["turns"] * v[n[2]])
            flow(n[0], n[1], amps)
            sums[n[2]] -= p["turns"] * amps
        elif isinstance(e, el.Contact):
            flow(n[0], n[1], (p["closed"] if e.name in on else p["open"]) * (v[n[0]] - v[n[1]]))
        elif isinstance(e, el.Sink):
            assert p["amps"] == 0.0
        elif isinstance(e, el.Lamp):
            assert p["amps"] < 1e-9 and p["g"] == 0.0  # the lamp in the mains, linked out
        else:
            raise AssertionError(type(e).__name__)
    sums.pop("com")
    sums.pop("its own base", None)
    return max(abs(x) for x in sums.values())


def test_kirchhoff_at_every_single_fault_of_the_tray() -> None:
    """Every claimed solution balances to a microampere by an independent reckoning."""
    from halfsplit.assembly.condition import Condition
    from halfsplit.faults.hypotheses import single_faults

    machine = tray.tray()
    top = machine.topology
    for load in ("none", "half", "full"):
        state = machine.values(Condition("raws", load))
        faults = [{**h.changes, **state} for h in single_faults(machine.assembly)]
        solved = operating_point(top, top.rows(faults))
        for row, changes in enumerate(faults):
            assert solved.status[row] != Status.UNSOLVED
            at = dict(zip(top.nets, solved.mean[row].tolist(), strict=True))
            names = list(top.element_index)
            on = {names[i] for i in np.flatnonzero(solved.latched[row])}
            assert unbalance(top, changes, at, on) < 1e-6, (load, row)


def test_kirchhoff_at_random_pairs_of_faults_of_the_tray() -> None:
    """The same of 1,000 seeded pairs, 99.5 % of them claimed at least (10,000 in the benchmark)."""
    from halfsplit.assembly.condition import Condition
    from halfsplit.faults.hypotheses import single_faults

    machine, draw = tray.tray(), random.Random(20261129)
    top, state = machine.topology, machine.values(Condition("raws", "half"))
    singles = single_faults(machine.assembly)[2:]
    drawn = (draw.sample(singles, 2) for _ in range(1_100))
    apart = [(a, b) for a, b in drawn if set(a.parts).isdisjoint(b.parts)][:1_000]
    laid = [{**a.changes, **b.changes, **state} for a, b in apart]
    start = operating_point(top, top.rows([state])).mean[0]
    solved = operating_point(top, top.rows(laid), start)
    claimed = np.flatnonzero(solved.status != Status.UNSOLVED)
    assert len(laid) == 1_000 and len(claimed) >= 995
    names = list(top.element_index)
    for row in claimed:
        at = dict(zip(top.nets, solved.mean[row].tolist(), strict=True))
        on = {names[i] for i in np.flatnonzero(solved.latched[row])}
        assert unbalance(top, laid[row], at, on) < 1e-6, row


def test_mains_cycle_settles_and_balances_at_every_single_fault() -> None:
    """Every fault behind the rectifier: each settled, each balanced, none silently dropped."""
    from halfsplit.assembly.condition import Condition
    from halfsplit.faults.hypotheses import single_faults

    machine = tray.tray()
    state = machine.values(Condition("mains", "half"))
    faults = [{**h.changes, **state} for h in single_faults(machine.assembly)[2:]]
    solved = mains_cycle(machine.topology, machine.topology.rows(faults), 50.0)
    assert len(faults) > 300
    assert set(solved.status.tolist()) == {Status.SOLVED}
    assert 0.0 < solved.residual.max() < 1e-6


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 6), st.integers(0, 6), st.floats(1.0, 1e6)),
        min_size=4,
        max_size=20,
    )
)
def test_resistor_networks_agree_with_dense_solve(edges: list[tuple[int, int, float]]) -> None:
    """Any network of resistors: ours equals numpy's dense solution of the same equations."""
    elements: list[el.Element] = [supply("S", "n0", 10.0, 1.0)]
    for i, (a, b, ohms) in enumerate(edges):
        if a != b:
            ends = ["com" if k == 6 else f"n{k}" for k in (a, b)]
            elements.append(resistor(f"R{i}", ends[0], ends[1], ohms))
    top = build(*elements)
    n = len(top.nets)
    g, rhs = np.eye(n) * 1e-12, np.zeros(n)
    for e in top.netlist:
        where = [top.net_index.get(x) for x in e.nets]
        cond = e.values["g"]
        for x in where:
            if x is not None:
                g[x, x] += cond
        if None not in where:
            g[where[0], where[1]] -= cond
            g[where[1], where[0]] -= cond
    rhs[top.net_index["n0"]] = 10.0
    expected = np.linalg.solve(g, rhs)
    held = operating_point(top, top.rows([{}])).mean[0]
    assert np.allclose(held, expected, atol=1e-4, rtol=1e-4)


def test_whatever_is_compiled_is_in_the_kernel_digest() -> None:
    """A file that imports the compiler, or that such a file imports, must renew the cache."""
    import ast
    from fnmatch import fnmatch
    from pathlib import Path

    import halfsplit.circuit as package

    folder = Path(package.__file__).parent
    trees = {p.stem: ast.parse(p.read_text()) for p in folder.glob("*.py") if p.stem != "__init__"}
    uses: dict[str, set[str]] = {}
    for stem, tree in trees.items():
        names = {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
        froms = [n for n in tree.body if isinstance(n, ast.ImportFrom) and n.module]
        uses[stem] = {n.module.rpartition(".")[2] for n in froms if "halfsplit" in n.module}
        uses[stem] |= {a.name for n in froms if n.module == "halfsplit.circuit" for a in n.names}
        uses[stem] |= {"numba"} & names
    compiled = {s for s, used in uses.items() if used & {"numba", "jit"}}
    needed = compiled | {u for s in compiled for u in uses[s] if u in trees}
    assert len(compiled) >= 6
    missing = {s for s in needed if not any(fnmatch(s, p) for p in package.COMPILED)}
    assert not missing
