"""A drill's bench behind which ngspice stands: any direct-current feed, any set of faults."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.bench.drill_bench import Case, drawn
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.diagnosis.evidence import Meter
from halfsplit.diagnosis.next_check import Candidate
from tests.simulator import deck
from tests.simulator.tray import OPEN_LEADS


class NgspiceBench:
    """One specimen of a case: tolerances and sizes drawn as in any drill, solved by ngspice."""

    def __init__(self, machine: Machine, case: Case, slips: float = 0.0) -> None:
        self.machine, self.case = machine, case
        self.values = drawn(machine, case)
        self.random = np.random.default_rng(case.seed + 1)
        self.slipping = bool(self.random.uniform() < slips)
        self.slipped = False
        self.failed = 0
        kinds = machine.assembly.parts
        self.thyristors = {r: p for r, p in kinds.items() if p.KIND == "scr"}
        self.relays = {r: p for r, p in kinds.items() if p.KIND == "relay"}
        self.tubes = [e for e in machine.netlist if isinstance(e, el.Gas)]

    def read(self, asked: Candidate, meter: Meter) -> str | None:
        """What a meter shows; None where ngspice gives up or this bench has no such instrument."""
        if asked.quantity != "volts" or not asked.condition.energised():
            return None
        nets = [n for n in (asked.net, asked.black) if n]
        found = self._solved(asked.condition, nets)
        if found is None:
            self.failed += 1
            return None
        true = found[asked.net] - (found[asked.black] if asked.black else 0.0)
        shown = true + 2.0 * meter.sigma(true, 0.01) * self.random.uniform(-1, 1)
        if self.slipping and abs(shown) > 0.1:
            self.slipping, self.slipped = False, True
            shown *= 10.0 if self.random.uniform() < 0.5 else 0.1
        return f"{shown:.2f}"

    def _solved(self, condition: Condition, nets: Sequence[str]) -> dict[str, float] | None:
        """Voltages with thyristors and relays as ngspice's own voltages have them."""
        present = [f for f in self.case.faults if f.present(condition)]
        gone = {c.part for c in condition.changes if c.what != "lifted"}
        kept = {k: v for k, v in self.values.items() if k[0].partition(":")[0] not in gone}
        changes = {**kept, **self.machine.values(condition)}
        leads = {f.part: OPEN_LEADS[f.mode] for f in present if f.mode in OPEN_LEADS}
        watched = {*nets}
        for part in (*self.thyristors.values(), *self.relays.values()):
            watched |= set(part.terminals().values())
        watched |= {n for e in self.tubes for n in e.nets}
        watched.discard(self.machine.assembly.common)
        fired: frozenset[str] = frozenset()
        closed: frozenset[str] = frozenset()
        for _ in range(4 + 4 * len(self.tubes)):
            written = deck.write(
                self.machine.topology, changes, open_lead=leads, fired=fired, closed=closed
            )
            found = deck.operating_point(written, sorted(watched), timeout=20.0)
            if found is None:
                return None
            found[self.machine.assembly.common] = 0.0
            now = (
                self._lit(found, changes, fired) | self._fires(found, changes, present),
                self._pulls(found, present),
            )
            if now == (fired, closed):
                return found
            fired, closed = now
        return None if self.tubes else found  # tubes that neither stay lit nor dark

    def _lit(
        self, at: dict[str, float], changes: Overrides, fired: frozenset[str]
    ) -> frozenset[str]:
        """What stays fired and lit: from all dark, a tube that sees its striking voltage lights,
        and one with less than its least current goes out; one tube at a time, as in the circuit."""
        for e in self.tubes:
            p = dict(zip(e.PARAMS, e.vector(), strict=True))
            p |= {key: v for (name, key), v in changes.items() if name == e.name}
            across = at[e.nets[0]] - at[e.nets[1]]
            if e.name in fired and (across - p["volts"]) / p["r"] < 0.98 * p["out"]:
                return fired - {e.name}
            if e.name not in fired and p["able"] > 0.5 and across >= 1.005 * p["strike"]:
                return fired | {e.name}
        return fired

    def _fires(self, at: dict[str, float], changes, present) -> frozenset[str]:  # type: ignore[no-untyped-def]
        never = {f.part for f in present if "never" in f.mode}
        return frozenset(
            ref
            for ref, part in self.thyristors.items()
            if ref not in never
            and at[part.__dict__["g"]] - at[part.__dict__["k"]] >= part.__dict__["trigger_volts"]
        )

    def _pulls(self, at: dict[str, float], present) -> frozenset[str]:  # type: ignore[no-untyped-def]
        dead = {f.part for f in present if "coil" in f.mode or "contact open" in f.mode}
        stuck = {f.part for f in present if "welded" in f.mode}
        contacts = {e.name for e in self.machine.netlist if isinstance(e, el.Contact)}
        return frozenset(
            f"{ref}:contact"
            for ref, part in self.relays.items()
            if ref not in dead
            and f"{ref}:contact" in contacts
            and (
                ref in stuck
                or abs(at[part.__dict__["c1"]] - at[part.__dict__["c2"]])
                >= 0.75 * part.__dict__["volts"]
            )
        )

    def looks_right(self, ref: str) -> bool:
        """Whether a part is the one of the drawing."""
        return not any(f.part == ref and f.cause == "wrong" for f in self.case.faults)
