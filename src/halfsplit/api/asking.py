"""What follows from all that was entered: suspects and reasons, checks, healthy readings."""

from __future__ import annotations

import math
from typing import Any

from halfsplit.api.entering import DEAD, NET, POWERED
from halfsplit.api.given import in_python, maybe, refuse, text, whole
from halfsplit.api.opened import Opened
from halfsplit.api.told import Explanation, Healthy, PartWeight, Proposal, Reason
from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import near
from halfsplit.bench import trail as walked
from halfsplit.bench.asking import first
from halfsplit.bench.dead import find_ohmmeter, healthy_reading
from halfsplit.bench.expect import expect, healthy_swing
from halfsplit.bench.hazards import present
from halfsplit.bench.prior_words import prior_rows, shares_dict
from halfsplit.bench.report import check_dict, next_dict
from halfsplit.bench.too import check_too
from halfsplit.bench.undone import still_with_it
from halfsplit.bench.words import entry_words, outcome_reads
from halfsplit.diagnosis import explain
from halfsplit.diagnosis.groups import Group, as_told
from halfsplit.diagnosis.next_check import Check
from halfsplit.diagnosis.search import fit
from halfsplit.problems import HalfsplitError, NotFoundError

MOST = "how many to list, 1 or more"


class Asking(Opened):
    """A machine with its journal open, for what is asked. Nothing here stores anything."""

    @in_python
    def suspects(self, most: int = 6) -> list[Explanation]:
        """The `most` likeliest explanations of everything read so far, heaviest first."""
        return [self._told(g) for g in self.session.groups()[: whole("most", most, MOST)]]

    @in_python
    def reasons(self, of: Explanation | str) -> list[Reason]:
        """Every reading held against one set of faults, in order: what it predicts, how far off
        that is, and whether it speaks for or against.

        `of` is an explanation of :meth:`suspects`, of which the heaviest set is taken, or a name,
        such as "C4 short", "C4 short + R3 open" or "no fault". Raises NotFoundError for a set
        that is not weighed: every single fault is, larger sets only where readings ask for them.
        """
        name = of.name if isinstance(of, Explanation) else text("of", of, '"C4 short"')
        at = self._index(name)
        return [_reason(r) for r in self.session.reasons(at)]

    @in_python
    def blamed(self) -> dict[str, float]:
        """Chance that each part is bad or wrong, in whatever company, most suspect first."""
        return self.session.blamed()

    @in_python
    def decided(self) -> Explanation | None:
        """What to act on, when measuring on would tell less than acting; else None. Its `parts` and
        `faults` are those still in the machine."""
        offered = self.session.next_checks(1)
        group = self.session.decided(offered[0] if offered else None)
        return None if group is None else self._told(group, left=True)

    @in_python
    def doubts(self) -> dict[int, str]:
        """Readings the leading explanation contradicts, by journal number, with what is odd about
        each: to be taken again before it is believed."""
        return {r.evidence.number: r.words for r in self.session.unexplained()}

    @in_python
    def check_too(self) -> list[dict[str, Any]]:
        """Parts the leading faults may have taken along: part, mode, ratio, chance after
        readings and `before` them, words."""
        groups = self.session.groups()
        return check_too(self.session, groups[0]) if groups else []

    @in_python
    def propose(self, most: int = 3) -> list[Proposal]:
        """The `most` best next checks, best first; empty when nothing within reach tells anything
        more. No check is listed twice."""
        asked = self.session.next_checks(whole("most", most, MOST))
        return [self._proposal(c) for c in asked]

    @in_python
    def left_out(self) -> str:
        """What the search for sets of faults did not look at, in words; "" for nothing."""
        return self.session.left_out

    @in_python
    def advice(self) -> dict[str, Any]:
        """All that `halfsplit next --json` tells: what to act on and how to prove it first, what to
        replace straight away, what to read again, the next checks."""
        return next_dict(self.session)

    @in_python
    def cautions(self) -> list[str]:
        """What may hurt in the machine as it stands, with numbers: mains, charge, protections that
        are out. Bench information, not permission."""
        bench = self.session
        return present(bench.machine, bench.condition, bench.discharged())

    @in_python
    def trail(self, last: int | None = None) -> list[walked.Step]:
        """How suspicion moved, entry by entry: who led with what weight, who was dropped and by
        which reading. Of a long journal the `last` few entries: each is the whole sum anew."""
        return walked.trail(self.session, None if last is None else whole("last", last, MOST))

    @in_python
    def entries(self) -> list[tuple[int, str]]:
        """Number and words of every entry in force, in order."""
        bench = self.session
        return [(e.seq, entry_words(bench.assembly, e)) for e in bench.entries]

    def left_behind(self) -> list[int]:
        """After a change was undone: numbers of the readings taken with it, which stay in force
        and count for the circuit as it was then. Empty after any other entry."""
        return still_with_it(self.session, self.session.journal.undoing())

    @in_python
    def weights(self) -> list[PartWeight]:
        """How suspect each part is before any reading, and why, most suspect first."""
        return [
            PartWeight(
                row["part"],
                row["kind"],
                row["odds"] / (1.0 + row["odds"]),
                row["odds"],
                tuple(row["why"]),
            )
            for row in prior_rows(self.session)
        ]

    @in_python
    def how_many(self) -> dict[str, float]:
        """Shares of machines by how many faults they are taken to have before any reading: none,
        one, two, more, unmodelled; and `ran_on`, of those run on with a first fault."""
        return shares_dict(self.session.standard)

    @in_python
    def expect(
        self,
        at: str,
        quantity: str = "volts",
        *,
        against: str | None = None,
        meter: str | None = None,
        feed: str | None = None,
        load: str | None = None,
        warm: float | str | None = None,
        mains: float | str | None = None,
        lamp: float | str | None = None,
        ambient: float | str | None = None,
    ) -> Healthy:
        """Mean, lowest and highest reading of a healthy machine [V, ohm or Hz].

        Parameters
        ----------
        at, against: nets, rails or points of the red and the black lead; None for common.
        quantity: "volts", "ripple" (peak to peak), "ac", "frequency", "ohms" or "diode". Ohms and
            diode are of the machine switched off, whatever feeds it now.
        meter: ohmmeter of ohms and diode: "auto", "ohms-1mA", ...; all else is told for the meter
            in use, see :meth:`use_meter`.
        feed, load, warm, mains, lamp, ambient: as of :meth:`Bench.read`; None for the present.

        Raises ProblemsError where no healthy reading exists: a net that nothing holds, nothing
        that swings; NotFoundError for an unknown name, HalfsplitError where it is not solved.
        """
        if quantity not in (*POWERED, *DEAD):
            refuse("quantity", f"no {quantity} is told", ", ".join((*POWERED, *DEAD)))
        bench, named = self.session, None if meter == "" else maybe("meter", meter, '"auto"')
        at = text("at", at, NET)
        other = None if against == "" else maybe("against", against, NET)
        nets = bench.net(at), bench.net(other) if other else bench.assembly.common
        if nets[0] == nets[1]:
            refuse(at, "both probes would be on one net", "two different nets")
        if quantity in DEAD:
            self._at(feed, load, None, None, None, None)  # an unknown name is none, off or not
            now = self._at("off", load, warm, mains, lamp, ambient)
            return self._dead(nets, quantity, named, now)
        if named is not None:
            refuse("meter", "this is told for the meter in use", f'use_meter("{named}")')
        now = self._at(feed, load, warm, mains, lamp, ambient)
        kind: Any = quantity
        if kind != "volts":
            return Healthy(*healthy_swing(bench, kind, nets, now))
        line = expect(bench, [":".join(nets)], [now], others=False)[0]
        if line.adrift:
            wrong = f"nothing holds {at} when it is {now.words()}: any reading is a healthy one"
            refuse(at, wrong, "another net, feed or load")
        if not math.isfinite(line.mean):
            raise HalfsplitError(f"{at} ({now.words()}): {line.status}; try another feed or load")
        return Healthy(line.mean, line.low, line.high)

    @in_python
    def table(
        self,
        *names: str,
        feed: str | None = None,
        load: str | None = None,
        warm: float | str | None = None,
        mains: float | str | None = None,
        lamp: float | str | None = None,
        ambient: float | str | None = None,
    ) -> list[dict[str, Any]]:
        """All that `halfsplit expect --json` tells of the nets named, "p1:p12" for two, or of every
        net a probe reaches: volts with band, ripple, AC, frequency, notes, fuses that open."""
        now = self._at(feed, load, warm, mains, lamp, ambient)
        asked = [text("net", n, NET) for n in names]
        return [line.as_dict() for line in expect(self.session, asked, [now])]

    def _dead(
        self, nets: tuple[str, str], quantity: str, name: str | None, now: Condition
    ) -> Healthy:
        meter = find_ohmmeter(name, quantity == "diode")
        if meter.test != quantity:
            wrong = f"{meter.name} is a diode test, and this asks for ohms"
            refuse("meter", wrong, 'quantity="diode", or "auto"')
        found = healthy_reading(self.session, nets, meter, now)
        if not found["solved"]:
            raise HalfsplitError(f"{' to '.join(nets)}: not solved with everything off")
        if found["over"]:
            return Healthy(math.inf, math.inf, math.inf)
        high = math.inf if found["high"] is None else found["high"]
        return Healthy(found["shows"], found["low"], high)

    def _told(self, group: Group, left: bool = False) -> Explanation:
        """A group; with `left` its faults and parts are those still in the machine."""
        here = self.session.condition
        members = [self.session.hypotheses[i] for i in as_told(group, fit(self.session.belief))]
        lead = members[0]
        others = dict.fromkeys(h.name for h in members[1:] if h.name != lead.name)
        kept = [f for f in lead.faults if not left or f.present(here)]
        parts = tuple(dict.fromkeys(f.part for f in kept))
        done = tuple(dict.fromkeys(f.part for f in lead.faults if not f.present(here)))
        faults = tuple(f.name for f in kept)
        return Explanation(faults, tuple(others), group.weight, parts, lead.name, done)

    def _index(self, name: str) -> int:
        """The heaviest set of that name, as one fault may stand in several sizes."""
        weights, wanted = self.session.belief.weights(), " ".join(name.lower().split())
        known: dict[str, int] = {}
        for i, h in enumerate(self.session.hypotheses):
            best = known.setdefault(h.name.lower(), i)
            if weights[i] > weights[best]:
                known[h.name.lower()] = i
        if wanted not in known:
            close = near(wanted, [self.session.hypotheses[i].name for i in known.values()])
            hint = f"; did you mean {close}?" if close else ""
            raise NotFoundError(f"no set of faults called {name} is weighed{hint}")
        return known[wanted]

    def _proposal(self, check: Check) -> Proposal:
        asked, now = check.candidate, self.session.condition
        names = [h.name for h in self.session.hypotheses]
        then = asked.condition
        before = "; ".join(s["did"] for s in first(now, then) if "did" in s)
        load = ",".join(f"{net}={value}" for net, value in then.extra) or then.load
        told = check_dict(self.session, check, names)
        leaves = tuple(
            (o.low, o.high, o.chance, tuple(dict.fromkeys(names[i] for i in o.members)))
            for o in check.outcomes
        )
        says = tuple(
            "adrift" if o["adrift"] else outcome_reads(o, told["unit"]) for o in told["outcomes"]
        )
        return Proposal(
            asked.quantity,
            asked.net,
            "" if asked.black == self.session.assembly.common else asked.black,
            then.feed,
            load,
            before,
            check.healthy,
            check.bits,
            asked.minutes,
            leaves,
            says,
            asked.ohmmeter.name if asked.ohmmeter else "",
            told["at"],
            told["caution"],
        )


def _reason(told: explain.Reason) -> Reason:
    item, predicted = told.evidence, told.shown
    if told.verdict == "says nothing":
        predicted = math.nan
    elif item.ohmmeter is not None and predicted > item.ohmmeter.ranges[-1].top:
        predicted = math.inf
    return Reason(
        item.number,
        item.pos,
        item.neg,
        item.quantity,
        item.condition.words(),
        item.value,
        predicted,
        told.sigma,
        told.verdict,
        told.words,
    )
