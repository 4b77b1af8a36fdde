"""Other stable states, against ngspice started from the other side."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bench.expect import expect
from halfsplit.bench.session import Session
from halfsplit.circuit.stability import can_rest
from halfsplit.faults.dictionary import predict
from halfsplit.faults.other_states import OtherState, known_states, other_states
from tests.simulator import deck, tray

# Two transistors across coupled by 47k: the bistable of every textbook on pulse circuits.
FLIP_FLOP = """\
assembly: Flip-flop
common: com
parts:
  S1: {kind: supply, volts: 12V, ohms: 1R, pos: raw, neg: com}
  R1: {kind: resistor, value: 1k, power: 0.5W, a: raw, b: left}
  R2: {kind: resistor, value: 1k, power: 0.5W, a: raw, b: right}
  R3: {kind: resistor, value: 47k, power: 0.5W, a: left, b: b2}
  R4: {kind: resistor, value: 47k, power: 0.5W, a: right, b: b1}
  R5: {kind: resistor, value: 10k, power: 0.5W, a: b1, b: com}
  R6: {kind: resistor, value: 10k, power: 0.5W, a: b2, b: com}
  Q1: {type: 2N3904, c: left, b: b1, e: com}
  Q2: {type: 2N3904, c: right, b: b2, e: com}
"""


def machine(text: str, folder: Path) -> Machine:
    file = folder / "bench.yaml"
    file.write_text(text, encoding="utf-8")
    assembly, problems = load(file)
    assert assembly is not None, problems
    return Machine(assembly)


def crowbar(states: list[OtherState]) -> OtherState:
    (found,) = (s for s in states if s.parts == ("SCR1 fired",))
    return found


@pytest.mark.parametrize("feed", ["raws", "mains"])
@pytest.mark.parametrize("load_name", ["none", "half", "full"])
def test_the_crowbar_fired(feed: str, load_name: str) -> None:
    """Rails within 2 % + 30 mV of ngspice with its thyristor on, which there holds itself too."""
    at = Condition(feed, load_name)
    (states,) = other_states(tray.tray(), at, [{}])
    there = crowbar(states)
    assert there.at_switch_on is False
    nets = ["p5", "p12", "n12", "v5r", "gate"]
    hertz = tray.tray().alternating(at)
    written = deck.write(
        tray.tray().topology,
        tray.tray().values(at),
        fired=frozenset({"SCR1"}),
        closed=frozenset({"K1:contact"}),
        transient=hertz is not None,
    )
    if hertz:
        cycle = deck.mains_cycle(written, nets, hertz, settle=0.6)
        assert cycle is not None
        found = {n: mean for n, (mean, _) in cycle.items()}
    else:
        point = deck.operating_point(written, nets)
        assert point is not None
        found = point
    for net, value in found.items():
        assert there.volts[net] == pytest.approx(value, rel=0.02, abs=0.03), net


@pytest.mark.parametrize("fired", [True, False])
def test_the_thyristor_of_ngspice_holds_by_itself(fired: bool) -> None:
    """A thyristor with a memory of its own in ngspice's .op, set by .nodeset: both stay.

    Nothing forces it: from the fired side it is found fired, from the healthy side healthy.
    """
    at, whole = Condition("raws", "half"), tray.tray()
    table = predict(whole, at, [{}], moves=[])
    (states,) = other_states(whole, at, [{}])
    there = dict(crowbar(states).volts)
    well = {n: float(table.mean[0, table.column(n)]) for n in table.nets}
    begin = there if fired else well
    written = deck.write(
        whole.topology, whole.values(at), closed=frozenset({"K1:contact"}), start=begin
    )
    written.lines = [line for line in written.lines if not line.startswith(".ic")]
    number = next(i for i, e in enumerate(whole.topology.netlist) if e.name == "SCR1")
    written.lines.append(f".nodeset v(m{number})={float(fired):g}")
    found = deck.operating_point(written, ["p5", "p12", "n12"], begin)
    assert found is not None
    for net, value in found.items():
        assert begin[net] == pytest.approx(value, rel=0.02, abs=0.03), net


def test_once_fired_it_must_hold() -> None:
    """With the feed's limit under the holding current a fired thyristor lets go: no such state."""
    whole = tray.tray()
    assert crowbar(other_states(whole, Condition("raws", "half"), [{}])[0])
    held = {("SCR1", "ih"): 50.0}
    (states,) = other_states(whole, Condition("raws", "half"), [held])
    assert not any("SCR1" in p for s in states for p in s.parts)


def test_what_cannot_fire_has_no_fired_state() -> None:
    faults = [tray.fault("SCR1 never fires"), tray.fault("SCR1 gate short")]
    for states in other_states(tray.tray(), Condition("raws", "half"), faults):
        assert not any("SCR1" in p for s in states for p in s.parts)


def test_a_relay_pulled_before_the_fault_stays_pulled() -> None:
    """R3 open takes -12 V away: 12 V left on a 24 V coil neither pulls (18) nor drops it (2.4)."""
    faults = [tray.fault("R3 open"), tray.fault("K1 coil open")]
    with_coil, without = other_states(tray.tray(), Condition("raws", "full"), faults)
    assert any("K1 contact closed" in s.parts for s in with_coil)
    assert not any(p.startswith("K1") for s in without for p in s.parts)


def test_a_flip_flop_has_two_states_and_no_third(tmp_path: Path) -> None:
    """Both against ngspice's .op with .nodeset from either side, 2 % + 30 mV."""
    pair = machine(FLIP_FLOP, tmp_path)
    at = Condition(next(f for f in pair.assembly.feeds if f != "off"), "none")
    (states,) = other_states(pair, at, [{}])
    table = predict(pair, at, [{}], moves=[])
    here = {n: float(table.mean[0, table.column(n)]) for n in ("left", "right")}
    all_states = [{n: s.volts[n] for n in here} for s in states]
    flipped = [v for v in [here, *all_states] if abs(v["left"] - v["right"]) > 5.0]
    assert len(flipped) == 2
    assert not any(abs(v["left"] - v["right"]) < 5.0 for v in all_states)  # the unstable middle
    written = deck.write(pair.topology, pair.values(at))
    for mine in flipped:
        low = "left" if mine["left"] < mine["right"] else "right"
        high = "right" if low == "left" else "left"
        guess = {low: 0.1, high: 11.0, "b1": 0.0, "b2": 0.0}
        guess["b1" if low == "left" else "b2"] = 0.7
        found = deck.operating_point(written, ["left", "right"], guess)
        assert found is not None
        for net, value in found.items():
            assert mine[net] == pytest.approx(value, rel=0.02, abs=0.03), net
    assert all(any("Q1" in p or "Q2" in p for p in s.parts) for s in states)


def test_the_middle_of_a_flip_flop_runs_away(tmp_path: Path) -> None:
    """Both halves alike is a solution, and no state: the determinant says so."""
    pair = machine(FLIP_FLOP, tmp_path)
    at = Condition(next(f for f in pair.assembly.feeds if f != "off"), "none")
    from halfsplit.circuit.op import operating_point

    rows = pair.topology.rows([pair.values(at)])
    index = pair.topology.net_index
    start = np.zeros(len(pair.topology.nets))
    for net, value in (("raw", 12.0), ("left", 6.0), ("right", 6.0), ("b1", 0.65), ("b2", 0.65)):
        start[index[net]] = value
    middle = operating_point(pair.topology, rows, start)
    assert middle.mean[0, index["left"]] == pytest.approx(middle.mean[0, index["right"]], abs=1e-3)
    assert not can_rest(pair.topology, rows, middle.mean, middle.latched)[0]
    healthy = tray.tray().topology.rows([tray.tray().values(Condition("raws", "half"))])
    point = operating_point(tray.tray().topology, healthy)
    assert can_rest(tray.tray().topology, healthy, point.mean, point.latched)[0]


def test_expect_and_suspects_say_so(tmp_path: Path) -> None:
    file = tmp_path / "pt3.yaml"
    file.write_text(tray.EXAMPLE.read_text(encoding="utf-8"), encoding="utf-8")
    with Session(file) as session:
        session.set_condition(Condition("raws", "half"))
        (line,) = expect(session, ["p5"], [session.condition])
        assert any(
            w.startswith("also stable: SCR1 fired, P5 1.1") and w.endswith("by switching off")
            for w in line.also
        )
        assert expect(session, ["p5"], [Condition("off", "none")])[0].also == ()


def test_states_are_kept_on_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path))
    asked = (tray.tray(), Condition("raws", "half"), [{}, tray.fault("SCR1 never fires")])
    first = known_states(*asked)
    assert first == other_states(*asked) and first[0] and not first[1]
    monkeypatch.setattr("halfsplit.faults.other_states.other_states", lambda *_: [])
    assert known_states(*asked) == first
