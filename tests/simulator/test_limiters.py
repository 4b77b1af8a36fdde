"""A lamp in series and a low mains, on the demo tray's mains, against ngspice."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bench.hazards import present
from halfsplit.bench.session import Session
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import predict
from halfsplit.problems import ProblemsError
from tests.simulator import deck, tray

NETS = ["v5r", "vrpr", "vrnr"]
# Closed by ngspice's own coil volts: with this little left of the mains the relay stays at rest.
CASES = [(60.0, 1.0, "none"), (100.0, 1.0, "half"), (0.0, 0.9, "half")]


@pytest.mark.parametrize(("lamp", "level", "load"), CASES)
def test_shares_the_mains_as_ngspice_says(lamp: float, level: float, load: str) -> None:
    """Raw rails and the swing left at the primary within 10 %; ngspice's filament has warmth."""
    machine = tray.tray()
    condition = Condition("mains", load, tray.NO_CROWBAR, mains=level, lamp=lamp)
    table = predict(machine, condition, [{}], moves=[])
    assert table.status[0] in (Status.SOLVED, Status.POWERED_UP)
    mine = {n: float(table.mean[0, table.column(n)]) for n in NETS}
    coil = float(table.mean[0, table.column("p12")] - table.mean[0, table.column("n12")])
    written = deck.write(
        machine.topology,
        machine.values(condition),
        closed=frozenset({"K1:contact"} if coil > 18.0 else ()),
        transient=True,
    )
    reference = deck.mains_cycle(written, [*NETS, "pri", "live"], 50.0, settle=1.2)
    assert reference is not None, "ngspice gave no cycle"
    for net in NETS:
        assert mine[net] == pytest.approx(reference[net][0], rel=0.10), net
    swing = float(table.ripple[0, table.column("pri")])
    assert swing == pytest.approx(reference["pri"][1], rel=0.10)
    if lamp:
        assert swing < 0.97 * 2 * 2**0.5 * 230.0  # the lamp takes its share


def test_a_shorted_reservoir_leaves_the_mains_to_the_lamp() -> None:
    """What the lamp is for: with a dead short the lamp lights and little is left for the rest."""
    machine = tray.tray()
    short = tray.fault("C1 short")
    left = {}
    for lamp in (0.0, 60.0):
        condition = Condition("mains", "none", tray.NO_CROWBAR, lamp=lamp)
        table = predict(machine, condition, [{}, short], moves=[])
        left[lamp] = table.ripple[:, table.column("pri")]
    assert left[60.0][1] < 0.35 * left[60.0][0]


def test_a_feed_may_have_its_limiter(tmp_path: Path) -> None:
    """Level and lamp of a feed in the file; what a condition says itself wins."""
    file = tmp_path / "pt3.yaml"
    text = tray.EXAMPLE.read_text()
    file.write_text(
        text.replace("  mains: {mains: true}", "  mains: {mains: true, level: 90%, lamp: 60W}")
    )
    assembly, problems = load(file)
    assert assembly is not None, problems
    machine = Machine(assembly)
    values = machine.values(Condition("mains"))
    assert values["J1", "ac"] == pytest.approx(0.9 * 230.0 * 2**0.5)
    assert values["J1:lamp", "amps"] == pytest.approx(60.0 / 230.0)
    out = machine.values(Condition("mains", mains=1.0, lamp=0.0))
    assert ("J1", "ac") not in out
    assert ("J1:lamp", "amps") not in out
    assert any(
        "60 W lamp limits current, not voltage" in h for h in present(machine, Condition("mains"))
    )


def test_limited_bench_supply_slides_into_its_limit(tmp_path: Path) -> None:
    """25 V at most 0.2 A into a raw rail that draws more: the current is the limit's."""
    file = tmp_path / "bench.yaml"
    file.write_text(
        """assembly: Bench nine
parts:
  R1: {kind: resistor, value: 10R, power: 100W, a: vraw, b: com}
  R2: {kind: resistor, value: 10k, a: vraw, b: com}
feeds:
  bench: {nets: {vraw: {volts: 25V, limit: 200mA}}}
"""
    )
    assembly, problems = load(file)
    assert assembly is not None, problems
    table = predict(Machine(assembly), Condition("bench"), [{}], moves=[])
    assert float(table.mean[0, table.column("vraw")]) == pytest.approx(0.2 * 10.0, rel=0.01)


def test_typed_limiters(tmp_path: Path) -> None:
    file = tmp_path / "pt3.yaml"
    shutil.copy(tray.EXAMPLE, file)
    with Session(file) as session:
        at = session.condition_from("mains", "half", mains="90%", lamp="60W", ambient="35degC")
        assert (at.mains, at.lamp, at.ambient) == (0.9, 60.0, 35.0)
        assert Condition.from_dict(at.as_dict()) == at
        assert "60 W lamp in series" in at.words()
        assert session.condition_from(None, None, lamp="none").lamp == 0.0
        session.set_condition(at)
        assert session.condition == at
        assert session.condition_from("raws", None) == replace(
            at, feed="raws", mains=None, lamp=None
        )
        for bad in ({"mains": "9"}, {"mains": "ninety"}, {"lamp": "60V"}, {"ambient": "400degC"}):
            with pytest.raises(ProblemsError):
                session.condition_from(None, None, **bad)
        with pytest.raises(ProblemsError, match="does not use the mains"):
            session.condition_from("raws", None, lamp="60W")
