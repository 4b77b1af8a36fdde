"""The demo switching unit of three-terminal regulators, by ngspice, against its table of checks.

Source of the figures: su6_notes.yaml (invented machine; common practice, no published source).
ngspice runs live, on the deck our file makes.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ruamel.yaml import YAML

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.script import load_faults
from tests.simulator import deck, su6, tray

NOTES: dict[str, Any] = YAML(typ="safe").load(
    (Path(__file__).parent / "su6_notes.yaml").read_text()
)


def within(found: float | None, limits: list[float], words: str) -> None:
    assert found is not None, words
    assert limits[0] <= found <= limits[1], f"{words}: {found:.4g} not in {limits}"


def rows(table: str, long: tuple[str, ...]) -> list[Any]:
    """Rows of a table of the notes; ngspice takes half a minute and more over some."""
    named = [(r.get("fault") or r["load"], r) for r in NOTES[table]]
    assert set(long) < {name for name, _ in named}
    marks = dict.fromkeys(long, pytest.mark.long)
    return [pytest.param(r, id=name, marks=marks.get(name, ())) for name, r in named]


@pytest.mark.parametrize("row", rows("healthy", ("none", "some")))
def test_healthy(row: dict[str, Any]) -> None:
    cold = row.get("cold", False)
    stop = 0.048 if cold else 8e-3
    waves = su6.run(su6.specimen("", row["load"], warm=not cold), stop)
    assert waves is not None, "ngspice gave up"
    settled = waves.since(stop - 4e-3)
    found = su6.figures(settled)
    for key in ("p5", "p12", "n15", "raw", "hertz5", "hertz12"):
        if key in row:
            within(found[key], row[key], f"{row['words']}: {key}")
    for key in ("hertz5", "hertz12"):
        assert (found[key] is not None) == row["switching"], row["words"]
    if not row["switching"]:  # nothing through the chokes: the regulators carry it all
        assert max(abs(settled.mean(settled.amps[c])) for c in ("L1", "L2")) < 1e-3
    for net, top in (("p5", 5.9), ("p12", 13.0)):  # no overshoot into the crowbar on the way up
        assert waves.volts[net].max() < top
    assert (waves.volts["trip"] - waves.volts["n15"]).max() < 0.3  # far from a stop


@pytest.mark.parametrize(
    ("out", "top", "base", "swing", "ohms"),
    [("p5", "e1", "b2", "sw5", 0.050), ("p12", "e11", "b12", "sw12", 0.100)],
)
def test_take_over_is_one_base_emitter_drop(
    out: str, top: str, base: str, swing: str, ohms: float
) -> None:
    """Load at which the choke first carries 1 mA, by ngspice's operating point.

    Up to some 110 mA the driver then helps without switching: a stable standstill to our follower,
    while ngspice, begun mid-beat at 100 mA, goes on switching. Both states exist.
    """
    machine, row = su6.machine(), NOTES["take_over"]
    for milliamps in range(50, 80, 2):
        state = machine.values(Condition("raws", "none"))
        state[f"drain:{out}", "amps"] = milliamps * 1e-3
        point = deck.operating_point(deck.write(machine.topology, state), [top, base, swing, out])
        assert point is not None, f"ngspice gave up at {milliamps} mA"
        if (point[swing] - point[out]) / ohms > 1e-3:
            break
    assert milliamps > 50  # the regulator alone carries the light load
    within(point[top] - point[base], row["base_emitter"], row["words"])
    within(milliamps * 1e-3, row["amps"], row["words"])


def test_negative_regulator() -> None:
    row = NOTES["negative"]
    machine = su6.machine()
    feed = machine.assembly.feeds["raws"].nets["n30c"]
    assert feed.volts == row["input"]
    written = deck.write(machine.topology, machine.values(Condition("raws", "none")))
    found = deck.operating_point(written, ["n30", "n15"])
    assert found is not None
    within(found["n15"], row["n15"], row["words"])


@pytest.mark.parametrize("ref", ["CR51", "CR52", "CR53", "CR54"])
@pytest.mark.parametrize("shorted", [True, False])
def test_diode_test(ref: str, shorted: bool) -> None:
    """A meter's 1 mA, unpowered, in circuit: shorted reads nothing both ways, good does not."""
    machine = su6.machine()
    state = machine.values(Condition("off", "none"))
    state |= tray.modes(machine, f"{ref} short" if shorted else "")
    anode, cathode = machine.assembly.parts[ref].terminals().values()
    seen = []
    for plus, minus in ((anode, cathode), (cathode, anode)):
        written = deck.write(machine.topology, state)
        p, m = written.net(plus), written.net(minus)
        # The meter's own ceiling: about 2.5 V.
        written.lines += [f"Imeter {m} {p} 1m", f"Vtop top {m} 1.9", f"Dtop {p} top Mtop"]
        written.lines += [".model Mtop D(is=1e-14)"]
        volts = deck.operating_point(written, [plus, minus])
        assert volts is not None
        seen.append(volts[plus] - volts[minus])
    row = NOTES["diode_test"]
    if shorted:
        assert max(map(abs, seen)) <= row["shorted"], row["words"]
    else:
        assert min(map(abs, seen)) >= row["good"]


@pytest.mark.parametrize("row", rows("protection", ("U3 no output", "overload")))
def test_protection(row: dict[str, Any]) -> None:
    waves = su6.run(su6.specimen(row["fault"], row["load"], warm=True), row["run"])
    assert waves is not None, "ngspice gave up"
    stops = su6.stops(waves)
    assert stops.size >= row["stops"], row["words"]
    assert np.diff(stops).min() > 5e-3  # it stays off between, not chattering
    assert waves.amps["L1"].max() < row["choke"]
    late = waves.since(0.7 * row["run"])
    assert late.mean(late.volts["p5"]) < row["p5_below"]
    if "p5_peak" in row:
        within(float(waves.volts["p5"].max()), row["p5_peak"], row["words"])


def test_slow_freewheel_diode_stops_it_only_at_load() -> None:
    """Recovery of some 6 us looks to the sense transistor like an overload; at 50 mA nothing shows.

    Common practice, no published source.
    """
    waves = su6.run(su6.specimen("CR1 slow", "full", warm=True), 4e-3)
    assert waves is not None
    assert su6.stops(waves).size >= 1
    waves = su6.run(su6.specimen("CR1 slow", "light", warm=True), 4e-3)
    assert waves is not None
    assert su6.stops(waves).size == 0
    settled = waves.since(2e-3)
    assert settled.mean(settled.volts["p5"]) == pytest.approx(5.0, abs=0.25)


def test_dried_output_capacitor_shows_in_frequency_not_in_volts() -> None:
    """Common practice, no published source."""
    waves = su6.run(su6.specimen("C3 dried", "full", warm=True), 3e-3)
    assert waves is not None
    found = su6.figures(waves.since(1.5e-3))
    assert found["p5"] == pytest.approx(5.0, abs=0.25)
    assert found["hertz5"] is not None and found["hertz5"] > 30e3


def test_as_found() -> None:
    """-15 V dead behind a blown fuse, crowbar silenced: 5 V passes the limit of its logic."""
    changes = load_faults(su6.machine().assembly, su6.EXAMPLE.with_name("as-found.yaml"))
    waves = su6.run(su6.specimen("", "light", changes=changes, warm=False), 0.06)
    assert waves is not None
    assert waves.volts["n15"][-1] > 0.3  # the wrong sign
    assert waves.volts["p5"].max() > 7.0
