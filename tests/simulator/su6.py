"""The demo switching unit around three-terminal regulators, as specimens for ngspice."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from halfsplit.assembly.condition import Change, Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.topology import Topology
from tests.simulator import deck, tray
from tests.simulator.waves import COARSE, Waves, transient

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "tl6" / "su6.yaml"
SWING = (14.0, 6.0)  # V at sw5 and sw12: on above the first, off below the second
WATCHED = ["raw", "n15", "p5", "sw5", "cm5", "ss5", "b2", "ri5", "e1", "g5"]
WATCHED += ["p12", "sw12", "cm12", "b12", "ri12", "e11", "g12", "trip", "stop", "ramp"]
CARRIED = ["L1", "L2", "R2", "R22", "R4", "R24", "feed:rawc", "feed:n30c"]
# Wrong parts and settings of the story, as changes fitted; other faults are modes of the parts.
FITTED = {
    "CR1 slow": Change("CR1", "fitted", "", (("recovery", "6us"),)),
    "CR2 wrong": Change("CR2", "fitted", "", (("type", "1N4743A"),)),
    "C3 dried": Change("C3", "fitted", "", (("esr", "600mohm"), ("value", "300u"))),
}


@cache
def machine() -> Machine:
    """The compiled demo unit."""
    assembly, problems = load(EXAMPLE)
    assert assembly is not None, problems
    return Machine(assembly)


@dataclass(frozen=True)
class Specimen:
    """One unit with one fault at one load.

    Attributes
    ----------
    topology, changes: what our own solver is given (`topology.rows([changes])`).
    start, amps: net volts and choke amperes a run begins at; both empty from switch-on.
    deck: the same circuit for ngspice, begun in the same state.
    """

    topology: Topology
    changes: Overrides
    start: dict[str, float]
    amps: dict[str, float]
    deck: deck.Deck = field(repr=False)


def specimen(
    fault: str,
    load: str,
    *,
    feed: str = "raws",
    warm: bool = False,
    start: dict[str, float] | None = None,
    changes: Overrides | None = None,
) -> Specimen:
    """A fault ("" healthy, "CR1 slow", "U3 no output"; " + " joins) at a load of the file.

    `warm` begins near the healthy steady state, save nets given in `start` [V]; else everything is
    discharged. `changes` (of a fault script) are laid over the rest.
    """
    built = machine()
    fitted = [FITTED[f] for f in fault.split(" + ") if f in FITTED]
    modes = " + ".join(f for f in fault.split(" + ") if f and f not in FITTED)
    condition = Condition(feed, load, tuple(sorted(fitted, key=lambda c: c.part)))
    # The condition first: a fault of a part wins over the values of its socket.
    laid = {**built.values(condition), **tray.modes(built, modes), **(changes or {})}
    state: dict[str, float] = {}
    flowing: dict[str, float] = {}
    if warm:
        state = {"rawc": 26.0, "raw": 26.0, "n30c": -30.0, "n30": -30.0, "n15": -15.0}
        state |= {"p5": 5.0, "p12": 12.0, "ramp": 0.73, "trip": -15.0, "b21": -15.0}
        state |= {"ob5": 26.0, "ob12": 26.0, "oc5": -15.0, "oc12": -15.0, "b22": -15.0}
        state |= {"c23": -15.0, "snap": -15.0, "b23": 26.0, "pulse": 26.0}
        state |= dict.fromkeys(("e1", "b1", "b2", "ri5", "e11", "b11", "b12", "ri12"), 26.0)
        state |= dict.fromkeys(("kb5", "kb12", "stop"), 26.0)
        ohms = built.assembly.loads[load]
        for net, volts, choke in (("p5", 5.0, "L1"), ("p12", 12.0, "L2")):
            r = ohms[net].ohms if net in ohms else None
            flowing[choke] = volts / r if r and 1.0 < r < 50.0 else 0.0
    state |= start or {}
    written = deck.write(
        built.topology,
        laid,
        open_lead=tray.open_lead(fault),
        transient=True,
        start=state,
        amps=flowing,
        memory=5e-6,
    )
    return Specimen(built.topology, laid, state, flowing, written)


def run(one: Specimen, stop: float, step: float = 2e-6, keep: float = 0.0) -> Waves | None:
    """Waveforms of a specimen by ngspice."""
    amps = [a for a in CARRIED if a in one.deck.through]
    return transient(one.deck, WATCHED, stop, step, amps=amps, keep=keep, options=COARSE)


def figures(waves: Waves) -> dict[str, float | None]:
    """What the table of checks states of a run: volts, ripple, frequency, currents."""
    found: dict[str, float | None] = {}
    for net in ("raw", "n15", "p5", "p12", "cm5", "cm12", "ramp", "trip"):
        found[net] = waves.mean(waves.volts[net])
    for net, choke in (("p5", "L1"), ("p12", "L2")):
        found[f"{net}_ripple"] = float(np.ptp(waves.volts[net]))
        found[f"{net}_most"] = float(waves.volts[net].max())
        if choke in waves.amps:
            found[f"{choke}_low"] = float(waves.amps[choke].min())
            found[f"{choke}_high"] = float(waves.amps[choke].max())
    found["hertz5"] = waves.hertz(waves.volts["sw5"], *SWING)
    found["hertz12"] = waves.hertz(waves.volts["sw12"], *SWING)
    # The regulator's own current: through the resistor in its input lead.
    found["u1_amps"] = waves.mean((waves.volts["b2"] - waves.volts["ri5"]) / 100.0)
    found["u2_amps"] = waves.mean((waves.volts["b12"] - waves.volts["ri12"]) / 56.0)
    found["q1_amps"] = waves.mean((waves.volts["raw"] - waves.volts["e1"]) / 0.10)
    found["trip_most"] = float((waves.volts["trip"] - waves.volts["n15"]).max())
    if "feed:rawc" in waves.amps:
        found["raw_amps"] = waves.mean(waves.amps["feed:rawc"])
    return found


def stops(waves: Waves) -> np.typing.NDArray[np.float64]:
    """Times [s] at which the over-current stop set in: `stop` pulled well below the raw rail."""
    return waves.rises(-waves.volts["stop"], -5.0, -12.0)
