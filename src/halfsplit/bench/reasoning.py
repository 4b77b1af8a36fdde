"""What the journal's readings say of every hypothesis: the search for sets, and their weights."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.draws import Draws
from halfsplit.bench.felt import Felt, by_watts, felt_kept
from halfsplit.bench.metered import Gathered, Metered
from halfsplit.bench.noting import Noter
from halfsplit.bench.prior_words import shares_said
from halfsplit.bench.recall import condition_of
from halfsplit.bench.sights import Pairing, best_pairs, best_sizes
from halfsplit.bench.weighed import Weighed
from halfsplit.circuit.threads import Progress
from halfsplit.diagnosis.evidence import Evidence
from halfsplit.diagnosis.order import heaviest_first
from halfsplit.diagnosis.posterior import Belief, Table, span_of
from halfsplit.diagnosis.search import Found, search
from halfsplit.diagnosis.signs import Sign, likelihood
from halfsplit.faults.book import Book
from halfsplit.faults.cascades import RAN_ON, Taken, cascades, likely
from halfsplit.faults.dead_table import DeadDictionary
from halfsplit.faults.dictionary import DictionaryCache
from halfsplit.faults.hypotheses import (
    Fault,
    Hypothesis,
    fresh_faults,
    together,
    without_faults,
    worn_faults,
    wrong_faults,
)
from halfsplit.faults.mains_beat import keeps_time
from halfsplit.faults.predictions import Floats, Predictions
from halfsplit.faults.views import bearable
from halfsplit.journal import Journal

# Sets one condition may be asked to solve in one step of the search: steady ones solve in tens of
# microseconds each, a mains cycle in milliseconds, a circuit followed to its rhythm in seconds.
MOST_STEADY, MOST_DEAD, MOST_CYCLE, MOST_FOLLOWED = 6000, 600, 400, 12
# What is derived from the parts and the suspicion of them, and not from readings.
KEPT_WITH_PARTS = ("standard", "book", "metered", "pairing", "_cascades", "draws")


class Reasoner(Noter):
    """A machine with its journal and what follows about its parts."""

    def __init__(
        self, path: Path, progress: Progress | None = None, journal: Journal | None = None
    ) -> None:
        super().__init__(path, progress, journal)
        self.__dict__["_known_of"] = self._known()

    def _forget(self) -> None:
        super()._forget()
        known = self._known()
        before = self.__dict__["_known_of"]
        if before != known:
            kept = self.__dict__.setdefault("_elsewhere", {})
            derived = (*KEPT_WITH_PARTS, "seen")
            kept[before] = {n: self.__dict__.pop(n) for n in derived if n in self.__dict__}
            self.__dict__ |= kept.pop(known, {}) | {"_known_of": known}

    def _known(self) -> tuple[object, ...]:
        """What the journal says of the parts themselves."""
        return (
            tuple(self.touched),
            tuple(sorted(self.factors().items())),
            tuple(sorted(self.found_values().items())),
            self.pool_said(),
        )

    def share(self, kept: dict[str, Any]) -> None:
        """Use and keep predictions in `kept`, for many sessions of the same machine of whose parts
        the journal says the same."""
        self.__dict__["_known_of"] = self._known()
        for name in ("machines", "machine", *KEPT_WITH_PARTS):
            if name in kept:
                self.__dict__[name] = kept[name]
            else:
                kept[name] = getattr(self, name)

    @cached_property
    def standard(self) -> list[Hypothesis]:
        """Those always looked at: none, unmodelled, every single fault."""
        there = self.machine.assembly
        worn = worn_faults(there, self.touched, self.factors(), self.field())
        wrong = wrong_faults(there, self.touched)
        return [*without_faults(), *(together([f]) for f in (*worn, *wrong))]

    @cached_property
    def book(self) -> Book:
        """Predictions of whatever hypotheses."""
        return Book(self.machine, self.standard)

    @property
    def dictionary(self) -> DictionaryCache:
        """Predictions of the standard hypotheses."""
        return self.book.dictionary

    @property
    def dead(self) -> DeadDictionary:
        """The same for a meter on the dead machine."""
        return self.book.dead_circuit

    @cached_property
    def found(self) -> Found:
        """Hypotheses worth weighing after every reading in force, and their belief."""
        fitted = sorted(self.condition.fitted)
        fresh = [together([f]) for f in fresh_faults(self.machine.assembly, fitted)]
        everything = [*self.standard, *fresh]
        if not self.evidence():
            return Found(everything, self.weigh(everything, False))
        self.draws.draw(self.draws.heavy(self.weigh(everything, False)), self._read_nets())
        return search(everything, self)

    @property
    def hypotheses(self) -> list[Hypothesis]:
        """Every hypothesis in play, with its prior."""
        return self.found.hypotheses

    @property
    def belief(self) -> Belief:
        """Belief after every reading and every bench test in force."""
        return self.found.belief

    @property
    def left_out(self) -> str:
        """What the search did not look at."""
        return self.found.left

    def rail_nets(self) -> list[str]:
        """Nets of the rails."""
        return [r.net for r in self.assembly.rails.values()]

    def factors(self) -> dict[str, float]:
        """Factors for age somebody set, by part or kind, in small letters."""
        return {e.body["of"]: float(e.body["factor"]) for e in self.entries if e.kind == "factor"}

    def how_many_said(self) -> str:
        """How many faults a machine is taken to have before any reading, in words."""
        return shares_said(self.standard)

    def _fresh_belief(self, listed: Sequence[Hypothesis]) -> Belief:
        return Belief([h.prior for h in listed], len(self.book.moves), 0, 1, self.book.owners)

    def weigh(
        self,
        listed: Sequence[Hypothesis],
        light: bool,
        conditions: set[Condition] | None = None,
    ) -> Belief:
        """Belief over `listed` after all evidence, or that of some conditions (dead ones off).

        What a reading says of a set is worked out once, and of standard ones what watts show.
        """
        read = self.evidence()
        if conditions is not None:
            belief = self._fresh_belief(listed)
            self._learn(belief, listed, [e for e in read if e.place in conditions], light)
            return belief
        pool = self._weighed(light)
        places = {e.condition for e in read if e.ohmmeter is None}
        keys = [(h.key, self._exact(h, places)) for h in listed]
        # A light look knows nothing of what was drawn.
        version = 0 if light else self.draws.version
        belief = pool.belief(listed, keys, tuple(read), (self.book, version))
        for new, told in ((False, self.proofs()), (True, self.fresh_proofs())):
            for ref, good in told:
                belief.prove([h.blames(ref, new) for h in listed], good)
        for sign in self.signs():
            belief.observe(self.noted_chance(sign, listed).chance)
        return belief

    def noted_chance(self, sign: Sign, listed: Sequence[Hypothesis]) -> Felt:
        """Chance of a sign under each of some sets, and what it is judged by, if that is watts."""
        if by_watts(sign):
            return felt_kept(self, sign, listed)
        rails, heard = self.rail_nets(), None
        if not sign.part:
            heard = self.book.table(sign.condition, listed, self.progress, rails)
        chance = likelihood(sign, listed, heard, rails)
        return Felt(chance, np.full(len(listed), np.nan))

    def _learn(
        self,
        belief: Belief,
        listed: Sequence[Hypothesis],
        read: Sequence[Evidence],
        light: bool,
    ) -> None:
        gathered = Gathered(self.book, read, self.progress)
        for item in read:
            table = self.lookup(item, listed, light, gathered)
            belief.learn(table, item, span_of(table, item.quantity))

    def _weighed(self, light: bool) -> Weighed:
        pools = self.__dict__.setdefault("_pools", {})
        if light not in pools:
            pools[light] = Weighed(
                self._fresh_belief, lambda b, listed, read: self._learn(b, listed, read, light)
            )
        found: Weighed = pools[light]
        return found

    def _exact(self, one: Hypothesis, places: set[Condition]) -> frozenset[Condition]:
        """Where readings were taken and a set beyond the standard ones has spreads of its own."""
        if one.key in self.book.rows:
            return frozenset()
        return frozenset(c for c in places if self.book.exact(c, one))

    def lookup(
        self,
        item: Evidence,
        listed: Sequence[Hypothesis],
        light: bool = False,
        gathered: Gathered | None = None,
    ) -> Table:
        """Predictions of one reading, its meter's own load included unless `light`."""
        if item.ohmmeter is not None:
            leads = (item.pos, item.neg or self.assembly.common)
            return self.book.dead([leads], item.condition, item.ohmmeter, listed)[leads]
        gathered = gathered or Gathered(self.book, [item], self.progress)
        if light:
            return gathered.table(item.condition, listed)
        table = self.metered.table(item, listed, self.progress, gathered)
        return self.draws.laid(item.condition, table, listed)

    @cached_property
    def metered(self) -> Metered:
        """Predictions with the meter on."""
        return Metered(self.book)

    def probe_nets(self) -> list[str]:
        """Nets a direct-voltage reading can tell something about, mains side left out."""
        skip = self.machine.mains_nets() | self.machine.alternating_nets()
        return [n for n in self.assembly.nets() if n not in skip]

    def _read_nets(self) -> dict[Condition, list[str]]:
        """Where volts were read, all nets a probe reaches: specimens that stray do so at some net,
        and no weight may hang on which was asked about first."""
        found: dict[Condition, list[str]] = {}
        for e in self.evidence():
            if e.ohmmeter is None and e.quantity == "volts":
                at = found.setdefault(e.condition.as_drawn(), self.probe_nets())
                at.extend((e.pos, e.neg))
        return found

    @cached_property
    def draws(self) -> Draws:
        """Spreads beyond first order, drawn on demand."""
        return Draws(self.book)

    def trim(self) -> None:
        """Let go of what was solved for another machine of the same parts; dictionaries stay."""
        self.book.trim()
        self.draws.trim()
        self.metered.trim()

    def table(self, condition: Condition) -> Predictions:
        """Predictions of every hypothesis in play in a condition."""
        return self.book.table(condition, self.hypotheses, self.progress)

    def prepare(self, listed: Sequence[Hypothesis], parents: Sequence[Hypothesis]) -> list[int]:
        """Solve sets where readings were taken, quick conditions first; the slow ones only for what
        the quick ones leave standing. Returns the indices of those solved everywhere."""
        places = dict.fromkeys(e.place for e in self.evidence())
        order = sorted(places, key=lambda c: -self._most(c))
        left, done = list(range(len(listed))), set[Condition]()
        for condition in order:
            most = self._most(condition)
            if len(left) > most:
                some = [listed[i] for i in left]
                if done:
                    bare = self.standard[:2]
                    belief = self.weigh([*bare, *some], True, done)
                    ranked = [int(k) - 2 for k in heaviest_first(belief.log_weight) if k > 1]
                else:
                    ranked = list(range(len(left)))
                left = sorted(left[k] for k in ranked[:most])
            if condition.energised():
                some, base = [listed[i] for i in left], [parents[i] for i in left]
                self.book.lightly(condition, some, base, self.progress)
            done.add(condition)
        return left

    def _most(self, condition: Condition) -> int:
        if not condition.energised():
            return MOST_DEAD
        if keeps_time(self.machine, condition):
            return MOST_FOLLOWED
        return MOST_CYCLE if self.machine.alternating(condition) else MOST_STEADY

    def boost(self, base: Hypothesis, further: Fault) -> float:
        """By how much the odds of one fault rise because another overstressed its part: those of
        the two together are those of the first times the chance that the other followed."""
        chances = [
            t.chance
            for f in base.faults
            for t in self.taken_along(f.name)
            if t.part == further.part and t.mode == further.mode and further.cause == "worn"
        ]
        chance = max(chances, default=0.0)
        return max(RAN_ON * chance / further.odds, 1.0)

    def taken_along(self, fault: str, feed: str = "") -> list[Taken]:
        """Parts a single fault may have overstressed to death in a machine run on a feed, that used
        last when none is named; likeliest first."""
        feed = feed or self.fed
        if feed not in self._cascades:
            where = self._run_in(feed)
            self._cascades[feed] = cascades(self.machine, self.standard, where, self.progress)
        return self._cascades[feed].get(fault, [])

    @cached_property
    def fed(self) -> str:
        """The feed now used, or the last one used of a machine that is off now."""
        used = [e.body["condition"]["feed"] for e in self.entries if e.kind == "condition"]
        return next((f for f in (self.condition.feed, *reversed(used)) if f != "off"), "off")

    @property
    def powered(self) -> Condition | None:
        """How the machine was last on; None of one that never was."""
        used = [e for e in self.entries if e.kind == "condition"]
        found = (condition_of(self.machine.assembly, e) for e in reversed(used))
        return next((c for c in found if c.energised()), None)

    @cached_property
    def _cascades(self) -> dict[str, dict[str, list[Taken]]]:
        """What faults take along, by the feed the machine was run on."""
        return {}

    def _run_in(self, feed: str) -> list[Condition]:
        """Conditions the machine may have been run in while it was broken.

        Those of the feed, if that can burn anything; of a circuit that keeps time by itself, where
        each takes minutes, the last load that asks no more of a rail than it is rated for, on a
        steady feed where there is one.
        """
        usual = likely(self.machine)
        chosen = [c for c in usual if c.feed == feed] or usual
        if not self.machine.self_oscillating:
            return chosen
        steady = [c for c in usual if not self.machine.alternating(c)]
        chosen = [c for c in usual if c.feed == feed] or steady or usual
        return ([c for c in chosen if bearable(self.assembly, c.load)] or chosen)[-1:]

    def settle(self, listed: Sequence[Hypothesis]) -> None:
        """Solve sets with spreads of their own where readings were taken."""
        for condition in dict.fromkeys(e.place for e in self.evidence()):
            if condition.energised():
                self.book.fully(condition, listed)

    def sizes(self, most: int) -> list[Hypothesis]:
        """Standard faults of other sizes that fit the readings best at first sight."""
        return best_sizes(self, most)

    def strangers(self) -> list[Hypothesis]:
        """Wrong parts and fittings where nothing tells of a repair."""
        listed = wrong_faults(self.machine.assembly, self.touched, others=True)
        return [h for f in listed if (h := together([f])).key not in self.book.rows]

    def pairs(self, most: int) -> tuple[list[tuple[Hypothesis, Hypothesis]], int]:
        """Pairs of standard faults that fit the powered readings best at first sight."""
        return best_pairs(self, most)

    def dear(self) -> bool:
        """Whether a set takes seconds where readings were taken."""
        return any(self._most(e.place) == MOST_FOLLOWED for e in self.evidence())

    @cached_property
    def pairing(self) -> Pairing:
        """What is known at first sight of pairs and of sizes."""
        return Pairing(self.standard)

    def likeliest_pair(self) -> float:
        """The highest prior of two standard faults of different parts."""
        return self.pairing.likeliest

    @cached_property
    def seen(self) -> dict[Evidence, tuple[Floats, Floats]]:
        """First sight of each reading: of every pair, and of every single fault."""
        return {}

    def repaired(self, hypothesis: Hypothesis) -> bool:
        """Whether nothing of it is left in the machine as it stands."""
        return not hypothesis.left(self.condition)
