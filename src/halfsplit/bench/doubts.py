"""A reading just typed that would be right with its point or its sign put right."""

from __future__ import annotations

from halfsplit.assembly.model import Assembly
from halfsplit.diagnosis.posterior import MISTYPED
from halfsplit.journal import Entry
from halfsplit.quantity.volts import volts

WIDER = 0.1  # of a rail's limits: a typed rail need not be in them to be meant


def doubt(assembly: Assembly, entry: Entry) -> str:
    """ "" or a question, for a rail's direct volts far outside its limits that would lie in them
    with its point one place off or its sign back."""
    body = entry.body
    if body.get("quantity") != "volts" or body.get("against") or body.get("value") is None:
        return ""
    value = float(body["value"])
    for name, rail in assembly.rails.items():
        if rail.net != body["net"] or rail.limits is None:
            continue
        low, high = rail.limits.low, rail.limits.high
        spare = WIDER * max(abs(low), abs(high))
        if low - spare <= value <= high + spare:
            return ""
        for factor in sorted(MISTYPED):  # a lost sign first
            meant = value / factor
            if low - spare <= meant <= high + spare:
                return (
                    f"was it {volts(meant)}? {name} should read {volts(low)} to {volts(high)}; "
                    f"if so: undo, and read it again"
                )
    return ""
