"""A bench behind which ngspice stands: one specimen with its own tolerances and one fault."""

from __future__ import annotations

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.circuit.netlist import Overrides
from tests.simulator import deck, tray, waves


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

    def read(self, net: str, condition: Condition, ripple: bool = False, ac: bool = False) -> float:
        """What a 0.5 % + 2 counts meter (for ripple, a 3 % scope) shows [V] at a net, by ngspice.

        With `ac` an average-responding meter of 1 % + 2 counts on its AC range, mains only.

        The thyristor fires when ngspice's own gate voltage says so; the relay, ngspice's coil.
        """
        machine = tray.tray()
        changes = {**self.values, **machine.values(condition)}
        hertz = machine.alternating(condition)
        assert hertz or not (ripple or ac)
        fired: frozenset[str] = frozenset()
        closed: frozenset[str] = frozenset({"K1:contact"})
        scr, relay = machine.assembly.parts["SCR1"], machine.assembly.parts["K1"]
        watched = sorted({net, "gate", "p12", "n12"})
        for _ in range(3):
            written = deck.write(
                machine.topology,
                changes,
                open_lead=tray.open_lead(self.fault),
                fired=fired,
                closed=closed,
                transient=hertz is not None,
            )
            if hertz:
                cycle = deck.mains_cycle(written, watched, hertz, settle=0.5)
                assert cycle is not None, f"ngspice gave no cycle with {self.fault}"
                found = {n: mean for n, (mean, _) in cycle.items()}
                peak = cycle[net][1]
            else:
                point = deck.operating_point(written, watched)
                assert point is not None, f"ngspice found no operating point with {self.fault}"
                found, peak = point, 0.0
            fires = found["gate"] >= scr.__dict__["trigger_volts"]
            coil = self.fault != "K1 coil open"  # no current in the coil, no pull
            pulls = coil and found["p12"] - found["n12"] >= 0.75 * relay.__dict__["volts"]
            now = (
                fired | frozenset({"SCR1"} if fires else ()),
                frozenset({"K1:contact"} if pulls else ()),
            )
            if now == (fired, closed):
                break
            fired, closed = now
        if ac:
            run = waves.transient(written, [net], stop=0.5, step=5e-5, keep=0.46)
            assert run is not None
            left = np.abs(run.volts[net] - run.mean(run.volts[net]))
            shown = 1.1107 * run.mean(left)
            return round(shown + self.random.uniform(-1, 1) * (0.01 * shown + 0.002), 3)
        if ripple:
            return round(peak * self.random.uniform(0.97, 1.03), 3)
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
        if check.candidate.quantity == "look":  # nobody was at these specimens
            session.observe("", check.candidate.net, sign="as-drawn")
            continue
        ripple = check.candidate.quantity == "ripple"
        ac = check.candidate.quantity == "ac"
        value = specimen.read(check.candidate.net, condition, ripple, ac)
        text = f"{value:.3f}" if ripple or ac else f"{value:.2f}"
        session.read(check.candidate.net, text, condition=condition, ripple=ripple, ac=ac)
        lead = session.groups()[0]
        names = [session.hypotheses[i].name for i in lead.members]
        trail.append(f"{check.candidate.net} {value:.2f} -> {names[:3]} {lead.weight:.2f}")
        # Found means: leading, alone or in a group small enough to hold in the hand, and not one
        # that would also let the machine be healthy or wrong in an unknown way.
        if specimen.fault in names and len(names) <= 4 and not {0, 1} & set(lead.members):
            return done, trail
    return None, trail
