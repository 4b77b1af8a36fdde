"""A bench behind which ngspice stands: one specimen with its own tolerances and one fault."""

from __future__ import annotations

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.circuit.netlist import Overrides
from tests.simulator import deck, tray


class Specimen:
    """One tray: every uncertain value drawn once, one fault in it, read with a meter's error."""

    def __init__(self, fault: str, seed: int) -> None:
        self.fault = fault
        self.random = np.random.default_rng(seed)
        base = dict(zip(tray.tray().topology.slot, tray.tray().topology.base, strict=True))
        self.values: Overrides = {}
        for part in tray.tray().assembly.parts.values():
            for wander in part.wanders():
                z = float(self.random.uniform(-(3**0.5), 3**0.5))  # evenly filled band
                for key, at_sigma in wander.changes.items():
                    old = self.values.get(key, base[key])
                    ratio = at_sigma / base[key] if base[key] else 0.0
                    self.values[key] = old * ratio**z if ratio > 0 else old
        self.values |= tray.fault(fault)

    def read(self, net: str, condition: Condition) -> float:
        """What a 0.5 % + 2 counts meter shows [V] at a net, from ngspice."""
        machine = tray.tray()
        changes = {**self.values, **machine.values(condition)}
        fired: frozenset[str] = frozenset()
        for _ in range(2):
            closed = frozenset({"K1:contact"})
            written = deck.write(
                machine.topology,
                changes,
                open_lead=tray.open_lead(self.fault),
                fired=fired,
                closed=closed,
            )
            found = deck.operating_point(written, sorted({net, "gate"}))
            assert found is not None, f"ngspice found no operating point with {self.fault}"
            trigger = machine.assembly.parts["SCR1"].__dict__["trigger_volts"]
            if fired or found["gate"] < trigger:
                break
            fired = frozenset({"SCR1"})
        error = self.random.uniform(-1, 1) * (0.005 * abs(found[net]) + 0.02)
        return round(found[net] + error, 2)


def follow(session: Session, specimen: Specimen, most: int) -> tuple[int | None, list[str]]:
    """Do what `next` says until the true fault leads, alone or in its group.

    Returns the number of checks it took (None when `most` were not enough) and the trail.
    """
    trail = []
    for done in range(1, most + 1):
        check = session.next_checks(1)[0]
        condition = check.candidate.condition
        value = specimen.read(check.candidate.net, condition)
        session.read(check.candidate.net, f"{value:.2f}", condition=condition)
        lead = session.groups()[0]
        names = [session.hypotheses[i].name for i in lead.members]
        trail.append(f"{check.candidate.net} {value:.2f} -> {names[:3]} {lead.weight:.2f}")
        if specimen.fault in names:
            return done, trail
    return None, trail
