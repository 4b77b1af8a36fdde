"""The demo tray against its design notes and against ngspice, an independent simulator.

Source of the notes' figures: design_notes.yaml (invented machine). ngspice runs live in every test.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from ruamel.yaml import YAML

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.script import load_faults
from halfsplit.bench.session import Session
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import predict
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.predictions import ADRIFT
from tests.simulator import bench, deck, tray

NOTES = YAML(typ="safe").load((Path(__file__).parent / "design_notes.yaml").read_text())
RAILS = {"n12", "p12", "p5"}
CASES = [("", load, nets) for load, nets in NOTES["healthy"].items()]
CASES += [
    (c["fault"], c["load"], {k: v for k, v in c.items() if k not in ("fault", "load")})
    for c in NOTES["faults"]
]


def allowed(net: str, value: float) -> float:
    """Rails 1 % + 10 mV, other nets 2 % + 30 mV."""
    return 0.01 * abs(value) + 0.010 if net in RAILS else 0.02 * abs(value) + 0.030


def ours(fault: str, condition: Condition, nets: list[str]) -> dict[str, float]:
    table = predict(tray.tray(), condition, [tray.fault(fault)], moves=[])
    assert table.status[0] != Status.UNSOLVED
    return {n: float(table.mean[0, table.column(n)]) for n in nets}


@pytest.mark.parametrize(("fault", "load", "nets"), CASES)
def test_design_notes(fault: str, load: str, nets: dict[str, float]) -> None:
    found = ours(fault, Condition("raws", load, tray.NO_CROWBAR), list(nets))
    for net, value in nets.items():
        limit = allowed(net, value)
        assert found[net] == pytest.approx(value, abs=limit), f"{fault or 'healthy'} {net}"


@pytest.mark.parametrize(("fault", "load", "nets"), CASES)
def test_same_circuit_in_ngspice(fault: str, load: str, nets: dict[str, float]) -> None:
    condition = Condition("raws", load, tray.NO_CROWBAR)
    found = ours(fault, condition, list(nets))
    reference = tray.by_ngspice(fault, condition, list(nets))
    assert reference is not None, "ngspice found no operating point"
    for net, value in reference.items():
        assert found[net] == pytest.approx(value, abs=allowed(net, value)), f"{fault} {net}"


def compare_single_faults(load: str, take: list[int] | None = None) -> tuple[list[str], list[str]]:
    """Single faults with the crowbar in place: disagreements, and ngspice failures."""
    machine = tray.tray()
    condition = Condition("raws", load)
    faults = single_faults(machine.assembly)[2:]
    chosen = list(range(len(faults))) if take is None else take
    table = predict(machine, condition, [faults[i].changes for i in chosen], moves=[])
    nets = [n for n in table.nets if n not in machine.alternating_nets() | machine.mains_nets()]
    wrong, unsolved = [], []
    for row, i in enumerate(chosen):
        assert table.status[row] != Status.UNSOLVED, faults[i].name
        solid = [n for n in nets if table.ohms[row, table.column(n)] < ADRIFT / 20]
        reference = tray.by_ngspice(faults[i].name, condition, solid)
        if reference is None:
            unsolved.append(faults[i].name)
            continue
        for n in solid:
            mine = float(table.mean[row, table.column(n)])
            if abs(mine - reference[n]) > allowed(n, reference[n]):
                wrong.append(
                    f"{load}: {faults[i].name}: {n} ours {mine:.3f} ngspice {reference[n]:.3f}"
                )
    return wrong, unsolved


def test_seeded_slice_of_all_single_faults() -> None:
    """The whole list is proofs/all_single_faults.py; here 60 of them, one load."""
    count = len(single_faults(tray.tray().assembly)) - 2
    take = sorted(np.random.default_rng(11).choice(count, 60, replace=False).tolist())
    wrong, unsolved = compare_single_faults("half", take)
    assert not wrong, "\n".join(wrong)
    assert len(unsolved) <= 2, unsolved


@pytest.mark.parametrize("load", ["none", "half", "full"])
def test_mains_cycle_against_ngspice(load: str) -> None:
    """Mean within 1 % + 10 mV on rails; raw rails 2 % + 30 mV; raw ripple within 10 %."""
    machine, condition = tray.tray(), Condition("mains", load, tray.NO_CROWBAR)
    table = predict(machine, condition, [{}], moves=[])
    nets = ["n12", "p12", "p5", "v5r", "vrpr", "vrnr", "sum", "ref"]
    written = deck.write(
        machine.topology,
        machine.values(condition),
        closed=frozenset({"K1:contact"}),
        transient=True,
    )
    reference = deck.mains_cycle(written, nets, 50.0, settle=0.6)
    assert reference is not None, "ngspice gave no cycle"
    for net, (mean, peak) in reference.items():
        column = table.column(net)
        assert float(table.mean[0, column]) == pytest.approx(mean, abs=allowed(net, mean)), net
        if peak > 0.2:
            assert float(table.ripple[0, column]) == pytest.approx(peak, rel=0.10), net


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("fault", ["C4 short", "R3 open", "CR3 open", "R13 open"])
def test_following_next_leads_to_the_fault(fault: str, seed: int, tmp_path: Path) -> None:
    file = tmp_path / "pt3.yaml"
    shutil.copy(tray.EXAMPLE, file)
    with Session(file) as session:
        session.set_condition(Condition("raws", "bench"))
        checks, trail = bench.follow(session, bench.Specimen(fault, seed), most=5)
    assert checks is not None, f"{fault} not found in 5 checks:\n" + "\n".join(trail)


# CR3 open and R13 open as well: proofs/from_nothing.py, for their time.
@pytest.mark.parametrize("fault", ["C4 short", pytest.param("R3 open", marks=pytest.mark.long)])
def test_following_next_from_nothing_on_the_mains(fault: str, tmp_path: Path) -> None:
    """As it stands after typing the file: fed by mains, no load, nothing measured yet."""
    file = tmp_path / "pt3.yaml"
    shutil.copy(tray.EXAMPLE, file)
    with Session(file) as session:
        checks, trail = bench.follow(session, bench.Specimen(fault, 21), most=5)
    assert checks is not None, f"{fault} not found in 5 checks:\n" + "\n".join(trail)


@pytest.mark.parametrize("load", ["half", "full"])
def test_as_found_script_against_ngspice(load: str) -> None:
    """The whole as-found script at once: five faults and settings, ours and ngspice's."""
    machine = tray.tray()
    changes = load_faults(machine.assembly, tray.EXAMPLE.with_name("as-found.yaml"))
    condition = Condition("raws", load)
    state = {**changes, **machine.values(condition)}
    table = predict(machine, condition, [changes], moves=[])
    nets = ["n12", "p12", "p5", "n1", "sum", "gate"]
    written = deck.write(machine.topology, state, closed=frozenset())
    reference = deck.operating_point(written, nets)
    assert reference is not None
    assert reference["gate"] < 0.7  # by ngspice too: the meddled crowbar does not fire
    for net, value in reference.items():
        mine = float(table.mean[0, table.column(net)])
        assert mine == pytest.approx(value, abs=allowed(net, value)), net
