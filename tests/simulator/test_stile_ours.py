"""The switching demo supply in our own time domain: against its design notes and live ngspice."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Status
from tests.simulator import stile

NOTES: dict[str, Any] = YAML(typ="safe").load(
    (Path(__file__).parent / "stile_notes.yaml").read_text()
)


@cache
def ours(fault: str, load: str) -> dict[str, float]:
    one = stile.specimen(fault, load)
    top = one.topology
    solved, rhythm = follow(top, top.rows([one.changes]))
    out, choke = top.net_index["out"], top.element_index["L1"]
    assert solved.residual[0] < 1e-6  # Kirchhoff's law apart from the solver's own test
    return {
        "status": float(solved.status[0]),
        "out": float(solved.mean[0, out]),
        "ripple": float(solved.high[0, out] - solved.low[0, out]),
        "c9": float(solved.high[0, top.net_index["c9"]]),
        "period": float(rhythm.period[0]),
        "choke_low": float(rhythm.held_low[0, choke]),
        "choke_high": float(rhythm.held_high[0, choke]),
    }


@pytest.mark.parametrize("load", ["half", "full"])
def test_healthy_as_the_design_notes_have_it(load: str) -> None:
    """Volts 1 % + 10 mV, ripple and frequency 10 %, choke 0.2 A."""
    found, noted = ours("", load), NOTES["healthy"][load]
    assert found["status"] == Status.OSCILLATING
    assert found["out"] == pytest.approx(noted["out"], rel=0.01, abs=0.01)
    assert found["ripple"] == pytest.approx(noted["ripple"], rel=0.15)
    assert 1.0 / found["period"] == pytest.approx(noted["hertz"], rel=0.10)
    assert found["choke_low"] == pytest.approx(noted["choke_low"], abs=0.2)
    assert found["choke_high"] == pytest.approx(noted["choke_high"], abs=0.2)


@pytest.mark.parametrize("load", ["shorted", "overload"])
def test_overload_restarts(load: str) -> None:
    """A dead short: 13.9 A peaks every 0.118 s, c9 to 7.5 V in the notes; 0.40 ohm: restarts."""
    found, noted = ours("", load), NOTES["restart"]["shorted"]
    assert found["status"] == Status.RESTARTING
    assert found["period"] == pytest.approx(noted["period"], rel=0.10)
    assert found["choke_high"] == pytest.approx(noted["choke_high"], rel=0.05)
    assert found["c9"] == pytest.approx(noted["c9"], rel=0.05)


@pytest.mark.parametrize("load", ["half", "full"])
def test_a_capacitor_of_too_low_resistance(load: str) -> None:
    """4.2 to 4.4 kHz in the notes, a fifth of what it should be; the choke swings as far as 7 A."""
    found = ours("C5 low esr", load)
    noted = next(f for f in NOTES["faults"] if f["fault"] == "C5 low esr" and f["load"] == load)
    assert found["status"] == Status.OSCILLATING
    assert 1.0 / found["period"] == pytest.approx(noted["hertz"], rel=0.10)
    assert found["choke_low"] == pytest.approx(noted["choke_low"], abs=0.3)
    assert found["choke_high"] == pytest.approx(noted["choke_high"], abs=0.3)


def test_at_11_amperes_it_trips_in_the_end() -> None:
    """The notes looked for milliseconds. ngspice: with c9 at 7 V, nearly there, it still fills.

    At half load it empties from there, so there it is the trip that ngspice rules out.
    """
    assert ours("", "over")["status"] == Status.RESTARTING
    rise = {}
    for load in ("half", "over"):
        waves = stile.run(stile.specimen("", load, start={"c9": 7.0, "oc": 7.0}), 2e-3, 2e-7)
        assert waves is not None
        early = float(waves.since(5e-4).volts["c9"][0])
        rise[load] = float(waves.volts["c9"][-1]) - early
    assert rise["over"] > 0.0 > rise["half"]


def test_half_load_agrees_with_ngspice() -> None:
    """Frequency 10 %, ripple 10 %, volts 1 % + 10 mV, at a step ngspice no longer moves with."""
    waves = stile.run(stile.specimen("", "half"), 2e-3, 2e-7)
    assert waves is not None
    theirs, found = stile.figures(waves.since(1e-3)), ours("", "half")
    assert theirs["hertz"] is not None and theirs["ripple"] is not None
    assert 1.0 / found["period"] == pytest.approx(theirs["hertz"], rel=0.10)
    assert found["ripple"] == pytest.approx(theirs["ripple"], rel=0.10)
    assert found["out"] == pytest.approx(theirs["out"], rel=0.01, abs=0.01)
