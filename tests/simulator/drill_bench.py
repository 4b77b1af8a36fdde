"""A drill's bench behind which ngspice stands: any direct-current feed, any set of faults, live or
dead; and one for circuits that keep time by themselves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.bench.drill_bench import Case, drawn
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Status
from halfsplit.diagnosis.evidence import Meter
from halfsplit.diagnosis.meters import scope_error
from halfsplit.diagnosis.next_check import Candidate
from halfsplit.diagnosis.swing import COUNTED
from halfsplit.faults.dead import UNSTRESSED
from halfsplit.faults.followed import followed
from halfsplit.faults.hypotheses import Fault
from halfsplit.parts.kinds.paper import PaperCapacitor
from tests.simulator import dead, deck, stile_rows
from tests.simulator.tray import OPEN_LEADS
from tests.simulator.waves import COARSE, Waves, transient

# Longest time step [s] where a circuit rests most of the time; the beats of an attempt take shorter
# ones by themselves.
REST_STEP = 2e-6


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
        if asked.ohmmeter is not None:
            return self._dead(asked)
        if not asked.condition.energised():
            return None
        true = self._live(asked)
        if true is None:
            return None
        if asked.quantity == "frequency":
            return f"{true * (1.0 + 0.005 * self.random.uniform(-1, 1)):.4g}Hz"
        if asked.quantity == "ripple":
            shown = max(true + scope_error(true) * self.random.uniform(-1, 1), 0.0)
            return f"{shown:.3f}"
        shown = true + 2.0 * meter.sigma(true, 0.01) * self.random.uniform(-1, 1)
        if self.slipping and abs(shown) > 0.1:
            self.slipping, self.slipped = False, True
            shown *= 10.0 if self.random.uniform() < 0.5 else 0.1
        return f"{shown:.2f}"

    def _live(self, asked: Candidate) -> float | None:
        """The true reading of the powered machine; counts what ngspice could not give."""
        if asked.quantity != "volts":
            return None
        nets = [n for n in (asked.net, asked.black) if n]
        found = self._solved(asked.condition, nets)
        if found is None:
            self.failed += 1
            return None
        return found[asked.net] - (found[asked.black] if asked.black else 0.0)

    def _dead(self, asked: Candidate) -> str | None:
        assert asked.ohmmeter is not None
        present = [f for f in self.case.faults if f.present(asked.condition)]
        stuck = {f.part for f in present if "welded" in f.mode}
        shown = dead.by_ngspice(
            self.machine,
            {**self._kept(asked.condition), **self._unstressed(present)},
            asked.condition,
            (asked.net, asked.black or self.machine.assembly.common),
            asked.ohmmeter,
            self._leads(present),
            frozenset(f"{ref}:contact" for ref in stuck),
        )
        if shown is None:
            self.failed += 1
            return None
        if np.isinf(shown):
            return "OL"
        ranges = asked.ohmmeter.ranges
        at = next(i for i, r in enumerate(ranges) if shown <= r.top or r is ranges[-1])
        limit = float(asked.ohmmeter.limit(np.array([shown]), np.array([at]), 0.0)[0])
        return f"{max(shown + limit * self.random.uniform(-1, 1), 0.0):.4g}"

    def _unstressed(self, present: Sequence[Fault]) -> Overrides:
        """Paper that leaks at its working volts shows an ohmmeter megohms."""
        parts = self.machine.assembly.parts
        leaky = [f.part for f in present if f.mode == "leaky"]
        paper = [ref for ref in leaky if isinstance(parts[ref], PaperCapacitor)]
        return {(ref, "g"): 1.0 / UNSTRESSED for ref in paper}

    def _kept(self, condition: Condition) -> Overrides:
        """The specimen's values less those of parts that are not its own any more."""
        gone = {c.part for c in condition.changes if c.what != "lifted"}
        return {k: v for k, v in self.values.items() if k[0].partition(":")[0] not in gone}

    @staticmethod
    def _leads(present: Sequence[Fault]) -> dict[str, str]:
        return {f.part: OPEN_LEADS[f.mode] for f in present if f.mode in OPEN_LEADS}

    def _solved(self, condition: Condition, nets: Sequence[str]) -> dict[str, float] | None:
        """Voltages with thyristors and relays as ngspice's own voltages have them."""
        present = [f for f in self.case.faults if f.present(condition)]
        changes = {**self._kept(condition), **self.machine.values(condition)}
        leads = self._leads(present)
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


class SwitchingBench(NgspiceBench):
    """The same for a circuit that keeps time by itself.

    ngspice takes the specimen on from the state our own follower leaves it in, and what it makes of
    it from there is read: from switch-on a reading would take it many minutes. A thyristor our
    follower ends with fired is held fired. What restarts again and again has no frequency here.
    """

    def __init__(self, machine: Machine, case: Case, slips: float = 0.0) -> None:
        super().__init__(machine, case, slips)
        self.runs: dict[Condition, Waves | None] = {}
        self.restarting: set[Condition] = set()

    def _live(self, asked: Candidate) -> float | None:
        at = asked.condition
        if at not in self.runs:
            self.runs[at] = self._run(at)
        run = self.runs[at]
        if run is None:
            self.failed += 1
            return None
        wave = run.volts[asked.net] - (run.volts[asked.black] if asked.black else 0.0)
        if asked.quantity == "volts":
            return run.mean(wave)
        top, bottom = float(wave.max()), float(wave.min())
        if asked.quantity == "ripple":
            return top - bottom
        if at in self.restarting:
            return None
        guard = (top - bottom) / 10.0
        middle = (top + bottom) / 2.0
        return run.hertz(wave, middle + guard, middle - guard) if top - bottom > COUNTED else None

    def _run(self, at: Condition) -> Waves | None:
        top = self.machine.topology
        laid = {**self._kept(at), **self.machine.values(at)}
        solved, rhythm = followed(top, top.rows([laid]))
        status = int(solved.status[0])
        if status in (int(Status.UNSOLVED), int(Status.NOT_SETTLED)):
            return None
        again = status == int(Status.RESTARTING)
        on = solved.latched[0] > 0
        fired = frozenset(
            e.name
            for e in self.machine.netlist
            if isinstance(e, el.Scr) and on[top.element_index[e.name]]
        )
        beats = status == int(Status.OSCILLATING)
        first = solved.wave[0, :, 0] if np.isfinite(solved.wave[0]).all() else solved.mean[0]
        amps = {}
        for e in self.machine.netlist:
            if isinstance(e, el.Inductor):
                k = top.element_index[e.name]
                low, high = float(rhythm.held_low[0, k]), float(rhythm.held_high[0, k])
                # Where a beat is cut: see stile_rows. One attempt after another is at its end.
                amps[e.name] = low + (0.0 if again else 0.2) * (high - low)
        written = deck.write(
            top,
            laid,
            open_lead=self._leads([f for f in self.case.faults if f.present(at)]),
            fired=fired,
            transient=True,
            start={n: float(first[i]) for n, i in top.net_index.items() if i < len(first)},
            amps=amps,
        )
        period = float(rhythm.period[0]) if beats else 0.0
        stop = min(max(stile_rows.LEAST, stile_rows.BEATS * period), stile_rows.MOST)
        nets = [n for n in top.nets if "#" not in n]
        if again:
            self.restarting.add(at)
            period = float(rhythm.period[0])
            run = transient(written, nets, 1.5 * period, REST_STEP, options=COARSE)
            # One whole attempt, from the middle of the rest before it.
            return run.since(0.5 * period) if run is not None else None
        run = transient(written, nets, stop, stile_rows.STEP)
        if run is None and not beats:
            return self._resting(at, nets, fired)
        return run.since(stop / 2) if run is not None else None

    def _resting(self, at: Condition, nets: list[str], fired: frozenset[str]) -> Waves | None:
        """What stands still, as ngspice finds it at rest: where a lead is open it cannot begin in
        time from volts that do not fit its own currents to the last digit."""
        written = deck.write(
            self.machine.topology,
            {**self._kept(at), **self.machine.values(at)},
            open_lead=self._leads([f for f in self.case.faults if f.present(at)]),
            fired=fired,
        )
        found = deck.operating_point(written, nets, timeout=20.0)
        if found is None:
            return None
        return Waves(np.array([0.0, 1.0]), {n: np.full(2, v) for n, v in found.items()}, {})
