"""The power check against ngspice: watts and volts of every rated part, transistors pulled."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from halfsplit.assembly.condition import Change, Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.power import power_check, worst_of
from halfsplit.circuit import elements as el
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.ratings import Limit, limits_of, thermal_path
from halfsplit.faults.stress import stresses
from tests.simulator import deck, stile, tray
from tests.simulator.waves import Waves, transient

TRANSISTORS_1 = [f"Q{k}" for k in range(1, 15)]


def _powers(written: deck.Deck, machine: Machine, nets: list[str]) -> dict[str, float]:
    """Volts of nets, and watts as ngspice itself counts them of its own devices, by their names."""
    # A diode's own p is infinite in ngspice 39 once it has a breakdown: its amps times its volts.
    kinds = {"R": (el.Resistor, ("p",)), "Q": (el.Bjt, ("p",)), "D": (el.Diode, ("id", "vd"))}
    asked: dict[str, list[str]] = {}
    for i, element in enumerate(machine.netlist):
        for letter, (kind, names) in kinds.items():
            name = f"{letter}{i}".lower()
            present = any(line.lower().startswith(f"{name} ") for line in written.lines)
            if isinstance(element, kind) and present:
                asked[element.name] = [f"@{name}[{n}]" for n in names]
    lines = ["op", *(f"print v({written.net(n)})" for n in nets)]
    lines += [f"print {a}" for listed in asked.values() for a in listed]
    out = deck._run("power", written, lines)
    said = dict(re.findall(r"^\s*(\S+)\s*=\s*([-+0-9.eE]+)\s*$", out, re.M))
    found = {f"v:{n}": float(said[f"v({written.net(n)})"]) for n in nets}
    return found | {
        f"p:{name}": math.prod(float(said[a]) for a in listed) for name, listed in asked.items()
    }


def _tray_powers(fault: str, condition: Condition) -> dict[str, float]:
    """One state of the tray by ngspice; thyristor and relay follow its own volts."""
    machine = tray.tray()
    nets = machine.assembly.nets()
    changes = {**tray.fault(fault), **machine.values(condition)}
    fired, closed = frozenset[str](), frozenset[str]()
    for _ in range(3):
        written = deck.write(
            machine.topology,
            changes,
            open_lead=tray.open_lead(fault),
            fired=fired,
            closed=closed,
        )
        found = _powers(written, machine, nets)
        fires = found["v:gate"] >= machine.assembly.parts["SCR1"].__dict__["trigger_volts"]
        pulls = abs(found["v:p12"] - found["v:n12"]) >= 0.75 * 24.0
        now = (
            fired | frozenset({"SCR1"} if fires else ()),
            frozenset({"K1:contact"} if pulls else ()),
        )
        if now == (fired, closed):
            break
        fired, closed = now
    return found


def _across(limit: Limit, machine: Machine, volts: dict[str, float]) -> float:
    """Volts the rating is about, from net volts."""
    element = machine.netlist.elements[limit.element]
    ends = [volts.get(n, 0.0) for n in element.nets]
    across = ends[0] - (ends[2] if isinstance(element, el.Bjt) else ends[1])
    if limit.quantity == "reverse" or isinstance(element, el.Diode):
        return max(-across, 0.0)
    return abs(across)


def _by_ngspice(
    machine: Machine, condition: Condition, found: dict[str, float]
) -> dict[str, float]:
    """Largest ratio of each part over its ratings in watts and volts, of fuses and rectifiers in
    amperes, and of a junction whose heatsink the file gives, all from ngspice's numbers. Inner nets
    (emitter bulk) are left out of volts."""
    volts = {k[2:]: v for k, v in found.items() if k.startswith("v:")}
    ratios: dict[str, float] = {}
    for limit in limits_of(machine, condition):
        element = machine.netlist.elements[limit.element]
        if limit.quantity == "watts":
            value = found.get(f"p:{limit.element}", 0.0)
        elif limit.quantity in ("volts", "reverse"):
            if any("#" in n for n in element.nets):
                nets = tuple(n for n in element.nets)
                pin = machine.assembly.parts[limit.part].terminals()["e"]
                value = abs(volts.get(nets[0], 0.0) - volts.get(pin, 0.0))
            else:
                value = _across(limit, machine, volts)
        elif limit.quantity == "amps" and isinstance(element, el.Resistor):
            a, b = (volts.get(n, 0.0) for n in element.nets)
            value = abs(a - b) * element.values["g"]
        elif limit.quantity == "degC":
            path = thermal_path(machine.assembly.parts[limit.part]) or 0.0
            rise = found.get(f"p:{limit.element}", 0.0) * path
            value = rise * limit.limit / (limit.limit - condition.ambient)
        else:
            continue
        ratios[limit.part] = max(ratios.get(limit.part, 0.0), value / limit.limit)
    return ratios


@pytest.mark.parametrize("load", ["none", "full"])
def test_pulled_transistors_of_the_tray_no_part_missed(load: str) -> None:
    """Each transistor out in turn: every part ngspice puts over a rating is in our list."""
    machine = tray.tray()
    missed, alarms, named = [], [], 0
    for ref in TRANSISTORS_1:
        condition = Condition("raws", load, (Change(ref, "removed"),))
        truth = _by_ngspice(machine, condition, _tray_powers("", condition))
        check = power_check(machine, condition, propose=False)
        assert not check.unsolved
        said = {f.part for f in check.findings if f.ratio > 1.0}
        over = {part for part, ratio in truth.items() if ratio > 1.0}
        named += len(over)
        missed += [f"{ref} out: {p} {truth[p]:.2f}" for p in sorted(over - said)]
        alarms += [f"{ref} out: {p}" for p in sorted(said - over)]
    print(f"load {load}: {named} over by ngspice, missed {missed}, false alarms {alarms}")
    assert missed == []
    assert alarms == []
    assert named >= 2  # or the test would show nothing


def test_c4_short_works_q1_and_r3_as_ngspice_says() -> None:
    """Watts of Q1 and R3 against their ratings, C4 shorted, within 15 % of ngspice; R3 passes its
    3/4 W by both, though it carries the healthy machine's full load."""
    machine = tray.tray()
    for name in ("none", "half", "full"):
        condition = Condition("raws", name)
        truth = _tray_powers("C4 short", condition)
        ours = stresses(machine, condition, [{}, tray.fault("C4 short")])
        for ref in ("Q1", "R3"):
            limit, _, ratio = worst_of(ours, 1, "watts", ref)
            assert ratio == pytest.approx(truth[f"p:{ref}"] / limit.limit, rel=0.15), ref
        assert worst_of(ours, 0, "watts", "R3")[2] < 0.9
        assert worst_of(ours, 1, "watts", "R3")[2] > 1.0 and truth["p:R3"] > 0.75


def test_c4_short_with_the_limiter_pulled_passes_the_rating_of_r3() -> None:
    """Q3 out, as when it was pulled for a test: nothing limits, and R3 takes over ten times its
    3/4 W until F4 opens; Q1, which saturates, stays within its own. All within 15 % of ngspice."""
    machine = tray.tray()
    for name in ("none", "half"):
        condition = Condition("raws", name, (Change("Q3", "removed"),))
        truth = _tray_powers("C4 short", condition)
        ours = stresses(machine, condition, [{}, tray.fault("C4 short")])
        for ref in ("Q1", "R3"):
            limit, _, ratio = worst_of(ours, 1, "watts", ref)
            assert ratio == pytest.approx(truth[f"p:{ref}"] / limit.limit, rel=0.15), ref
        assert truth["p:R3"] / 0.75 > 10.0 and truth["p:Q1"] / 150.0 < 0.5
        assert worst_of(ours, 0, "watts", "R3")[2] < 1.0  # only with C4 shorted


def test_c4_short_puts_the_junction_of_q1_over_its_limit() -> None:
    """As drawn, on its bracket of 10 K/W: at full load 25 + 7 W x 11.17 K/W, about 103 degC, is
    well; with C4 shorted 20 W make 250, and 200 are allowed. The rise over the rise allowed within
    15 % of ngspice's watts times the same path, by hand; the check names it."""
    machine = tray.tray()
    full = stresses(machine, Condition("raws", "full"), [{}])
    assert worst_of(full, 0, "degC", "Q1")[1] == pytest.approx(103.0, abs=8.0)  # notes: 7 W
    (short,) = [h for h in single_faults(machine.assembly) if h.name == "C4 short"]
    for name in ("none", "full"):
        condition = Condition("raws", name)
        rise = _tray_powers("C4 short", condition)["p:Q1"] * (1.17 + 10.0)
        found = power_check(machine, condition, [(short, 0.5)], propose=False)
        (named,) = [f for f in found.findings if f.part == "Q1"]
        assert (named.quantity, named.under) == ("degC", "C4 short")
        assert named.ratio == pytest.approx(rise / (200.0 - 25.0), rel=0.15) and named.ratio > 1.05
        assert "do not energise" in found.verdict and "junction of" in found.verdict
        assert any(f.part == "R3" and f.under == "C4 short" and f.ratio > 1 for f in found.findings)


@pytest.mark.parametrize(("sink", "over"), [("3K/W", False), ("8K/W", True), ("30K/W", True)])
def test_c4_short_and_the_junction_of_q1_on_a_heatsink(
    tmp_path: Path, sink: str, over: bool
) -> None:
    """On a larger heatsink it stays below 200 degC, on one of 8 K/W, enough for its 7 W of full
    load, or on none, 30 K/W case to air, it does not; watts by ngspice, heat by hand."""
    text = tray.EXAMPLE.read_text(encoding="utf-8").replace("sink: 10K/W", f"sink: {sink}")
    path = tmp_path / "sunk.yaml"
    path.write_text(text, encoding="utf-8")
    assembly, problems = load(path)
    assert assembly is not None, problems
    machine = Machine(assembly)
    condition = Condition("raws", "half")
    watts = _tray_powers("C4 short", condition)["p:Q1"]
    by_hand = 25.0 + watts * (1.17 + float(sink.removesuffix("K/W")))
    ours = stresses(machine, condition, [{}, tray.modes(machine, "C4 short")])
    hot = ours.junction[1, ours.parts.index("Q1")]
    assert hot - 25.0 == pytest.approx(by_hand - 25.0, rel=0.15)
    assert (hot > 200.0) == (by_hand > 200.0) == over


def stile_waves(ref: str, load: str) -> tuple[Machine, Condition, Waves]:
    """The switcher with a transistor out, by ngspice, from 2 to 3 ms after a warm start."""
    machine = stile.machine()
    condition = Condition("raw", load, (Change(ref, "removed"),))
    values = machine.values(condition)
    start = {"rawc": 28.0, "raw": 28.0, "swe": 28.0, "qb": 28.0, "h12": 12.0, "ref": 6.2}
    start |= {"refn": 4.96, "vp": 4.96, "rv": 5.2, "th": 7.5, "trip": 11.0, "ocb": 28.0}
    start |= {"qc2": 28.0, "qc3": 12.0}
    if ref == "Q4":  # runs as ever, but for the over-current trip
        start |= {"out": 4.96, "vm": 4.96}
    written = deck.write(
        machine.topology,
        values,
        transient=True,
        start=start,
        amps={"L1": 8.0 if ref == "Q4" else 0},
    )
    device = [
        f"@{name}[{quantity}]"
        for name in _devices(machine, written).values()
        for quantity in (("p", "ic") if name[0] == "q" else ("id",))
    ]
    nets = machine.assembly.nets()
    run = transient(written, nets, 3e-3, 2e-7, keep=2e-3, device=device, amps=["L1"])
    assert run is not None
    return machine, condition, run


def _devices(machine: Machine, written: deck.Deck) -> dict[str, str]:
    """Transistors and diodes that stand in a deck, by the names ngspice has for them."""
    letters = {el.Bjt: "q", el.Diode: "d"}
    there = {line.split()[0].lower() for line in written.lines}
    named = {
        e.name: f"{letters[type(e)]}{i}"
        for i, e in enumerate(machine.netlist)
        if type(e) in letters
    }
    return {name: device for name, device in named.items() if device in there}


def over_by_ngspice(ref: str, load: str) -> tuple[dict[str, float], dict[str, float]]:
    """Largest ratio of each part to a rating with a transistor of the switcher out: by ngspice's
    waveform, and by ours. Every rating is in it but a comparator's and junction temperatures."""
    machine, condition, run = stile_waves(ref, load)
    written = deck.write(machine.topology, machine.values(condition), transient=True)
    device = _devices(machine, written)
    truth: dict[str, float] = {}
    zero = np.zeros_like(run.time)
    for limit in limits_of(machine, condition):
        element = machine.netlist.elements[limit.element]
        ends = [
            run.volts.get(n, run.volts.get(n.replace("#e", ""), zero)) if n != "com" else zero
            for n in element.nets
        ]
        if any("#" in n for n in element.nets) and isinstance(element, el.Bjt):
            ends[2] = run.volts[machine.assembly.parts[limit.part].terminals()["e"]]
        across = ends[0] - (ends[2] if isinstance(element, el.Bjt) else ends[1])
        name = device.get(limit.element, "")
        if isinstance(element, el.Resistor):
            power = run.mean(across**2) * element.values["g"]
            value = power if limit.quantity == "watts" else np.sqrt(power * element.values["g"])
        elif limit.quantity in ("volts", "reverse"):
            down = isinstance(element, el.Diode) or limit.quantity == "reverse"
            value = float(np.max(-across if down else np.abs(across)))
        elif isinstance(element, el.Inductor) and limit.quantity == "amps":
            value = float(np.sqrt(run.mean(run.amps[limit.element] ** 2)))
        elif isinstance(element, el.Bjt) and limit.quantity in ("watts", "amps") and name:
            watts, amps = (run.device.get(f"@{name}[{q}]", zero) for q in ("p", "ic"))
            value = run.mean(watts) if limit.quantity == "watts" else float(np.abs(amps).max())
        elif isinstance(element, el.Diode) and limit.quantity in ("watts", "amps") and name:
            flow = run.device[f"@{name}[id]"]
            amps_ = abs(run.mean(flow))
            value = abs(run.mean(flow * across)) if limit.quantity == "watts" else amps_
        else:
            continue
        truth[limit.part] = max(truth.get(limit.part, 0.0), float(value) / limit.limit)
    check = power_check(machine, condition, propose=False)
    assert not check.unsolved
    ours: dict[str, float] = {}
    for f in check.findings:
        ours[f.part] = max(ours.get(f.part, 0.0), f.ratio)
    return truth, ours


@pytest.mark.parametrize("ref", ["Q1", "Q2", "Q3", "Q4"])
def test_pulled_transistors_of_the_switcher_no_part_missed(ref: str) -> None:
    """Resistors, transistors and diodes by watts and amperes, capacitors and junctions by volts,
    choke and fuse by amperes, over ngspice's own waveform."""
    truth, ours = over_by_ngspice(ref, "full")
    said = {p for p, r in ours.items() if r > 1.0}
    over = {p for p, r in truth.items() if r > 1.0}
    print(f"{ref} out: ngspice over {over}, ours {said}")
    assert over <= said
    assert said <= over  # no false alarm either
