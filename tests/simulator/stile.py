"""The switching demo supply as specimens for ngspice, and what its design notes say of them."""

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
from tests.simulator.waves import Waves, transient

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "stile17" / "ob8.yaml"
SWING = (14.0, 3.0)  # V at sw: on above the first, off below the second
WATCHED = ["out", "sw", "c9", "h12", "ref", "refn", "cmp", "trip", "raw", "gate"]
# Wrong parts of the story, as changes fitted; other faults are modes of the parts.
FITTED = {
    "CR5 slow": Change("CR5", "fitted", "", (("type", "1N1200A"),)),
    "C5 low esr": Change("C5", "fitted", "", (("esr", "5mohm"),)),
    "C5 dried": Change("C5", "fitted", "", (("esr", "300mohm"), ("value", "600u"))),
}
NO_CROWBAR = (Change("SCR1", "removed"),)  # the notes list the volts that would exist


@cache
def machine() -> Machine:
    """The compiled demo supply."""
    assembly, problems = load(EXAMPLE)
    assert assembly is not None, problems
    return Machine(assembly)


@dataclass(frozen=True)
class Specimen:
    """One supply with one fault at one load.

    Attributes
    ----------
    topology, changes: what our own solver is given (`topology.rows([changes])`).
    deck: the same circuit for ngspice, started warm (or cold).
    """

    topology: Topology
    changes: Overrides
    deck: deck.Deck = field(repr=False)


def specimen(
    fault: str,
    load: str,
    *,
    warm: bool = True,
    start: dict[str, float] | None = None,
    crowbar: bool = True,
    changes: Overrides | None = None,
) -> Specimen:
    """A fault ("" healthy, "CR5 slow", "Q1 c-e short"; "+" joins) at a load of the file.

    `warm` starts from the healthy steady state, save nets given in `start` [V]; else all is at 0.
    `changes` (of a fault script) are laid over the rest.
    """
    built = machine()
    fitted = [FITTED[f] for f in fault.split(" + ") if f in FITTED]
    modes = " + ".join(f for f in fault.split(" + ") if f and f not in FITTED)
    removed = () if crowbar else NO_CROWBAR
    condition = Condition("raw", load, tuple(sorted((*fitted, *removed), key=lambda c: c.part)))
    # The condition first: a fault of a part wins over the values of its socket.
    laid = {**built.values(condition), **tray.modes(built, modes), **(changes or {})}
    ohms = built.assembly.loads[load]["out"].ohms
    assert ohms is not None
    amps = 4.96 / ohms
    state: dict[str, float] = {}
    if warm:
        state = {"rawc": 28.0, "raw": 28.0, "swe": 28.0, "qb": 28.0, "h12": 12.0, "ref": 6.2}
        state |= {"refn": 4.96, "vp": 4.96, "rv": 5.2, "out": 4.96, "vm": 4.96, "th": 7.5}
        state |= {"trip": 11.0, "ocb": 28.0, "qc2": 28.0, "qc3": 12.0}
    state |= start or {}
    flowing = {"L1": amps if warm and amps < 11.5 else 0.0}
    written = deck.write(
        built.topology,
        laid,
        open_lead=tray.open_lead(fault),
        transient=True,
        start=state,
        amps=flowing,
    )
    return Specimen(built.topology, laid, written)


def run(one: Specimen, stop: float, step: float, keep: float = 0.0) -> Waves | None:
    """Waveforms of a specimen by ngspice."""
    amps = [a for a in ("L1", "feed:rawc") if a in one.deck.through]
    return transient(one.deck, WATCHED, stop, step, amps=amps, keep=keep)


def figures(waves: Waves) -> dict[str, float | None]:
    """What the design notes state of a run: volts, ripple, frequency, currents."""
    sw = waves.volts["sw"]
    found: dict[str, float | None] = {n: waves.mean(waves.volts[n]) for n in ("out", "h12")}
    found |= {n: waves.mean(waves.volts[n]) for n in ("ref", "refn", "gate")}
    found["ripple"] = float(np.ptp(waves.volts["out"]))
    found["c9"] = float(waves.volts["c9"].max())
    found["hertz"], found["duty"] = waves.hertz(sw, *SWING), waves.duty(sw, *SWING)
    found["sw_low"] = float(sw.min())
    if "L1" in waves.amps:
        found["choke_low"] = float(waves.amps["L1"].min())
        found["choke_high"] = float(waves.amps["L1"].max())
    found["raw_amps"] = waves.mean(waves.amps["feed:rawc"])
    found["raw_peak"] = float(waves.amps["feed:rawc"].max())
    return found
