"""What follows from a machine and its journal: suspects, reasons, the next check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.record import Recorder
from halfsplit.diagnosis.evidence import Evidence, Meter, Quantity
from halfsplit.diagnosis.explain import Reason, reasons
from halfsplit.diagnosis.groups import Dead, Group, group
from halfsplit.diagnosis.next_check import (
    AT_DEAD,
    AT_LEAD,
    AT_POINT,
    AT_RIPPLE,
    CHANGE_FEED,
    CHANGE_LOAD,
    Candidate,
    Check,
    rank,
)
from halfsplit.diagnosis.posterior import Belief, Table, weigh
from halfsplit.faults.dead_table import DeadDictionary
from halfsplit.faults.dictionary import DictionaryCache, Predictions
from halfsplit.faults.hypotheses import Hypothesis, single_faults
from halfsplit.faults.loaded import load
from halfsplit.faults.ohmmeter import ohmmeters

ENOUGH = 0.9  # joint weight of the leading group at which acting beats measuring
STILL_WORTH = 0.2  # bits a reading must promise to be proposed instead of acting
DEAD_PARTS = 10  # leading suspects across which a resistance is considered
LOOK_ELSEWHERE = 0.15  # bits; below this the present condition has little left to say


@dataclass(frozen=True)
class Suspect:
    """One hypothesis with its weight now and the reasons for it."""

    hypothesis: Hypothesis
    weight: float
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class SuspectGroup:
    """Suspects no reading on this bench separates."""

    suspects: tuple[Suspect, ...]
    weight: float


class Session(Recorder):
    """A machine on the bench: what was entered, and what it means."""

    @cached_property
    def hypotheses(self) -> list[Hypothesis]:
        """Every hypothesis with its prior."""
        return single_faults(self.assembly, self.touched)

    @cached_property
    def dictionary(self) -> DictionaryCache:
        """Predictions of every hypothesis."""
        return DictionaryCache(self.machine, [h.changes for h in self.hypotheses])

    @cached_property
    def dead(self) -> DeadDictionary:
        """Predictions of every hypothesis for a meter on the dead machine."""
        faults = [h.changes for h in self.hypotheses]
        return DeadDictionary(self.machine, faults, self.dictionary.moves)

    def table(self, condition: Condition) -> Predictions:
        """Predictions in a condition."""
        return self.dictionary.get(condition, self.progress)

    def probe_nets(self) -> list[str]:
        """Nets a direct-voltage reading can tell something about, mains side left out."""
        skip = self.machine.mains_nets() | self.machine.alternating_nets()
        return [n for n in self.assembly.nets() if n not in skip]

    def prior_belief(self) -> Belief:
        """Belief before any reading."""
        hypotheses = self.hypotheses
        return Belief([h.prior for h in hypotheses], len(self.dictionary.moves), 0, 1)

    @cached_property
    def belief(self) -> Belief:
        """Belief after every reading and every bench test in force."""
        belief = weigh(self.prior_belief(), self.evidence(), self._lookup)
        for ref, good in self.proofs():
            belief.prove([h.part == ref for h in self.hypotheses], good)
        return belief

    def _lookup(self, item: Evidence) -> Table:
        if item.ohmmeter is not None:
            return self.dead.get(self._leads(item), item.condition, item.ohmmeter)
        value = item.value if item.quantity == "volts" else 0.0
        return self.loaded(item.condition, item.pos, item.neg, item.meter, value)

    def loaded(
        self, condition: Condition, pos: str, neg: str, meter: Meter, value: float
    ) -> Predictions:
        """Predictions for a meter that shows `value` [V] between two nets, its loading included."""
        table = self.table(condition)
        ohms = meter.input_ohms(value)
        key = (condition, pos, neg, ohms)
        if key not in self._loaded:
            faults, moves = self.dictionary.faults, self.dictionary.moves
            each = np.full(len(faults), ohms)
            made = load(self.machine, condition, faults, moves, table, pos, neg, each)
            self._loaded[key] = table if made is table else made.only([pos, neg])
        return self._loaded[key]

    @cached_property
    def _loaded(self) -> dict[tuple[Condition, str, str, float], Predictions]:
        return {}

    def _leads(self, item: Evidence) -> tuple[str, str]:
        return item.pos, item.neg or self.assembly.common

    def tables_used(self) -> list[Predictions]:
        """Predictions of every condition a reading was taken in, and of the present one."""
        read = [e.condition for e in self.evidence() if e.ohmmeter is None]
        now = [self.condition] if self.condition.energised() or not self._dead_used() else []
        return [self.table(c) for c in dict.fromkeys([*read, *now])]

    def _dead_used(self) -> list[Dead]:
        """Tables of every dead reading taken and, while the machine is off, of the rails."""
        asked = [(self._leads(e), e.condition, e.ohmmeter) for e in self.evidence() if e.ohmmeter]
        if not self.condition.energised() and asked:
            meter, common = asked[-1][2], self.assembly.common
            rails = [(r.net, common) for r in self.assembly.rails.values() if r.net != common]
            both = [p for pair in rails for p in (pair, pair[::-1])]
            self.dead.many(both, self.condition, meter)
            asked += [(p, replace(self.condition, feed="off"), meter) for p in both]
        found = []
        for leads, condition, meter in dict.fromkeys(asked):
            table = self.dead.get(leads, condition, meter)
            found.append((table, table.sigma(meter)))
        return found

    def groups(self) -> list[Group]:
        """Suspects grouped by what nothing here can separate."""
        return group(
            self.belief.weights(), self.tables_used(), self.probe_nets(), dead=self._dead_used()
        )

    def suspects(self, most: int = 6) -> list[SuspectGroup]:
        """Leading groups with reasons."""
        weights = self.belief.weights()
        fresh, evidence = self.prior_belief(), self.evidence()

        found = []
        for members in self.groups()[:most]:
            listed = tuple(
                Suspect(
                    self.hypotheses[i],
                    float(weights[i]),
                    tuple(reasons(fresh, evidence, self._lookup, self.hypotheses, i)),
                )
                for i in members.members
            )
            found.append(SuspectGroup(listed, members.weight))
        return found

    def next_checks(self, most: int = 3) -> list[Check]:
        """Best checks now; other loads of the file are tried when the present one says little."""
        here = self.condition
        checks = self._rank([here])
        if not here.energised():
            return self._dead_checks()[:most]
        loads = [replace(here, load=n, extra=()) for n in self.assembly.loads if n != here.load]
        feeds = [replace(here, feed=n) for n in self.assembly.feeds if n not in (here.feed, "off")]
        for others in (loads, feeds):  # the nearer change first; each costs a fault dictionary
            if checks and checks[0].bits >= LOOK_ELSEWHERE:
                break
            checks = sorted(checks + self._rank(others), key=lambda c: -c.score)
        return checks[:most]

    def _rank(self, conditions: Sequence[Condition]) -> list[Check]:
        reach = {p.net: p.minutes or AT_POINT for p in self.assembly.points.values()}
        taken = {(e.pos, e.quantity, e.condition) for e in self.evidence() if not e.neg}
        candidates, tables = [], {}
        for condition in conditions:
            if not condition.energised():
                continue
            tables[condition] = self.table(condition)
            moving = CHANGE_LOAD if condition != self.condition else 0.0
            moving = CHANGE_FEED if condition.feed != self.condition.feed else moving
            for net in self.probe_nets():
                at_hand = reach.get(net, AT_LEAD)
                kinds: list[tuple[Quantity, float]] = [
                    ("volts", at_hand),
                    ("ripple", at_hand + AT_RIPPLE),
                ]
                for quantity, minutes in kinds:
                    if quantity == "ripple" and self.machine.alternating(condition) is None:
                        continue
                    if (net, quantity, condition) not in taken:
                        candidates.append(Candidate(net, quantity, condition, minutes + moving))
        return rank(self.belief, tables, candidates, self.meter)

    def _dead_checks(self) -> list[Check]:
        """Resistances worth taking: rails and points to common, and across the leading suspects.

        With the ohmmeter last used, else the usual one.
        """
        common = self.assembly.common
        used = [e.ohmmeter for e in self.evidence() if e.ohmmeter]
        meter = used[-1] if used else ohmmeters()["auto"]
        nets = [r.net for r in self.assembly.rails.values()]
        nets += [p.net for p in self.assembly.points.values()]
        pairs = dict.fromkeys((n, common) for n in nets if n != common)
        order = np.argsort(-self.belief.weights())
        parts = dict.fromkeys(self.hypotheses[int(i)].part for i in order if i > 1)
        for ref in list(parts)[:DEAD_PARTS]:
            ends = list(self.assembly.parts[ref].terminals().values())
            if len(ends) == 2 and ends[0] != ends[1]:
                pair = (ends[1], ends[0]) if ends[0] == common else (ends[0], ends[1])
                pairs[pair] = None
        done = {(self._leads(e), e.condition) for e in self.evidence() if e.ohmmeter}
        asked = [p for p in pairs if (p, self.condition) not in done]
        reach = {p.net: p.minutes or AT_POINT for p in self.assembly.points.values()}
        reach[common] = 0.0
        candidates = [
            Candidate(
                red,
                meter.test,
                self.condition,
                max(reach.get(red, AT_LEAD), reach.get(black, AT_LEAD)) + AT_DEAD,
                black,
                meter,
            )
            for red, black in asked
        ]
        tables = self.dead.many(asked, self.condition, meter)
        return rank(self.belief, tables, candidates, self.meter)

    def decided(self, best: Check | None = None) -> Group | None:
        """The leading group when it is time to act rather than measure, else None.

        Not while it leaves a reading unexplained, nor while a reading within reach of the present
        condition (`best`) would still tell rivals apart.
        """
        lead = self._leader()
        if lead is None or {0, 1} & set(lead.members) or self.unexplained():
            return None
        if self.mended() is not None:
            return None
        here = best is not None and best.candidate.condition == self.condition
        return None if here and best is not None and best.bits >= STILL_WORTH else lead

    def mended(self) -> list[Evidence] | None:
        """Readings taken since the leading suspect's part was replaced; None if it was not."""
        lead = self._leader()
        parts = {self.hypotheses[i].part for i in lead.members} if lead else set()
        now = {c.part for c in self.condition.changes if c.what == "fitted"}
        if not parts or not parts <= now:
            return None
        return [
            e
            for e in self.evidence()
            if parts <= {c.part for c in e.condition.changes if c.what == "fitted"}
        ]

    def unexplained(self) -> list[Reason]:
        """Readings the leading suspect contradicts: to be taken again before believing it."""
        leading = self.suspects(1)
        if not leading or not leading[0].suspects[0].hypothesis.part:
            return []
        return [r for r in leading[0].suspects[0].reasons if r.verdict == "contradicts"]

    def quiet(self) -> Group | None:
        """The leading group when it holds "no fault": whatever is wrong does not show so far."""
        lead = self._leader()
        return lead if lead and 0 in lead.members else None

    def _leader(self) -> Group | None:
        groups = self.groups()
        if not (self.evidence() or self.proofs()) or not groups:
            return None
        return groups[0] if groups[0].weight >= ENOUGH else None
