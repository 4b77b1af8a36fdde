"""A seeded slice of the drill with ngspice behind the readings (whole: proofs/drill.py)."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "proofs"))

import pytest
from drill import drill  # type: ignore[import-not-found]

from halfsplit.assembly.condition import Change, Condition
from halfsplit.bench.drill import score
from halfsplit.bench.drill_bench import Case
from halfsplit.circuit.solution import Status
from halfsplit.diagnosis.evidence import Meter
from halfsplit.diagnosis.next_check import Candidate
from halfsplit.faults.followed import followed
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.ohmmeter import ohmmeters
from tests.simulator import stile, tray
from tests.simulator.drill_bench import NgspiceBench, SwitchingBench


def test_single_faults_are_found() -> None:
    """The first three of the proof's single faults, seed 1, 45 of 45 when it was last run."""
    played, failed = drill("hd40", {"single": range(3)})
    assert failed == 0
    assert all(p.top and p.right for p in played), [(p.case.name, p.trail) for p in played]
    table = score(played)["single"]
    assert table["hazardous_checks"] == 0 and table["unanswered"] == 0


def test_the_bench_reads_a_dead_machine_too() -> None:
    """R31 across C1 and nothing else between the raw 5 V and common: 100 ohm, by ngspice."""
    machine = tray.tray()
    bench = NgspiceBench(machine, Case("healthy", (), 11))
    off, meter = Condition("off", "bench", (Change("R31", "lifted", "a"),)), ohmmeters()["auto"]
    found = [
        bench.read(Candidate("v5r", "ohms", at, 1.0, "com", ohmmeter=meter), Meter())
        for at in (Condition("off", "bench"), off)
    ]
    assert found[0] is not None and found[1] is not None
    assert 80.0 < float(found[0]) < 120.0
    assert found[1] == "OL" or float(found[1]) > 10.0 * float(found[0])


def test_a_healthy_machine_is_left_alone() -> None:
    (played,), failed = drill("hd40", {"healthy": [0]})
    assert failed == 0
    assert played.claimed is None and played.accused == 0, played.trail


def test_a_switching_machine_is_read_in_the_time_domain() -> None:
    """The switching supply at half load, its trimmer not yet set: the rail within a tenth of 5 V,
    some ripple, and a switch that keeps time."""
    bench = SwitchingBench(stile.machine(), Case("healthy", (), 11))
    at, found = Condition("raw", "half"), {}
    for net, quantity in (("out", "volts"), ("out", "ripple"), ("sw", "frequency")):
        text = bench.read(Candidate(net, quantity, at, 1.0), Meter())  # type: ignore[arg-type]
        assert text is not None and bench.failed == 0
        found[quantity] = float(text.removesuffix("Hz"))
    assert 4.5 < found["volts"] < 5.5
    assert 0.005 < found["ripple"] < 0.12
    assert 5e3 < found["frequency"] < 1e5


@pytest.mark.parametrize(
    ("fault", "status", "net"),
    [("Q1 c-e short", Status.LATCHED, "out"), ("CR3 open", Status.RESTARTING, "c9")],
)
def test_what_latches_and_what_restarts_is_read_too(fault: str, status: Status, net: str) -> None:
    """The crowbar holds the output down; the over-current trip tries again and again. ngspice takes
    each on from where our follower ends, and what it makes of it agrees within a twentieth."""
    machine, at = stile.machine(), Condition("raw", "half")
    (known,) = [h for h in single_faults(machine.assembly) if h.name == fault]
    bench = SwitchingBench(machine, Case("single", known.faults, 11))
    rows = machine.topology.rows([{**bench.values, **machine.values(at)}])
    solved, _ = followed(machine.topology, rows)
    assert int(solved.status[0]) == status
    text = bench.read(Candidate(net, "volts", at, 1.0), Meter())
    assert text is not None and bench.failed == 0
    ours = float(solved.mean[0, machine.topology.net_index[net]])
    assert float(text) == pytest.approx(ours, rel=0.05)
    if status is Status.RESTARTING:
        assert bench.read(Candidate("sw", "frequency", at, 1.0), Meter()) is None
