"""What follows from a machine and its journal: suspects, reasons, the next check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from halfsplit.assembly.condition import Condition
from halfsplit.bench.record import Recorder
from halfsplit.diagnosis.evidence import Evidence
from halfsplit.diagnosis.explain import Reason, reasons
from halfsplit.diagnosis.groups import Group, group
from halfsplit.diagnosis.next_check import (
    AT_LEAD,
    AT_POINT,
    AT_RIPPLE,
    CHANGE_FEED,
    CHANGE_LOAD,
    Candidate,
    Check,
    rank,
)
from halfsplit.diagnosis.posterior import Belief, weigh
from halfsplit.faults.cache import DictionaryCache
from halfsplit.faults.dictionary import Predictions
from halfsplit.faults.hypotheses import Hypothesis, single_faults

ENOUGH = 0.9  # joint weight of the leading group at which acting beats measuring
STILL_WORTH = 0.2  # bits a reading must promise to be proposed instead of acting
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

    def _lookup(self, item: Evidence) -> Predictions:
        return self.table(item.condition)

    def tables_used(self) -> list[Predictions]:
        """Predictions of every condition a reading was taken in, and of the present one."""
        conditions = dict.fromkeys([*(e.condition for e in self.evidence()), self.condition])
        return [self.table(c) for c in conditions]

    def groups(self) -> list[Group]:
        """Suspects grouped by what nothing here can separate."""
        return group(self.belief.weights(), self.tables_used(), self.probe_nets())

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
            return checks
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
                for quantity, minutes in (("volts", at_hand), ("ripple", at_hand + AT_RIPPLE)):
                    if quantity == "ripple" and self.machine.alternating(condition) is None:
                        continue
                    if (net, quantity, condition) not in taken:
                        candidates.append(Candidate(net, quantity, condition, minutes + moving))
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
