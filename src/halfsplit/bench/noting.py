"""What was seen, heard or smelt, found marked otherwise, or tested on its own: put on disk."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

from halfsplit.assembly.condition import Change, Condition, find_part, parse_change
from halfsplit.assembly.file import near
from halfsplit.bench.handed import HANDED
from halfsplit.bench.hazards import DISCHARGED
from halfsplit.bench.pools import Laid, laid_of
from halfsplit.bench.recall import condition_of
from halfsplit.bench.record import Recorder
from halfsplit.bench.specimen import specimens
from halfsplit.diagnosis.signs import OF_MACHINE, OF_PART, TEMPERATURE, WORKING, Sign
from halfsplit.diagnosis.warmth import case_to_air
from halfsplit.journal import Entry
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import QuantityError, parse_reading

NEEDS_PART = (*OF_PART, *WORKING)

BringUp = Literal["reform", "protect", "discharge"]


class Noter(Recorder):
    """A machine with its journal open, for observations and verdicts on parts."""

    @property
    def touched(self) -> list[str]:
        """Parts the journal or the file says an earlier repairer touched."""
        noted = [e.body["part"] for e in self.entries if e.kind == "observe" and e.body["touched"]]
        return [*noted, *(p.ref for p in self.assembly.parts.values() if p.touched)]

    def observe(
        self,
        text: str,
        part: str | None = None,
        touched: bool = False,
        sign: str = "",
        found: Sequence[str] = (),
    ) -> Entry:
        """Store something seen, heard or smelt.

        `touched` marks the part as worked on before, `sign` is a word of
        :mod:`halfsplit.diagnosis.signs`, `found` what the part is marked where that differs from
        the drawing, such as ``value=6.8V``.
        """
        # A stray byte on the command line arrives as a lone surrogate, which is no text.
        said = text.strip() or sign.replace("-", " ")
        said = said or ("found marked " + ", ".join(found) if found else "")
        if not said or any("\ud800" <= c <= "\udfff" for c in said):
            wrong = "there is nothing in this note that can be stored as text"
            raise ProblemsError([Problem("", 0, 0, "", wrong, "what you saw, heard or smelt")])
        ref = "" if part is None else find_part(self.assembly, part).ref
        needy = "touched" if touched else "found" if found else sign if sign in NEEDS_PART else ""
        if needy and not ref:
            example = {"touched": "--part Q10 --touched", "found": "--part CR4 --found value=6.8V"}
            instead = example.get(needy, f"--part C4 --sign {needy}")
            raise ProblemsError([Problem("", 0, 0, "", f"{needy} needs a part", instead)])
        if sign in OF_MACHINE and ref:
            wrong = f"{sign} is a sign of the whole machine, not of {ref}"
            raise ProblemsError([Problem("", 0, 0, ref, wrong, f"--sign {sign}, without a part")])
        if sign and sign not in {*NEEDS_PART, *OF_MACHINE}:
            close = near(sign, [*NEEDS_PART, *OF_MACHINE])
            known = ", ".join([*NEEDS_PART, *OF_MACHINE])
            hint = f"did you mean {close}? " if close else ""
            raise NotFoundError(f"there is no sign {sign}; {hint}there are {known}")
        if sign in WORKING and self.assembly.parts[ref].KIND not in WORKING[sign][0]:
            kinds = " or ".join(k.replace("-", " ") for k in WORKING[sign][0])
            others = [r for r, p in self.assembly.parts.items() if p.KIND in WORKING[sign][0]] or [
                "none in this file"
            ]
            wrong = f"{sign} is a sign of a {kinds}, and {ref} is none"
            raise ProblemsError([Problem("", 0, 0, ref, wrong, ", ".join(others))])
        if sign in {*OF_MACHINE, *WORKING} and not self.condition.energised():
            wrong = f"{sign} is a sign of a machine that is on, and this one is off"
            raise ProblemsError([Problem("", 0, 0, "", wrong, "change FILE --feed …, if it is on")])
        values = {}
        if found:
            if any(c.part == ref and c.what == "fitted" for c in self.condition.changes):
                wrong = f"{ref} was fitted on this bench, so its marking is that of the new one"
                instead = f"change FILE {ref} fitted {' '.join(found)}"
                raise ProblemsError([Problem("", 0, 0, ref, wrong, instead)])
            change = parse_change(self.assembly, f"{ref} fitted {' '.join(found)}")
            values, sign = dict(change.values), "not-as-drawn"
        body = {"text": said, "part": ref, "touched": touched, "sign": sign, "found": values}
        return self._append("observe", {**body, "condition": self.condition.as_dict()})

    def read_current(
        self,
        name: str,
        text: str,
        condition: Condition | None = None,
        *,
        key: str | None = None,
        instrument: Mapping[str, Any] | None = None,
    ) -> Entry:
        """Store the current through a meter put in a part's place (a fuse out, a wire opened),
        counted from its first lead to its second. `instrument` says which one sent it.

        Raises ProblemsError when the text is no current or the part has not two leads.
        """
        body = self.reading_current(name, text, condition)
        if condition is not None and replace(condition, warm=None) != self.condition:
            self._append("condition", {"condition": replace(condition, warm=None).as_dict()})
        body |= {"instrument": dict(instrument)} if instrument else {}
        return self._append("read", body, key)

    def reading_current(
        self, name: str, text: str, condition: Condition | None = None
    ) -> dict[str, Any]:
        """What :meth:`read_current` would store, checked and not stored. Raises as it does."""
        part = find_part(self.assembly, name)
        at = condition or self.condition
        nets = list(part.terminals().values())
        wrong, instead = "", ""
        if len(nets) != 2:
            wrong, instead = f"{part.ref} has {len(nets)} leads", "a part of two, such as a fuse"
        elif not at.energised():
            wrong, instead = "no current flows in a machine that is off", "--feed, as it is fed"
        if wrong:
            raise ProblemsError([Problem("", 0, 0, name, wrong, instead)])
        try:
            reading = parse_reading(text, "A")
        except QuantityError as error:
            told = Problem("", 0, 0, name, f"“{error.text}”: {error.wrong}", error.instead)
            raise ProblemsError([told]) from error
        linked = at.with_change(Change(part.ref, "bypassed"))
        first, second = nets
        value = reading.value if reading.state == "number" else None
        if first == self.assembly.common:  # the reading is kept from the other net to common
            first, second, value = second, first, None if value is None else -value
        return {
            "net": first,
            "against": "" if second == self.assembly.common else second,
            "quantity": "amps",
            "value": value,
            "resolution": reading.resolution,
            "state": reading.state,
            "text": f"{reading.text} through {part.ref}",
            "condition": linked.as_dict(),
            "meter": self.meter.__dict__,
        }

    def read_temperature(self, name: str, text: str, condition: Condition | None = None) -> Entry:
        """Store the temperature of a part's case in a running machine that has warmed up.

        Raises ProblemsError when the text is no temperature, the machine is off, or the file does
        not tell how the part gives off its heat, so that nothing could be expected of it.
        """
        part = find_part(self.assembly, name)
        at = condition or self.condition
        there = self.machine.fitted(self.machine.assembly.parts[part.ref], at)
        wrong, instead = "", ""
        if not at.energised():
            wrong, instead = "nothing is warm in a machine that is off", "--feed, as it is fed"
        elif at.warm is not None:
            wrong, instead = "it has not warmed up yet", "--warm hot, and the reading then"
        elif case_to_air(there) is None:
            wrong = f"the file does not tell how {part.ref} gives off its heat"
            instead = f"sink: 8K/W at {part.ref}, or observe FILE --part {part.ref} --sign hot"
            if "sink" not in type(part).model_fields:
                instead = f"observe FILE --part {part.ref} --sign hot"
        try:
            reading = parse_reading(text, "degC")
        except QuantityError as error:
            told = Problem("", 0, 0, name, f"“{error.text}”: {error.wrong}", error.instead)
            raise ProblemsError([told]) from error
        if not wrong and not (reading.state == "number" and -50.0 <= reading.value <= 400.0):
            wrong, instead = f"“{text}” is no temperature of a part", "82degC"
        if wrong:
            raise ProblemsError([Problem("", 0, 0, name, wrong, instead)])
        if condition is not None and condition != self.condition:
            self._append("condition", {"condition": condition.as_dict()})
        body = {"text": f"{reading.text} at its case", "part": part.ref, "touched": False}
        body |= {"sign": TEMPERATURE, "degrees": reading.value, "found": {}}
        return self._append("observe", {**body, "condition": at.as_dict()})

    def weigh_part(self, of: str, factor: float) -> Entry:
        """Store how much likelier than a new one a part, or every part of a kind, is to have
        failed: replaces the usual factor for age. Raises ProblemsError or NotFoundError."""
        kinds = {p.KIND for p in self.assembly.parts.values()}
        if of.lower() not in kinds:
            of = find_part(self.assembly, of).ref
        if not 0.0 < factor <= 1e4:
            wrong = "a factor is above 0 and at most 10000"
            raise ProblemsError([Problem("", 0, 0, of, wrong, "C4=30")])
        return self._append("factor", {"of": of.lower(), "factor": factor})

    def field(self) -> Laid | None:
        """The pool of outcomes of other benches in use here, None when there is none."""
        return laid_of(self.entries)

    def pool_said(self) -> str:
        """Which pool that is, in words; "" for none. What is weighed by it says so."""
        found = self.field()
        return "" if found is None else found.said

    def signs(self) -> list[Sign]:
        """Observations in force that weigh on the suspects, in order; a marking found does not, as
        the circuit has it from then on."""
        return [
            Sign(
                e.body["sign"],
                e.body["part"] if e.body["sign"] in (*NEEDS_PART, TEMPERATURE) else "",
                condition_of(self.machine.assembly, e),
                e.seq,
                float(e.body.get("degrees", math.nan)),
            )
            for e in self.entries
            if e.kind == "observe" and e.body.get("sign") and not e.body.get("found")
        ]

    def prove(self, part: str, good: bool, text: str) -> Entry:
        """Store that a part was tested out of circuit and found `good` or not."""
        ref = find_part(self.assembly, part).ref
        note = text.strip() or ("tested good" if good else "tested bad")
        return self._append("prove", {"part": ref, "good": good, "text": note})

    def proofs(self) -> list[tuple[str, bool]]:
        """Parts tested out of circuit, in order, each with the verdict."""
        return [(part, good) for _, part, good in self.verdicts()]

    def fresh_proofs(self) -> list[tuple[str, bool]]:
        """The same of parts fitted on this bench that are in the machine now."""
        return [(part, good) for _, part, good in self.verdicts(new=True)]

    def verdicts(self, new: bool = False) -> list[tuple[int, str, bool]]:
        """Parts tested, each after the number of its entry: those it came with, or the `new` ones.

        A verdict on a part fitted since the machine came in says nothing of the old one, nor one on
        a part that was replaced again of the one there now.
        """
        found, fitted = [], dict[str, int]()
        for entry, there in specimens(self.assembly, self.entries):
            fitted = dict(there)
            if entry.kind == "prove":
                ref = entry.body["part"]
                found.append((entry.seq, ref, bool(entry.body["good"]), fitted.get(ref, 0)))
        return [
            (number, ref, good)
            for number, ref, good, which in found
            if which == (fitted.get(ref, 0) if new else 0) and bool(which) == new
        ]

    def anything_weighs(self) -> bool:
        """Whether anything in force weighs on the suspects: a reading, a verdict or a sign."""
        return bool(self.evidence() or self.proofs() or self.fresh_proofs() or self.signs())

    def note_bringup(self, kind: BringUp, part: str, body: dict[str, Any]) -> Entry:
        """Store a reading of a reforming, of a protection test, or after a discharge."""
        ref = find_part(self.assembly, part).ref
        return self._append(kind, {"part": ref, **body, "condition": self.condition.as_dict()})

    def discharged(self) -> dict[str, float]:
        """Capacitors measured below 1 V since the machine went off, with the volts read.

        Feeding it, a protection test (it injects into a rail) and forming the part undo that, and
        so does a later reading above.
        """
        found: dict[str, float] = {}
        on = self.assembly.default_feed() != "off"
        for entry in self.entries:
            if "condition" in entry.body:
                on = condition_of(self.assembly, entry).energised()
            if on or entry.kind in ("protect", HANDED):
                found.clear()
            elif entry.kind in ("reform", "discharge"):
                found.pop(entry.body["part"], None)
                if entry.kind == "discharge" and abs(entry.body["volts"]) < DISCHARGED:
                    found[entry.body["part"]] = float(entry.body["volts"])
        return found

    def forming(self, part: str) -> list[Entry]:
        """Readings of the reforming of one part in force, in order."""
        return [e for e in self.entries if e.kind == "reform" and e.body["part"] == part]
