"""The demo tray, solved by us and by ngspice, and the readings its design notes give."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from halfsplit.assembly.condition import Change, Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.netlist import Overrides
from tests.simulator import deck

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "hd40" / "pt3.yaml"
# The design notes list the volts that would exist if the crowbar were not there.
NO_CROWBAR = (Change("CR4", "removed"), Change("SCR1", "removed"))
OPEN_LEADS = {"open collector": "c", "open base": "b", "open emitter": "e"}


@cache
def tray() -> Machine:
    """The compiled demo machine."""
    assembly, problems = load(EXAMPLE)
    assert assembly is not None, problems
    return Machine(assembly)


def fault(name: str) -> Overrides:
    """Changes of a fault of the tray such as "C4 short"; "" is healthy, "+" joins two."""
    return modes(tray(), name)


def modes(machine: Machine, name: str) -> Overrides:
    """The same for any machine."""
    changes: Overrides = {}
    for one in filter(None, name.split(" + ")):
        ref, _, mode = one.partition(" ")
        if "=" in mode:  # a setting rather than a failure
            key, value = mode.split("=")
            part = machine.assembly.parts[ref]
            fields = {k: v for k, v in part.__dict__.items() if v is not None} | {key: value}
            for e in type(part)(**fields).elements():
                for p, v in zip(e.PARAMS, e.vector(), strict=True):
                    changes[e.name, p] = v
            continue
        known = {m.name: m.changes for m in machine.assembly.parts[ref].modes()}
        changes |= known[mode]
    return changes


def open_lead(name: str) -> tuple[str, str] | None:
    """Transistor and lead broken by this fault, if that is what it does."""
    ref, _, mode = name.partition(" ")
    return (ref, OPEN_LEADS[mode]) if mode in OPEN_LEADS else None


def by_ngspice(
    name: str, condition: Condition, nets: list[str], guess: dict[str, float] | None = None
) -> dict[str, float] | None:
    """ngspice's operating point of a fault in a condition.

    Thyristor and relay follow ngspice's own voltages: solved off first, switched when ngspice says
    the gate or coil would, solved again.
    """
    machine = tray()
    changes = {**fault(name), **machine.values(condition)}
    fired: frozenset[str] = frozenset()
    closed: frozenset[str] = frozenset()
    watched = sorted({*nets, "gate", "p5", "p12", "n12"})
    removed = {c.part for c in condition.changes}
    for _ in range(3):
        written = deck.write(
            machine.topology, changes, open_lead=open_lead(name), fired=fired, closed=closed
        )
        found = deck.operating_point(written, watched, guess)
        if found is None:
            return None
        scr, relay = machine.assembly.parts["SCR1"], machine.assembly.parts["K1"]
        fires = "SCR1" not in removed and found["gate"] >= scr.__dict__["trigger_volts"]
        now_fired = fired | ({"SCR1"} if fires and "never" not in name else frozenset())
        coil = "K1 coil open" not in name  # no current in the coil, no pull
        pulls = coil and abs(found["p12"] - found["n12"]) >= 0.75 * relay.__dict__["volts"]
        now_closed = frozenset({"K1:contact"}) if pulls else frozenset()
        if (now_fired, now_closed) == (fired, closed):
            return {n: found[n] for n in nets}
        fired, closed, guess = now_fired, now_closed, None
    return {n: found[n] for n in nets}
