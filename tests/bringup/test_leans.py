"""The leans-on map of the tray against its design notes (invented machine), and the gate on P5."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.assembly.condition import Change, Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.gates import Known, gates, refusals
from halfsplit.bringup.leans import Edge, LeansMap, leans
from halfsplit.bringup.proof import Proof, proofs
from halfsplit.diagnosis.evidence import Evidence
from halfsplit.diagnosis.meters import meters
from halfsplit.faults.dictionary import predict
from tests.simulator import stile, tray

HALF = Condition("raws", "half")
RIGHT = {"p5": 5.0, "p12": 12.0, "v5r": 10.4, "vrpr": 20.0, "vrnr": -20.0}
MASTER = {"n12": -12.0, "zk": -6.2}


@pytest.fixture(scope="module")
def found() -> LeansMap:
    return leans(tray.tray())


def read(values: dict[str, float], condition: Condition = HALF) -> list[Evidence]:
    meter = meters()["digital"]
    return [
        Evidence(net, "", "volts", v, 0.01, condition, meter, k + 1)
        for k, (net, v) in enumerate(values.items())
    ]


def proved(
    found: LeansMap, values: dict[str, float], now: Condition = HALF, at: Condition = HALF
) -> dict[str, Proof]:
    machine = tray.tray()

    def expected(condition: Condition, net: str) -> float:
        table = predict(machine, condition, [{}], moves=[])
        return float(table.mean[0, table.column(net)])

    return proofs(machine.assembly, found, read(values, at), now, expected)


def test_every_edge_of_the_design_notes_is_found(found: LeansMap) -> None:
    """CR3 sets N12; N12 by the sum point and the tail R15 sets P12; P12 by R16 and the drive R19,
    N12 by the tail R18 set P5; both twelves work K1: the tray's design notes."""
    edges = {(e.of, e.on): e.how for e in found.edges}
    assert "Q4" in edges["N12", "zk (CR3)"]
    assert "R13" in edges["P12", "N12"] and "tail current by R15" in edges["P12", "N12"]
    assert "R16" in edges["P5", "P12"] and "base drive by R19" in edges["P5", "P12"]
    assert edges["P5", "N12"] == "tail current by R18"
    assert "relay K1" in edges["TP6", "P12"] and "relay K1" in edges["TP6", "N12"]
    assert not found.unsolved


def test_nothing_leans_on_the_slave(found: LeansMap) -> None:
    assert not [e for e in found.edges if e.on == "P5" and found.kinds[e.of] == "rail"]
    assert ("N12", "P12") not in {(e.of, e.on) for e in found.edges}


def test_order_puts_the_master_first(found: LeansMap) -> None:
    order = found.order()
    assert order.index("vrnr") < order.index("N12") < order.index("P12") < order.index("P5")
    assert {"N12", "P12", "v5r", "vrnr", "vrpr", "zk (CR3)"} == set(found.all_under("P5"))
    assert found.tree("P5")[0] == "P5" and any("R18" in line for line in found.tree("P5"))


def test_p5_is_not_proved_while_n12_is_not(found: LeansMap) -> None:
    state = proved(found, RIGHT)
    assert not state["P5"].proved
    assert any("N12 has no reading" in m for m in state["P5"].missing)
    wrong = proved(found, RIGHT | {"n12": -1.8, "zk": -1.2})
    assert not wrong["P5"].proved and any("N12 reads -1.80 V" in m for m in wrong["P5"].missing)
    assert proved(found, RIGHT | MASTER)["P5"].proved


def test_without_load_or_with_a_lead_off_nothing_is_proved(found: LeansMap) -> None:
    none = Condition("raws", "none")
    state = proved(found, RIGHT | MASTER, none, none)
    assert not state["P5"].proved and any("carries no load" in m for m in state["P5"].missing)
    lifted = Condition("raws", "half", (Change("R12", "lifted", "a"),))
    assert not proved(found, RIGHT | MASTER, lifted, lifted)["P5"].proved


def test_readings_of_different_loads_do_not_add_up(found: LeansMap) -> None:
    machine = tray.tray()
    evidence = read(RIGHT) + read(MASTER, Condition("raws", "bench"))
    state = proofs(machine.assembly, found, evidence, HALF, lambda c, n: RIGHT.get(n, -6.2))
    assert not state["P5"].proved


def test_gates_refuse_boards_and_say_why(found: LeansMap) -> None:
    assembly = tray.tray().assembly
    shut = gates(assembly, found, proved(found, RIGHT), HALF, Known())
    names = {g.name for g in refusals(shut, "boards")}
    assert {"rails at load", "references", "over-voltage trip", "fuses to drawing"} <= names
    assert "references" in {g.name for g in refusals(shut, "trimmers")}
    drawn = frozenset({"F1", "F2", "F3", "F4"})
    known = Known(drawn, trips={"P5": 6.2})
    assert not refusals(
        gates(assembly, found, proved(found, RIGHT | MASTER), HALF, known), "boards"
    )


def test_crowbar_that_trips_at_7_5_volts_is_refused(found: LeansMap) -> None:
    """A 6.8 V zener trips it at about 7.5 V; logic stands 7.0 V (the tray's design notes)."""
    known = Known(frozenset({"F1", "F2", "F3", "F4"}), trips={"P5": 7.5})
    shut = refusals(
        gates(tray.tray().assembly, found, proved(found, RIGHT | MASTER), HALF, known), "boards"
    )
    assert [g.name for g in shut] == ["over-voltage trip"]
    assert "7.50 V" in shut[0].refused[0]


def test_wrong_fuse_lifted_lead_and_override(found: LeansMap) -> None:
    assembly = tray.tray().assembly
    drawn = frozenset({"F1", "F3", "F4"})
    known = Known(drawn, {"F2": (("amps", "15A"),)}, {"P5": 6.2})
    now = Condition("raws", "half", (Change("R12", "lifted", "a"),))
    shut = gates(assembly, found, proved(found, RIGHT | MASTER, now, now), now, known)
    by = {g.name: g for g in shut}
    assert "F2 reads amps 15A, drawing says 8.0 A F" in by["fuses to drawing"].refused
    assert by["no open bypass or lift"].refused == ("R12 lead a lifted",)
    over = Known(
        known.as_drawn,
        known.otherwise,
        known.trips,
        overrides={"fuses to drawing": "spare set, nothing to lose"},
    )
    after = {g.name: g for g in gates(assembly, found, {}, now, over)}
    assert after["fuses to drawing"].state == "overridden" and after["fuses to drawing"].refused


TEXT = """assembly: Bench nine
parts:
  S1: {kind: supply, volts: 10V, pos: raw, neg: com}
  R1: {kind: resistor, value: 1k, a: raw, b: out}
  R2: {kind: resistor, value: 1k, a: out, b: com}
rails:
  OUT: {net: out, limits: 4..6V}
"""


def test_the_file_corrects_the_map_and_is_checked(tmp_path: Path) -> None:
    file = tmp_path / "b.yaml"
    file.write_text(TEXT + 'leans:\n  sense: {of: OUT, on: raw, why: "told by the manual"}\n')
    assembly, problems = load(file)
    assert assembly is not None, problems
    made = leans(Machine(assembly))
    assert [(e.of, e.source) for e in made.edges if e.on == "raw"] == [
        ("OUT", "told by the manual")
    ]
    file.write_text(TEXT + "leans:\n  sense: {of: OUT, on: rawx, why: x}\n  bad: {of: OUT}\n")
    assembly, problems = load(file)
    assert assembly is None
    said = [str(p) for p in problems]
    assert any("no rail, point or net `rawx`" in s and ":9:" in s for s in said)
    assert any("leans.bad" in s for s in said)


def test_air_outside_the_machines_limits_is_a_gate(tmp_path: Path) -> None:
    file = tmp_path / "b.yaml"
    file.write_text(TEXT + "air: {low: 10degC, high: 40degC}\n")
    assembly, problems = load(file)
    assert assembly is not None, problems
    cold = Condition("supply", ambient=4.0)
    made = leans(Machine(assembly))
    shut = refusals(gates(assembly, made, {}, cold, Known()), "power")
    assert [g.name for g in shut] == ["air temperature"] and "4 °C" in shut[0].refused[0]
    assert not refusals(gates(assembly, made, {}, Condition("supply"), Known()), "power")
    file.write_text(TEXT + "air: {low: 50degC, high: 40degC}\n")
    assert load(file)[0] is None


def test_rails_others_lean_on_stand_for_references_where_there_are_none() -> None:
    """The switching supply takes its reference from a rail of its own, with limits."""
    machine = stile.machine()
    kinds = {"rawc": "raw", "REF": "rail", "OUT": "rail"}
    edges = (Edge("OUT", "REF", 1.0, 0.0, "half", "by R9"),)
    made = LeansMap({k: k.lower() for k in kinds}, kinds, edges, (), ())
    for shown in (False, True):
        missing = () if shown else ("REF has no reading",)
        state = {
            "rawc": Proof("rawc", "raw", False, "", ("x",), ()),
            "REF": Proof("REF", "rail", shown, "", missing, ()),
            "OUT": Proof("OUT", "rail", False, "", ("what is being set",), ()),
        }
        shut = refusals(gates(machine.assembly, made, state, HALF, Known()), "trimmers")
        assert [g.name for g in shut] == ([] if shown else ["references"])
