"""What follows from a machine and its journal: suspects, reasons, the next check."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.blocks import by_blocks
from halfsplit.bench.choosing import behind_the_feed, best, tells_enough
from halfsplit.bench.elsewhere import elsewhere
from halfsplit.bench.noted import noted_of
from halfsplit.bench.reasoning import Reasoner
from halfsplit.circuit.netlist import Overrides
from halfsplit.diagnosis.evidence import Evidence, Quantity
from halfsplit.diagnosis.explain import Reason, Suspect, SuspectGroup, against, reasons
from halfsplit.diagnosis.groups import Dead, Group, as_told, fold, group
from halfsplit.diagnosis.next_check import (
    AT_AC,
    AT_DEAD,
    AT_LEAD,
    AT_POINT,
    AT_RIPPLE,
    CHANGE_FEED,
    CHANGE_LOAD,
    LIFT,
    SWAP,
    Candidate,
    Check,
    look,
    rank,
)
from halfsplit.diagnosis.order import heaviest
from halfsplit.diagnosis.search import fit
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.mains_beat import keeps_time
from halfsplit.faults.ohmmeter import ohmmeters
from halfsplit.faults.other_states import known_states

ENOUGH = 0.9  # joint weight of the leading group at which acting beats measuring
STILL_WORTH = 0.25  # bits a reading must promise to be proposed instead of acting
MOST_GROUPED, MOST_LIVE = 40, 400  # hypotheses grouped for people, judged for the next check
DEAD_PARTS = 10  # leading suspects across which a resistance is considered
GROUPED, JUDGED = 1e-6, 1e-5  # least weight of a set that is grouped, judged for the next check
# Where a circuit keeps time, of sets beyond the standard ones: each takes seconds to follow.
MOST_FOLLOWED, FOLLOWED = 12, 1e-3
# Rivals of the leader for whose sake a reading is taken again, and the weight they must have.
RIVALS, DOUBT = 3, 0.01


class Session(Reasoner):
    """A machine on the bench: what was entered, and what it means.

    `within_reach` names the feeds that may be proposed, `loads_within_reach` the loads; empty for
    all of the file.
    """

    within_reach: frozenset[str] = frozenset()
    loads_within_reach: frozenset[str] = frozenset()

    def _leads(self, item: Evidence) -> tuple[str, str]:
        return item.pos, item.neg or self.assembly.common

    def _conditions_used(self) -> list[Condition]:
        """Conditions a powered reading was taken in, and the present one."""
        read = [e.condition for e in self.evidence() if e.ohmmeter is None]
        dead = any(e.ohmmeter for e in self.evidence())
        now = [self.condition] if self.condition.energised() or not dead else []
        return list(dict.fromkeys([*read, *now]))

    def _dead_used(self, listed: Sequence[Hypothesis]) -> list[Dead]:
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
            table = self.book.dead([leads], condition, meter, listed)[leads]
            found.append((table, *table.shown(meter)))
        return found

    def also_stable(
        self, faults: Sequence[Overrides], condition: Condition | None = None
    ) -> list[tuple[str, ...]]:
        """Other states each of these rows could rest in, in words; in the present condition."""
        at = condition or self.condition
        keys = [(at, tuple(sorted(f.items()))) for f in faults]
        new = {k: f for k, f in zip(keys, faults, strict=True) if k not in self._also}
        if new and at.energised():
            rails = {label: rail.net for label, rail in self.assembly.rails.items()}
            for key, states in zip(
                new, known_states(self.machine, at, [*new.values()]), strict=True
            ):
                self._also[key] = tuple(s.words(rails) for s in states)
        return [self._also.get(k, ()) for k in keys]

    @cached_property
    def _also(self) -> dict[tuple[Condition, tuple[Any, ...]], tuple[str, ...]]:
        return {}

    @cached_property
    def _grouped(self) -> list[Group]:
        weights = self._folded()
        order = self._heavier(weights, GROUPED)[:MOST_GROUPED]
        listed = [self.hypotheses[i] for i in order]
        tables = [self.book.table(c, listed, self.progress) for c in self._conditions_used()]
        dead = self._dead_used(listed)
        sizes = [len(h.faults) for h in listed]
        found = group(weights[order], tables, self.probe_nets(), MOST_GROUPED, dead, sizes)
        return [Group(tuple(order[i] for i in g.members), g.weight) for g in found]

    def _folded(self) -> np.ndarray:
        return fold(self.hypotheses, self.belief.weights(), fit(self.belief))

    def groups(self) -> list[Group]:
        """Suspects grouped by what nothing here can separate.

        A set whose further faults explain nothing more counts for the set without them.
        """
        return self._grouped

    def suspects(self, most: int = 6) -> list[SuspectGroup]:
        """Leading groups with reasons."""
        found, groups, weights = [], self.groups()[:most], self.belief.weights()
        noted = noted_of(self, [i for g in groups for i in g.members])
        for members in groups:
            listed = tuple(
                Suspect(self.hypotheses[i], float(weights[i]), self.reasons(i), noted[i])
                for i in as_told(members, fit(self.belief))
            )
            found.append(SuspectGroup(listed, members.weight))
        return found

    def reasons(self, index: int) -> tuple[Reason, ...]:
        """Every reading held against one hypothesis."""
        bare = [*self.hypotheses[:2], self.hypotheses[index]]
        return tuple(
            reasons(
                self._fresh_belief(bare),
                self.evidence(),
                lambda item: self.lookup(item, bare),
                bare,
                2 if index > 1 else index,
            )
        )

    def blamed(self) -> dict[str, float]:
        """Chance that each part is bad or wrong, now or as it came, most suspect first."""
        found: dict[str, float] = {}
        for h, w in zip(self.hypotheses, self.belief.weights(), strict=True):
            for part in h.parts:
                found[part] = found.get(part, 0.0) + float(w)
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    def next_checks(self, most: int = 3, near: Sequence[Check] | None = None) -> list[Check]:
        """Best checks now, bits a minute; `near` as of :meth:`near_checks`, if it was asked before.

        Where the present condition says little, the nearer changes are looked through first: other
        loads, other feeds, off with an ohmmeter, then a lead lifted or a part replaced and the
        reading after it. Each is judged together with the reading it leads to, so a step that tells
        nothing by itself counts for what it makes readable.
        """
        checks = self.near_checks() if near is None else list(near)
        for further in elsewhere(self):
            if tells_enough(checks[:1]):
                break
            dead = [c for at in further if not at.energised() for c in self._dead_checks(at)]
            checks = self._best(checks + self._rank(further) + dead)
        return checks[:most]

    def near_checks(self) -> list[Check]:
        """Best checks of the machine as it stands."""
        looks = self._looks()
        if self.condition.energised():
            return self._best(self._rank([self.condition]) + looks)
        return self._best(self._dead_checks(self.condition) + looks)

    def _best(self, checks: Sequence[Check]) -> list[Check]:
        return best(checks, behind_the_feed(self, checks))

    def _looks(self) -> list[Check]:
        """Parts worth looking at: those that may not be the ones of the drawing."""
        seen = {s.part for s in self.signs() if s.name in ("as-drawn", "not-as-drawn")}
        fitted = self.condition.fitted
        listed = [self.hypotheses[i] for i in self._live]
        belief = self.belief.part(self._live, self._weights_now)
        refs = {f.part: None for h in listed for f in h.faults if f.cause == "wrong"}
        asked = [ref for ref in refs if ref not in seen | fitted]
        return [look(belief, listed, ref, self.condition).of(self._live) for ref in asked]

    def _rank(self, conditions: Sequence[Condition]) -> list[Check]:
        reach = {p.net: p.minutes or AT_POINT for p in self.assembly.points.values()}
        read = [(e.number, (e.pos, e.quantity, e.condition)) for e in self.evidence() if not e.neg]
        often = Counter(place for _, place in read)
        taken = {p for number, p in read if number not in self._doubted or often[p] > 1}
        candidates, tables = [], {}
        for condition in conditions:
            if not condition.energised():
                continue
            listed = [self.hypotheses[i] for i in self._live]
            named = condition.changes == self.condition.changes
            table = self.book.table(condition, listed, self.progress, whole=named)
            if named:
                heavy = self.draws.heavy(self.belief)
                self.draws.draw(heavy, {condition.as_drawn(): self.probe_nets()})
            tables[condition] = self.draws.laid(condition, table, listed)
            moving = CHANGE_LOAD if condition != self.condition else 0.0
            moving = CHANGE_FEED if condition.feed != self.condition.feed else moving
            for done in set(condition.changes) - set(self.condition.changes):
                moving = SWAP if done.what == "fitted" else LIFT
            mains = self.machine.alternating(condition) is not None
            beats = keeps_time(self.machine, condition)
            kinds: list[tuple[Quantity, float]] = [("volts", 0.0)]
            if mains and self.meter.ac:
                kinds.append(("ac", AT_AC))
            if mains or beats or by_blocks(self.assembly):
                kinds.append(("ripple", AT_RIPPLE))
            if beats:
                kinds.append(("frequency", AT_RIPPLE))
            steady = self.probe_nets()
            windings = self.machine.alternating_nets() - self.machine.mains_nets()
            for net in [*steady, *sorted(windings)]:
                at_hand = reach.get(net, AT_LEAD)
                for quantity, more in kinds:
                    if net in windings and quantity != "ac":
                        continue  # a winding's direct volts say nothing
                    minutes = at_hand + more
                    if (net, quantity, condition) not in taken:
                        candidates.append(Candidate(net, quantity, condition, minutes + moving))
        return self._ranked(tables, candidates)

    def _ranked(self, tables: Mapping[Any, Any], candidates: Sequence[Candidate]) -> list[Check]:
        """Checks judged by the hypotheses that still count."""
        belief = self.belief.part(self._live, self._weights_now)
        found = rank(belief, tables, candidates, self.meter)
        return [c.of(self._live) for c in found]

    @cached_property
    def _live(self) -> list[int]:
        """Indices of hypotheses with weight, the two without faults first."""
        order = self._heavier(self._weights_now, JUDGED)[:MOST_LIVE]
        return [0, 1, *sorted(i for i in order if i > 1)]

    @cached_property
    def _weights_now(self) -> np.ndarray:
        """Of every hypothesis, that of what counts for it too; what else may be wrong beside the
        leading set is asked once that is mended."""
        found = self._folded()
        mended = self.repaired(self.hypotheses[int(np.argmax(found))])
        return self.belief.weights() if mended else found

    def _heavier(self, weights: np.ndarray, least: float) -> list[int]:
        """Indices of the sets worth asking more about, heaviest first."""
        order = [int(i) for i in heaviest(weights) if weights[i] > least]
        here = self.condition.energised() and keeps_time(self.machine, self.condition)
        if not (here or self.dear()):
            return order
        known = self.book.rows
        beyond = [i for i in order if self.hypotheses[i].key not in known]
        left = {i for i in beyond[:MOST_FOLLOWED] if weights[i] > FOLLOWED}
        return [i for i in order if i in left or self.hypotheses[i].key in known]

    def _dead_checks(self, at: Condition) -> list[Check]:
        """Resistances worth taking with the machine off: rails and points to common, and across
        the leading suspects.

        With the ohmmeter last used, else the usual one.
        """
        if by_blocks(self.assembly):
            return []  # a block says nothing of resistances
        common = self.assembly.common
        used = [e.ohmmeter for e in self.evidence() if e.ohmmeter]
        meter = used[-1] if used else ohmmeters()["auto"]
        nets = [r.net for r in self.assembly.rails.values()]
        nets += [p.net for p in self.assembly.points.values()]
        pairs = dict.fromkeys((n, common) for n in nets if n != common)
        order = heaviest(self.belief.weights())
        parts = dict.fromkeys(p for i in order for p in self.hypotheses[int(i)].parts)
        for ref in list(parts)[:DEAD_PARTS]:
            ends = list(self.assembly.parts[ref].terminals().values())
            if len(ends) == 2 and ends[0] != ends[1]:
                pair = (ends[1], ends[0]) if ends[0] == common else (ends[0], ends[1])
                pairs[pair] = None
        done = {(self._leads(e), e.condition) for e in self.evidence() if e.ohmmeter}
        asked = [p for p in pairs if (p, at) not in done]
        moving = CHANGE_FEED if self.condition.energised() else 0.0
        reach = {p.net: p.minutes or AT_POINT for p in self.assembly.points.values()}
        reach[common] = 0.0
        candidates = [
            Candidate(
                red,
                meter.test,
                at,
                max(reach.get(red, AT_LEAD), reach.get(black, AT_LEAD)) + AT_DEAD + moving,
                black,
                meter,
            )
            for red, black in asked
        ]
        listed = [self.hypotheses[i] for i in self._live]
        tables = self.book.dead(asked, at, meter, listed)
        return self._ranked(tables, candidates)

    def decided(self, best: Check | None = None) -> Group | None:
        """The leading group when it is time to act rather than measure, else None.

        Not while it leaves a reading unexplained, nor while a reading within reach of the present
        condition (`best`) would still tell rivals apart.
        """
        lead = self._leader()
        if lead is None or {0, 1} & set(lead.members) or self.unexplained():
            return None
        if self.mended() is not None or self._cleared(lead):
            return None
        here = best is not None and best.candidate.condition == self.condition
        return None if here and best is not None and best.bits >= STILL_WORTH else lead

    def _cleared(self, lead: Group) -> bool:
        """Whether every part the leading group blames was tested good or replaced already, and is
        not blamed as the new one."""
        good = {ref for ref, right in self.proofs() if right} | self.condition.fitted
        new = {ref for ref, right in self.fresh_proofs() if right}
        blamed = [f for i in lead.members for f in self.hypotheses[i].faults]
        return all(f.part in (new if f.cause == "fresh" else good) for f in blamed)

    def mended(self) -> list[Evidence] | None:
        """Readings taken since the leading suspect's part was replaced; None if it was not."""
        lead = self._leader()
        members = lead.members if lead else ()
        # A new part that is bad is still there, and it was fitted.
        if not members or not self.repaired(self.hypotheses[members[0]]):
            return None
        # Further faults that would not show with it are no reason to call it still there.
        members = members[:1]
        parts = {p for i in members for p in self.hypotheses[i].parts}
        now = self.condition.fitted
        if not parts or not parts <= now:
            return None
        return [e for e in self.evidence() if parts <= e.condition.fitted]

    def unexplained(self) -> list[Reason]:
        """Readings the leading suspect contradicts: to be taken again before believing it."""
        return self._unexplained

    @cached_property
    def _unexplained(self) -> list[Reason]:
        leading = self.groups()[:1]
        if not leading or leading[0].members[0] == 1:
            return []
        found = against(self.reasons(leading[0].members[0]))
        if self.hypotheses[leading[0].members[0]].faults:
            return found
        return [r for r in found if "put right it would fit" in r.words]  # healthy but for a slip

    @cached_property
    def _doubted(self) -> set[int]:
        """Numbers of readings one of the leading few does not explain: worth taking again."""
        found = {r.evidence.number for r in self.unexplained()}
        for rival in self.groups()[1:RIVALS]:
            first = rival.members[0]
            if first > 1 and rival.weight > DOUBT:
                found |= {r.evidence.number for r in against(self.reasons(first))}
        return found

    def quiet(self) -> Group | None:
        """The leading group when it holds "no fault": whatever is wrong does not show so far."""
        lead = self._leader()
        return lead if lead and 0 in lead.members else None

    def _leader(self) -> Group | None:
        groups = self.groups()
        if not (self.evidence() or self.proofs()) or not groups:
            return None
        lead = self._same_now(groups)
        return lead if lead.weight >= ENOUGH else None

    def _same_now(self, groups: Sequence[Group]) -> Group:
        """The leading group with all that differ from it only in parts no longer there: what those
        were is nothing to act on."""
        lead = groups[0]
        now = self.hypotheses[lead.members[0]].left(self.condition)
        if not now or now == self.hypotheses[lead.members[0]].key:
            return lead
        weights = self._folded()
        known = {i for g in groups for i in g.members}
        same = [i for i in known if self.hypotheses[i].left(self.condition) == now]
        extra = sorted((i for i in same if i not in lead.members), key=lambda i: -weights[i])
        return Group((*lead.members, *extra), lead.weight + float(weights[extra].sum()))
