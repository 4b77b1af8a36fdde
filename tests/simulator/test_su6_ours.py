"""The demo switching unit in our own time domain: its table of checks, and live ngspice.

Source of the figures: su6_notes.yaml (invented machine; common practice, no published source).
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ruamel.yaml import YAML

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Status
from halfsplit.faults.dead import Ask, DeadCircuit
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.ohmmeter import ohmmeters
from tests.simulator import su6, tray

NOTES: dict[str, Any] = YAML(typ="safe").load(
    (Path(__file__).parent / "su6_notes.yaml").read_text()
)
SLICE = 2  # faults held against ngspice
CYCLING = (Status.RESTARTING, Status.OSCILLATING)  # a tick under 20 ms counts as a beat


@cache
def ours(fault: str, load: str) -> dict[str, float]:
    one = su6.specimen(fault, load)
    top = one.topology
    solved, rhythm = follow(top, top.rows([one.changes]))
    assert solved.residual[0] < 1e-6  # Kirchhoff's law apart from the solver's own test
    found = {"status": float(solved.status[0]), "period": float(rhythm.period[0])}
    for net in ("p5", "p12", "n15", "raw"):
        at = top.net_index[net]
        found[net] = float(solved.mean[0, at])
        found[f"{net}_high"] = float(solved.high[0, at])
        found[f"{net}_ripple"] = float(solved.high[0, at] - solved.low[0, at])
    for choke in ("L1", "L2"):
        at = top.element_index[choke]
        found[f"{choke}_low"] = float(rhythm.held_low[0, at])
        found[f"{choke}_high"] = float(rhythm.held_high[0, at])
    return found


@pytest.mark.parametrize("row", NOTES["healthy"], ids=lambda r: r["load"])
def test_healthy(row: dict[str, Any]) -> None:
    """From switch-on, all of them: with no load it comes up too."""
    found = ours("", row["load"])
    switching = found["status"] == Status.OSCILLATING
    assert switching or found["status"] == Status.SOLVED
    assert switching == row["switching"], row["words"]
    for key in ("p5", "p12", "n15", "raw"):
        if key in row:
            assert row[key][0] <= found[key] <= row[key][1], f"{row['words']}: {key}"
    if not switching:
        assert max(found["L1_high"], found["L2_high"]) < 1e-3
    if "hertz12" in row:  # the choke of the sister keeps time
        assert row["hertz12"][0] <= 1.0 / found["period"] <= row["hertz12"][1]


@pytest.mark.parametrize("row", NOTES["protection"], ids=lambda r: r["fault"] or r["load"])
def test_protection(row: dict[str, Any]) -> None:
    found = ours(row["fault"], row["load"])
    assert found["status"] in CYCLING
    assert found["period"] > 5e-3, row["words"]
    assert found["p5"] < row["p5_below"]
    assert max(found["L1_high"], found["L2_high"]) < row["choke"]


@pytest.mark.parametrize("ref", ["CR51", "CR52", "CR53", "CR54"])
@pytest.mark.parametrize("shorted", [True, False])
def test_diode_test_of_a_rectifier(ref: str, shorted: bool) -> None:
    machine, row = su6.machine(), NOTES["diode_test"]
    anode, cathode = machine.assembly.parts[ref].terminals().values()
    changes = tray.modes(machine, f"{ref} short" if shorted else "")
    asks = [Ask(anode, cathode, changes), Ask(cathode, anode, changes)]
    found = DeadCircuit(machine).read(asks, Condition("off", "none"), ohmmeters()["diode"])
    assert found.ok.all()
    if shorted:
        assert np.abs(found.value).max() <= row["shorted"], row["words"]
    else:
        assert (found.over | (found.value >= row["good"])).all()


def test_full_load_agrees_with_ngspice() -> None:
    """Frequency 10 %, ripple 10 %, volts 1 % + 10 mV, choke 0.1 A."""
    waves = su6.run(su6.specimen("", "full", warm=True), 6e-3)
    assert waves is not None
    theirs, found = su6.figures(waves.since(3e-3)), ours("", "full")
    agree(theirs, found)
    assert theirs["hertz12"] is not None
    assert 1.0 / found["period"] == pytest.approx(theirs["hertz12"], rel=0.10)
    for key in ("L1_low", "L1_high", "L2_low", "L2_high"):
        assert found[key] == pytest.approx(theirs[key], abs=0.1), key


def agree(theirs: dict[str, float | None], found: dict[str, float]) -> None:
    for net in ("p5", "p12", "n15"):
        assert found[net] == pytest.approx(theirs[net], rel=0.01, abs=0.01), net
    for net in ("p5", "p12"):
        assert found[f"{net}_ripple"] == pytest.approx(
            theirs[f"{net}_ripple"], rel=0.10, abs=5e-3
        ), net


def _slice() -> list[str]:
    names = [h.name for h in single_faults(su6.machine().assembly)[2:]]
    picked = np.random.default_rng(6).choice(len(names), SLICE, replace=False)
    return [names[i] for i in picked]


@pytest.mark.parametrize(
    "fault",
    [pytest.param(n, marks=pytest.mark.long if n.startswith("U2") else ()) for n in _slice()],
)
def test_seeded_faults_agree_with_ngspice(fault: str) -> None:
    found = ours(fault, "half")
    assert found["status"] != Status.UNSOLVED
    # A rail pulled down by its load alone takes 0.1 s: begun where we have it, it must stay there.
    start = {net: found[net] for net in ("p5", "p12")}
    waves = su6.run(su6.specimen(fault, "half", warm=True, start=start), 12e-3)
    assert waves is not None, f"ngspice gave up on {fault}"
    theirs = su6.figures(waves.since(8e-3))
    agree(theirs, found)
    if found["status"] == Status.OSCILLATING and theirs["hertz12"] is not None:
        assert 1.0 / found["period"] == pytest.approx(theirs["hertz12"], rel=0.10)
