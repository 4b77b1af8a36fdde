"""What is read, seen and done at the bench, put on disk before a call returns."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from halfsplit.api.given import (
    in_python,
    maybe,
    number,
    reading,
    refuse,
    text,
    whole,
    yes_no,
)
from halfsplit.api.opened import Opened
from halfsplit.bench import gating
from halfsplit.bench.dead import find_ohmmeter
from halfsplit.bench.named_meter import named_meter
from halfsplit.bench.pools import drop, take
from halfsplit.diagnosis.meters import Meter
from halfsplit.faults.ohmmeter import Ohmmeter

POWERED = ("volts", "ripple", "ac", "frequency")
DEAD = ("ohms", "diode")
QUANTITIES = (*POWERED, *DEAD, "amps", "degC")
NET, PART = 'a net, rail or point, such as "p5"', 'a reference, such as "C4"'


class Entering(Opened):
    """A machine with its journal open, for what is entered.

    Every call that stores something returns once it is on disk. What is refused raises
    ProblemsError (a value that cannot be) or NotFoundError (a name the file does not have), with
    what to write instead; nothing is stored then.
    """

    @in_python
    def condition(
        self,
        feed: str | None = None,
        load: str | None = None,
        *,
        mains: float | str | None = None,
        lamp: float | str | None = None,
        ambient: float | str | None = None,
    ) -> str:
        """Say what the machine is fed by and loaded with now; returns its condition in words.

        Parameters
        ----------
        feed: a feed of the file, "off" for none. Another feed forgets `mains` and `lamp`.
        load: a load of the file, "none", or typed, net by net: "p5=2R,p12=1A".
        mains: line volts as a share of nominal, by a variac: 0.9, or "90%"; 1.25 at most.
        lamp: rated watts of a lamp in series with the mains: 60, or "60W"; 0, or "none".
        ambient: air temperature [degC]: 35, or "35degC".

        What is not named stays; with nothing named nothing is stored. Raises ProblemsError and
        NotFoundError.
        """
        if any(given is not None for given in (feed, load, mains, lamp, ambient)):
            at = self._at(feed, load, None, mains, lamp, ambient)
            self.session.set_condition(at)
        return self.session.condition.words()

    @in_python
    def read(
        self,
        at: str,
        value: float | str,
        *,
        against: str | None = None,
        quantity: str = "volts",
        meter: str | None = None,
        sure: bool = False,
        feed: str | None = None,
        load: str | None = None,
        warm: float | str | None = None,
        mains: float | str | None = None,
        lamp: float | str | None = None,
        ambient: float | str | None = None,
    ) -> int:
        """Record a reading; returns its number in the journal.

        Parameters
        ----------
        at: net, rail or point the red lead is on; for "amps" and "degC" a part.
        value: number [V, ohm, Hz, A or degC], or text as the meter shows it: "-1.71", "2k58", "OL",
            "unstable". Text counts to its last digit; a number as a meter of 6000 counts shows it,
            or with its own digits where those are more.
        against: net of the black lead; None or "" for common.
        quantity: "volts"; "ripple", from peak to peak, by a scope; "ac", of the meter's AC range;
            "frequency"; "ohms" and "diode", of a machine that is off; "amps", through a meter in
            the place of part `at`, from its first lead to its second; "degC", of its case.
        meter: for volts and ac the meter it was taken with where that is not the one in use (see
            :meth:`use_meter`): "digital", "pointer-20k", "scope-x10", ...; for ohms and diode the
            ohmmeter: "auto", "ohms-1mA", "diode", .... It counts for nothing else, and is refused
            there.
        sure: that a voltage far beyond all that feeds the circuit is as it was read.
        feed, load, mains, lamp, ambient: the condition it was read in, as of :meth:`condition`;
            where that is not the present one the change is recorded first. None for the present.
        warm: time since switch-on: 10 (seconds), "10s", "cold" or "hot" (None). It is this
            reading's alone: the machine is hot for whatever comes after.

        Raises ProblemsError for what is no such reading, NotFoundError for an unknown net, part,
        feed, load or meter.
        """
        if quantity not in QUANTITIES:
            refuse("quantity", f"there is no quantity {quantity}", ", ".join(QUANTITIES))
        of_part = quantity in ("amps", "degC")
        at = text("at", at, PART if of_part else NET)
        other = None if against == "" else maybe("against", against, NET)
        named = None if meter == "" else maybe("meter", meter, '"digital"')
        shown, far = reading(value, quantity), yes_no("sure", sure)
        driven, powered = self._with(named, quantity)
        said = (feed, load, warm, mains, lamp, ambient)
        now = self._at(*said) if any(g is not None for g in said) else None
        if of_part:
            if other is not None:
                wrong = f"{quantity} are read at a part, not between two nets"
                refuse("against", wrong, "it without `against`")
            amps = quantity == "amps"
            store = self.session.read_current if amps else self.session.read_temperature
            return store(at, shown, now).seq
        entry = self.session.read(
            at,
            shown,
            against=other,
            ripple=quantity == "ripple",
            ac=quantity == "ac",
            frequency=quantity == "frequency",
            ohmmeter=driven,
            condition=now,
            sure=far,
            meter=powered,
        )
        return entry.seq

    def _with(self, name: str | None, quantity: str) -> tuple[Ohmmeter | None, Meter | None]:
        """What a reading was taken with: an ohmmeter of a dead one, a meter of volts."""
        if quantity in DEAD:
            driven = find_ohmmeter(name, quantity == "diode")
            if driven.test != quantity:
                wrong = f"{driven.name} is a diode test, and this asks for ohms"
                refuse("meter", wrong, 'quantity="diode", or "auto"')
            return driven, None
        if name is None:
            return None, None
        if quantity in ("volts", "ac"):
            return None, named_meter(self.session.meter, kind=name)
        wrong = f"which meter read it counts for nothing in {quantity}"
        refuse("meter", wrong, "it without `meter`")

    @in_python
    def use_meter(
        self,
        kind: str | None = None,
        *,
        ohms: str | None = None,
        accuracy: str | None = None,
        counts: float | None = None,
        of_range: str | None = None,
        scale: str | None = None,
    ) -> int:
        """Say which meter reads volts from now on; returns the entry's number.

        Parameters
        ----------
        kind: a shipped one: "digital", "digital-rms", "pointer-20k", "pointer-1k",
            "valve-voltmeter", "scope", "scope-x10". Without it, figures are those of a plain
            digital meter, and `scale` alone another scale of the meter in use.
        ohms: input resistance, "10M"; accuracy: of reading, "0.5%"; counts: last digits of error.
        of_range: error of full scale, "3%"; scale: full scale of the range it is on, "25V".

        Raises ProblemsError for what is no meter, NotFoundError for an unknown kind.
        """
        digits = None if counts is None else number("counts", counts, "counts=2")
        named = {
            "ohms": maybe("ohms", ohms, '"10M"'),
            "accuracy": maybe("accuracy", accuracy, '"0.5%"'),
            "of_range": maybe("of_range", of_range, '"3%"'),
            "scale": maybe("scale", scale, '"25V"'),
            "kind": maybe("kind", kind, '"digital"'),
        }
        if digits is None and not any(named.values()):
            refuse("meter", "no meter was named", 'use_meter("pointer-20k")')
        return self.session.set_meter(counts=digits, **named).seq

    @in_python
    def look(self, part: str, as_drawn: bool) -> int:
        """Record whether a part is the one of the drawing, fitted as drawn; returns the entry's
        number. What else it is marked says :meth:`found`."""
        sign = "as-drawn" if yes_no("as_drawn", as_drawn) else "not-as-drawn"
        return self.session.observe("", text("part", part, PART), sign=sign).seq

    @in_python
    def found(self, part: str, *markings: str) -> int:
        """Record what a part is marked where the drawing differs: found("CR4", "value=6.8V");
        returns the entry's number. Fields are those of the part's line in the file, `type` too.

        The circuit is taken to have that part for every reading, earlier ones as well, until
        another is fitted. Raises ProblemsError for what is no marking of such a part.
        """
        ref = text("part", part, PART)
        said = [text("marking", m, '"value=6.8V"') for m in markings]
        if not said:
            refuse(ref, "no marking was named", f'found("{ref}", "value=6.8V")')
        return self.session.observe("", ref, found=said).seq

    @in_python
    def observe(self, sign: str, part: str | None = None) -> int:
        """Record a sign that weighs; returns the entry's number.

        Of a part: "blown", "burnt", "hot", "bulged", "cracked"; of a lamp or gas tube that is on
        "lit", "dim", "dark"; of a fan "turning", "slow", "stopped". Of the machine, without `part`:
        "ticking", "whine", "hum", "quiet". Anything else is a :meth:`note`.
        """
        ref = maybe("part", part, PART)
        return self.session.observe("", ref, sign=text("sign", sign, '"burnt"')).seq

    @in_python
    def note(self, words: str, part: str | None = None) -> int:
        """Record in words something seen, heard or smelt, which is kept and not weighed; returns
        the entry's number."""
        said = text("note", words, "what you saw, heard or smelt")
        return self.session.observe(said, maybe("part", part, PART)).seq

    @in_python
    def touched(self, part: str) -> int:
        """Record that an earlier repairer worked on a part, which makes it more suspect, and a
        wrong part in its place possible; returns the entry's number."""
        ref = text("part", part, PART)
        return self.session.observe("worked on before", ref, touched=True).seq

    @in_python
    def tested(self, part: str, good: bool) -> int:
        """Record that a part was tested on its own, out of circuit; returns the entry's number."""
        return self.session.prove(text("part", part, PART), yes_no("good", good), "").seq

    @in_python
    def change(self, what: str, *, anyway: str | None = None) -> str:
        """Record something done to a part; returns the condition in words.

        "C4 fitted" (like for like), "C4 fitted value=33u", "R12 lift a", "F2 removed",
        "F2 bypassed", "R12 put-back", "SW1 open", "RV1 set 40%" (of its track, from a to the
        wiper). Turning a trimmer is refused before the references are proved, unless `anyway`
        gives the reason, which is kept.

        Raises ProblemsError for what cannot be done to that part, NotFoundError for an unknown
        one. :meth:`cautions` says what to mind before hands go in.
        """
        done = text("change", what, '"C4 fitted", or "R12 lift a"')
        why = maybe("anyway", anyway, "the reason in words")
        turned = gating.moved(self.session, done)
        if turned:
            gating.trimmer(self.session, turned, why)
        elif why is not None:
            refuse("anyway", "only turning a trimmer is refused here", "it without `anyway`")
        self.session.change(done)
        return self.session.condition.words()

    @in_python
    def weigh(self, of: str, factor: float) -> int:
        """Say how many times likelier than a new one a part, or every part of a kind, is to have
        failed: weigh("C4", 30), weigh("tantalum", 10); returns the entry's number.

        It replaces the usual factor for age and kind, and any pool. Above 0, at most 10,000.
        """
        ref = text("of", of, 'a part or kind, such as "C4" or "tantalum"')
        return self.session.weigh_part(ref, number("factor", factor, "a factor, such as 30")).seq

    @in_python
    def use_pool(self, file: Path | str | None) -> int:
        """Weigh parts by a file of merged outcomes (see `halfsplit pool`), None for as shipped;
        returns the entry's number. What it says is kept in the journal as it is now."""
        if file is None:
            return drop(self.session).seq
        path = file if isinstance(file, Path) else text("file", file, "the path of a pool, or None")
        return take(self.session, Path(path), datetime.now(UTC).year).seq

    @in_python
    def undo(self, entry: int | None = None) -> int:
        """Undo the last entry, or the one of that number (see :meth:`entries`), by a new entry,
        whose number is returned; undoing that brings it back. Readings taken with a change that is
        undone stay: see :meth:`left_behind`.

        Raises NotFoundError when there is nothing to undo, or no such entry in force.
        """
        if entry is not None:
            entry = whole("entry", entry, "the number of an entry in force: see entries()")
        return self.session.undo(entry).seq
