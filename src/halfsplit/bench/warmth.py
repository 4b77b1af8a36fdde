"""What heat does to readings: regulators held by thermal shutdown, junctions that move a net."""

from __future__ import annotations

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Status
from halfsplit.faults.predictions import Predictions
from halfsplit.faults.warm import SHUTDOWN, warm
from halfsplit.quantity.volts import volts

# Change of a reading by warming up that is worth telling, as a share and in volts: what two good
# meters may differ by; common practice.
MOVED, MOVED_VOLTS = 0.02, 0.05


def heat_notes(
    machine: Machine, condition: Condition, faults: Overrides, table: Predictions
) -> dict[str, str]:
    """In words, by net, what warming up does to the first row of `table`; {} where nothing.

    Only where the file gives a part's heatsink: nobody can tell from a part's type what it is
    screwed to. Nothing is told of circuits that keep time by themselves.
    """
    sunk = any(p.__dict__.get("sink") is not None for p in machine.assembly.parts.values())
    if not sunk or not condition.energised() or machine.self_oscillating:
        return {}
    found = warm(machine, condition, [faults])
    if found.status[0] in (Status.UNSOLVED, Status.NOT_SETTLED):
        return {}
    parts = machine.assembly.parts
    held = [
        ref
        for k, ref in enumerate(found.parts)
        if found.cycling[0, k] and parts[ref].__dict__.get("sink") is not None
    ]
    by = f", {' and '.join(held)} held at {SHUTDOWN:.0f} °C by thermal shutdown" if held else ""
    notes = {}
    for i, net in enumerate(table.nets):
        cold, hot = float(table.mean[0, i]), float(found.mean[0, found.column(net)])
        if abs(hot - cold) > max(MOVED * abs(cold), MOVED_VOLTS):
            air = f"air {condition.ambient:g} °C"
            notes[net] = f"once warm ({air}{by}) {net} averages about {volts(hot)}"
    return notes
