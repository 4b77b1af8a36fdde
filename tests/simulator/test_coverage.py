"""A seeded slice of proofs/spread_coverage.py, and what a reading with two states says."""

from __future__ import annotations

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load as load_file
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.op import operating_point
from halfsplit.faults.dictionary import predict, uncertainties
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.sampling import draws
from halfsplit.faults.spreads import Spreads
from tests.simulator import tray
from tests.simulator.coverage import coverage


@pytest.mark.parametrize("load", ["none", "half", "full"])
def test_intervals_hold_what_good_specimens_read(load: str) -> None:
    """85 to 95 % of fresh specimens within the 90 % interval, in nearly every reading."""
    hypotheses = single_faults(tray.tray().assembly)[2:]
    chosen = np.random.default_rng(41).choice(len(hypotheses), 10, replace=False)
    faults = [hypotheses[i].changes for i in chosen]
    before, after, _ = coverage(load, faults, 400, seed=3)
    assert after.unsolved == 0
    assert after.readings > 200
    assert after.good >= 0.95 * after.readings, after
    assert after.rails_good >= 0.9 * after.rails, after
    assert before.good < 0.8 * before.readings, before  # what slopes alone would have done


def test_draws_fill_their_band_evenly() -> None:
    z = draws(500, 7)
    assert z.std(axis=0) == pytest.approx(1.0, abs=0.01)
    assert np.abs(z).max() <= 3**0.5
    assert np.abs(np.corrcoef(z.T) - np.eye(7)).max() < 0.15
    counts = np.histogram(z[:, 3], 500, (-(3**0.5), 3**0.5))[0]
    assert (counts == 1).all()  # one in each strip


def test_a_reading_decided_by_tolerances_says_both(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """A thyristor whose gate stands at its trigger point: fired in some specimens, not in others.

    The share is counted again by drawing resistors and trigger here, with another seed.
    """
    file = tmp_path / "gate.yaml"
    file.write_text(
        """assembly: Bench ten
parts:
  S1: {kind: supply, volts: 5V, ohms: 10mohm, pos: vcc, neg: com}
  R1: {kind: resistor, value: 100R, power: 1W, a: vcc, b: out}
  R2: {kind: resistor, value: 850R, a: vcc, b: gate}
  SCR1: {kind: scr, volts: 50V, amps: 4A, trigger_volts: 0.7V, trigger_amps: 5mA,
         holding_amps: 5mA, a: out, k: com, g: gate}
"""
    )
    assembly, problems = load_file(file)
    assert assembly is not None, problems
    machine = Machine(assembly)
    top, condition = machine.topology, Condition("supply")
    table = predict(machine, condition, [{}])
    spreads = Spreads(machine, uncertainties(machine))
    table = table.with_draws(spreads.drawn(condition, [{}], table, [0], ["out"]), table.nets)
    share = float(table.drawn[0].share)
    words = table.bistable(0, "out")
    assert words.startswith("bistable: out reads about")
    assert table.bistable(0, "vcc") == ""

    base = {k: top.base[s] for k, s in top.slot.items()}
    random, rows = np.random.default_rng(8), []
    for _ in range(2000):
        values = {}
        for move in uncertainties(machine):
            z = random.uniform(-(3**0.5), 3**0.5)
            for key, target in move.changes.items():
                values[key] = base[key] * (target / base[key]) ** z
        rows.append(values)
    out = operating_point(top, top.rows(rows)).mean[:, top.net_index["out"]]
    marked = float(table.mean[0, table.column("out")])
    same = float((np.abs(out - marked) < 1.0).mean())
    assert 0.1 < same < 0.9  # else the case tests nothing
    assert share == pytest.approx(same, abs=0.06)
