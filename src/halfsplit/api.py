"""Drive Halfsplit from Python: one class, plain values in and out.

    with open_bench("pt3.yaml") as bench:
        bench.condition(feed="raws", load="half")
        bench.read("n12", "-1.71")
        print(bench.suspects()[0])
        print(bench.propose()[0])
        bench.change("C4 fitted")

Everything read or done is on disk, in the journal beside the file, before a call returns. Problems
raise :class:`halfsplit.problems.HalfsplitError` and its subclasses, with what to write instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Real
from pathlib import Path
from typing import Any, Self, get_args

from halfsplit.bench.dead import find_ohmmeter
from halfsplit.bench.session import Session
from halfsplit.diagnosis.evidence import Quantity
from halfsplit.diagnosis.next_check import Check
from halfsplit.problems import Problem, ProblemsError

QUANTITIES = (*(q for q in get_args(Quantity) if q != "look"), "degC")


@dataclass(frozen=True)
class Explanation:
    """One set of faults, or several that nothing read so far tells apart.

    Attributes
    ----------
    faults: names of the heaviest set, such as ("C4 short", "R3 open"); empty for none.
    name: the heaviest set in words; tells "no fault" from "something not in this model".
    alternatives: names of the other sets of the group.
    weight: chance of the group, all readings taken into account.
    parts: references the heaviest set blames.
    """

    faults: tuple[str, ...]
    alternatives: tuple[str, ...]
    weight: float
    parts: tuple[str, ...]
    name: str = ""


@dataclass(frozen=True)
class Proposal:
    """One check worth making.

    Attributes
    ----------
    quantity: "volts", "ripple", "ac", "frequency", "ohms", "diode", or "look" (at a part).
    at, other: net of each probe, "" for common; for a look `at` is the part.
    feed, load: what to set first, as named in the file.
    before: lead to lift or part to replace first, as typed to :meth:`Bench.change`; "" for none.
    healthy: lowest and highest reading of a healthy machine [V, ohm or Hz]; None if it has none.
    bits: expected information [bit]; `minutes` what it takes, hazards counted as time.
    leaves: for each outcome, lowest and highest reading, its chance, and the sets it would leave.
    """

    quantity: str
    at: str
    other: str
    feed: str
    load: str
    before: str
    healthy: tuple[float, float] | None
    bits: float
    minutes: float
    leaves: tuple[tuple[float, float, float, tuple[str, ...]], ...]


class Bench:
    """A machine with its journal open. Use as a context manager."""

    def __init__(self, file: Path | str) -> None:
        self.session = Session(Path(file))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.session.__exit__()

    def condition(self, feed: str | None = None, load: str | None = None) -> str:
        """Set feed or load, by their names in the file ("off" for none); returns the condition in
        words."""
        self.session.set_condition(self.session.condition_from(feed, load))
        return self.session.condition.words()

    def read(
        self,
        at: str,
        value: float | str,
        *,
        against: str | None = None,
        quantity: str = "volts",
        meter: str | None = None,
        sure: bool = False,
    ) -> int:
        """Record a reading [V, ohm, Hz, A or degC] in the present condition; returns its number.

        `value` may be text as the meter shows it ("-1.71", "OL", "2k58"). `quantity` as in
        :class:`Proposal`, or "amps" through a meter in the place of part `at`, "degC" of its case;
        `meter` names the ohmmeter profile of a dead reading; `sure` that a voltage far beyond all
        that feeds the circuit is as it was read.
        """
        if quantity not in QUANTITIES:
            wrong = f"there is no quantity {quantity}"
            raise ProblemsError([Problem("", 0, 0, "quantity", wrong, ", ".join(QUANTITIES))])
        if quantity in ("amps", "degC"):
            amps = quantity == "amps"
            store = self.session.read_current if amps else self.session.read_temperature
            typed = value if isinstance(value, str) else f"{value:.6g}{'A' if amps else 'degC'}"
            return store(at, typed).seq
        dead = None
        if quantity in ("ohms", "diode"):
            dead = find_ohmmeter(meter, quantity == "diode")
        if not isinstance(value, str | Real) or isinstance(value, bool):
            wrong = f"{value!r} is no reading"
            raise ProblemsError([Problem("", 0, 0, "value", wrong, 'a number, or text as "4.99"')])
        text = value if isinstance(value, str) else f"{value:.6g}"
        if quantity == "frequency" and not isinstance(value, str):
            text += "Hz"
        entry = self.session.read(
            at,
            text,
            against=against,
            ripple=quantity == "ripple",
            ac=quantity == "ac",
            frequency=quantity == "frequency",
            ohmmeter=dead,
            sure=sure,
        )
        return entry.seq

    def look(self, part: str, as_drawn: bool) -> int:
        """Record whether a part is the one of the drawing, fitted as drawn."""
        sign = "as-drawn" if as_drawn else "not-as-drawn"
        return self.session.observe("", part, sign=sign).seq

    def observe(self, sign: str, part: str | None = None) -> int:
        """Record a sign: "blown", "burnt", "bulged" of a part, "ticking", "hum" of the machine."""
        return self.session.observe("", part, sign=sign).seq

    def touched(self, part: str) -> int:
        """Record that an earlier repairer worked on a part."""
        return self.session.observe("worked on before", part, touched=True).seq

    def tested(self, part: str, good: bool) -> int:
        """Record that a part was tested on its own."""
        return self.session.prove(part, good, "").seq

    def change(self, what: str) -> str:
        """Do something to a part ("C4 fitted", "R12 lift a", "F2 removed", "R12 put-back"); returns
        the condition in words."""
        self.session.change(what)
        return self.session.condition.words()

    def undo(self) -> int:
        """Undo the last entry."""
        return self.session.undo().seq

    def suspects(self, most: int = 6) -> list[Explanation]:
        """Explanations of everything read so far, heaviest first."""
        found = []
        for group in self.session.groups()[:most]:
            members = [self.session.hypotheses[i] for i in group.members]
            first = members[0]
            others = dict.fromkeys(h.name for h in members[1:] if h.name != first.name)
            faults = tuple(f.name for f in first.faults)
            each = faults, tuple(others), group.weight, first.parts, first.name
            found.append(Explanation(*each))
        return found

    def blamed(self) -> dict[str, float]:
        """Chance that each part is bad or wrong, in whatever company, most suspect first."""
        return self.session.blamed()

    def propose(self, most: int = 3) -> list[Proposal]:
        """The best next checks; empty when nothing within reach tells anything more."""
        return [self._proposal(c) for c in self.session.next_checks(most)]

    def doubts(self) -> dict[int, str]:
        """Readings the leading explanation contradicts, by journal number, with what is odd about
        each: to be taken again before it is believed."""
        return {r.evidence.number: r.words for r in self.session.unexplained()}

    def decided(self) -> Explanation | None:
        """What to act on, when measuring on would tell less than acting; else None."""
        offered = self.session.next_checks(1)
        group = self.session.decided(offered[0] if offered else None)
        return None if group is None else self.suspects(1)[0]

    def check_too(self) -> list[dict[str, Any]]:
        """Parts the leading faults may have taken along: part, mode, ratio, chance after
        readings and `before` them, words."""
        from halfsplit.bench.too import check_too

        groups = self.session.groups()
        return check_too(self.session, groups[0]) if groups else []

    def expect(self, at: str) -> tuple[float, float, float]:
        """Mean, lowest and highest reading [V] of a healthy machine in the present condition."""
        from halfsplit.bench.expect import expect

        line = expect(self.session, [at], [self.session.condition])[0]
        return line.mean, line.low, line.high

    def _proposal(self, check: Check) -> Proposal:
        asked, names = check.candidate, [h.name for h in self.session.hypotheses]
        new = set(asked.condition.changes) - set(self.session.condition.changes)
        words = {"lifted": "lift", "fitted": "fitted"}
        before = "; ".join(f"{c.part} {words[c.what]} {c.lead}".strip() for c in new)
        leaves = tuple(
            (o.low, o.high, o.chance, tuple(dict.fromkeys(names[i] for i in o.members)))
            for o in check.outcomes
        )
        return Proposal(
            asked.quantity,
            asked.net,
            asked.black,
            asked.condition.feed,
            asked.condition.load,
            before,
            check.healthy,
            check.bits,
            asked.minutes,
            leaves,
        )


def open_bench(file: Path | str) -> Bench:
    """Open a machine by its assembly file. Raises ProblemsError listing everything wrong with it,
    NotFoundError for a missing file, and a HalfsplitError when its journal is in use."""
    return Bench(file)
