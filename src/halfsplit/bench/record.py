"""What a person enters at the bench, put on disk, and the state the machine is in because of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Any, Self

from halfsplit.assembly.advice import hint
from halfsplit.assembly.condition import (
    Change,
    Condition,
    find_part,
    parse_change,
    parse_warm,
)
from halfsplit.assembly.limiter import with_limiters
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Assembly, LoadValue, load_value
from halfsplit.assembly.standing import as_it_is
from halfsplit.bench.blocks import only_of_parts
from halfsplit.bench.hazards import highest_volts
from halfsplit.bench.named_meter import named_meter, with_ac_range
from halfsplit.bench.opening import open_machine
from halfsplit.bench.recall import condition_of, evidence_of, like_for_like, meter_of, none_missing
from halfsplit.circuit.threads import Progress
from halfsplit.diagnosis.evidence import Evidence, Meter, Quantity
from halfsplit.diagnosis.meters import meters
from halfsplit.faults.ohmmeter import Ohmmeter
from halfsplit.journal import Entry, Journal, journal_path
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import QuantityError, Reading, Unit, parse_reading
from halfsplit.quantity.volts import volts


def dead_reading(name: str, text: str, reading: Reading, at: Condition) -> None:
    """Raise ProblemsError when this can be no reading of a dead machine."""
    wrong, instead = "", ""
    if at.energised():
        wrong = f"ohms and diode tests are of a dead machine, and this one is fed by {at.feed}"
        instead = "--feed off, when it is"
    elif reading.value < 0:
        wrong = f"“{text}”: less than nought means a charge or a feed is still there"
        instead = "the reading after the charge is gone"
    if wrong:
        raise ProblemsError([Problem("", 0, 0, name, wrong, instead)])


def _swinging(kind: Quantity, name: str, text: str, reading: Reading, meter: Meter) -> None:
    """Raise ProblemsError when this can be no reading of something that alternates."""
    wrong, instead = "", text.strip().lstrip("-–− ")
    if kind == "ripple" and reading.value < 0:
        wrong = f"“{text}”: ripple is peak to peak, and has no sign"
    elif kind == "ac" and reading.value < 0:
        wrong = f"“{text}”: an AC range shows no sign"
    elif kind == "frequency" and reading.value <= 0:
        wrong, instead = f"“{text}”: nothing was counted", "unstable, or the frequency"
    elif kind == "ac":
        with_ac_range(meter, name, "halfsplit meter FILE --kind digital, or the one used")
    if wrong:
        raise ProblemsError([Problem("", 0, 0, name, wrong, instead)])


SWITCHED = {"open": "open", "off": "open", "closed": "closed", "on": "closed"}


class Recorder:
    """A machine with its journal open: what was entered, and the state that follows from it.

    Use as a context manager.
    """

    def __init__(
        self, path: Path, progress: Progress | None = None, journal: Journal | None = None
    ) -> None:
        """With `journal` that one is used, and it stays open when this is closed."""
        drawn, self.doubts = open_machine(path)
        self.assembly: Assembly = drawn.assembly
        self.machines: dict[object, Machine] = {((), ()): drawn}
        self._lent = journal is not None
        self.journal = Journal.open(journal_path(path)) if journal is None else journal
        self.progress = progress
        self._entries: list[Entry] | None = None
        self._until: int | None = None
        self._evidence: list[Evidence] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if not self._lent:
            self.journal.close()

    @property
    def entries(self) -> list[Entry]:
        """Journal entries in force."""
        if self._entries is None:
            found = self.journal.entries()
            self._entries = [e for e in found if self._until is None or e.seq <= self._until]
        return self._entries

    @property
    def until(self) -> int | None:
        """Number of the last entry looked at; None for all of them."""
        return self._until

    @until.setter
    def until(self, number: int | None) -> None:
        self._until = number
        self._forget()

    def _append(self, kind: str, body: dict[str, Any], key: str | None = None) -> Entry:
        entry = self.journal.append(kind, body, key=key)
        self._forget()
        return entry

    def _forget(self) -> None:
        """Drop what was derived from the journal; the dictionary does not depend on it."""
        self._entries = self._evidence = None
        derived = ("machine", "condition", "found", "_grouped", "_live", "_weights_now", "fed")
        for name in (*derived, "_unexplained", "_doubted"):
            self.__dict__.pop(name, None)

    @cached_property
    def machine(self) -> Machine:
        """The circuit as it is: what was found fitted in place of what is drawn."""
        for e in self.entries:
            if e.kind == "observe" and e.body.get("found"):
                none_missing(self.assembly, e, [e.body["part"]])
        found, touched = self.found_values(), self.touched_parts()
        known = (tuple(sorted(found.items())), touched)
        if known not in self.machines:
            self.machines[known] = Machine(as_it_is(self.assembly, found, touched))
        return self.machines[known]

    def found_values(self) -> dict[str, tuple[tuple[str, str], ...]]:
        """Parts found marked otherwise than drawn: field and value, part by part."""
        return {
            e.body["part"]: tuple(sorted(e.body["found"].items()))
            for e in self.entries
            if e.kind == "observe" and e.body.get("found")
        }

    def touched_parts(self) -> tuple[str, ...]:
        """Parts noted as worked on before of which the circuit must know that."""
        noted = {e.body["part"] for e in self.entries if e.kind == "observe" and e.body["touched"]}
        known = noted & self.assembly.parts.keys()
        return tuple(sorted(ref for ref in known if self.assembly.parts[ref].DISPLACED))

    @cached_property
    def condition(self) -> Condition:
        """The machine's state now: the last one journalled, else first feed and first load.

        Always hot: a minute on, it is, so the time since switch-on belongs to a reading alone.
        """
        for entry in reversed(self.entries):
            if entry.kind == "condition":
                return replace(condition_of(self.machine.assembly, entry), warm=None)
        return Condition(self.assembly.default_feed(), self.assembly.default_load())

    @property
    def meter(self) -> Meter:
        """The meter last named, else the usual digital one."""
        for entry in reversed(self.entries):
            if entry.kind == "meter":
                return meter_of(entry)
        return meters()["digital"]

    def evidence(self) -> list[Evidence]:
        """Readings in force that weigh on the suspects, in order."""
        if self._evidence is None:
            read = [evidence_of(self.machine.assembly, e) for e in self.entries if e.kind == "read"]
            self._evidence = [item for item in read if item is not None]
        return list(self._evidence)

    def net(self, name: str) -> str:
        """Net meant by a name typed at the bench. Raises NotFoundError naming the nearest."""
        found = self.assembly.find_net(name)
        if found is None:
            known = [*self.assembly.nets(), *self.assembly.rails, *self.assembly.points]
            raise NotFoundError(f"there is no net, rail or point {name}{hint(name, known)}")
        return found

    def condition_from(
        self,
        feed: str | None,
        load: str | None,
        warm: str | None = None,
        *,
        mains: str | None = None,
        lamp: str | None = None,
        ambient: str | None = None,
    ) -> Condition:
        """The present condition with another feed, load, mains level, series lamp or air; hot
        unless `warm` gives its time on.

        Raises NotFoundError or ProblemsError.
        """
        now = self.condition
        if warm is not None:
            now = replace(now, warm=parse_warm(warm))
        if feed is not None:
            if feed not in self.assembly.feeds:
                raise NotFoundError(
                    f"there is no feed {feed}; there are {', '.join(self.assembly.feeds)}"
                )
            if feed != now.feed:  # what stood in the mains of one feed says nothing of another
                now = replace(now, feed=feed, mains=None, lamp=None)
        now = with_limiters(self.assembly, now, mains, lamp, ambient)
        if load is not None:
            if load in self.assembly.loads:
                return replace(now, load=load, extra=())
            extra: dict[str, LoadValue] = {}
            for piece in load.split(","):
                net, sign, value = piece.partition("=")
                if not sign:
                    known = ", ".join(self.assembly.loads)
                    raise NotFoundError(
                        f"there is no load {load}; there are {known}, or write p5=2R,p12=24R"
                    )
                try:
                    laid = load_value(value.strip())
                except QuantityError as error:
                    wrong = Problem("", 0, 0, piece, error.wrong, error.instead)
                    raise ProblemsError([wrong]) from error
                extra[self._loaded(net.strip(), extra)] = laid
            now = replace(now, load="none", extra=tuple(sorted(extra.items())))
        return now

    def _loaded(self, name: str, so_far: Mapping[str, Any]) -> str:
        """Net a typed load is laid on. Raises NotFoundError or ProblemsError."""
        net, may = self.net(name), self.assembly.loadable()
        if net not in may:
            wrong = f"{net} is no rail, and no load of the file names it, so none is laid on it"
            instead = ", ".join(may) or "it under `rails` or `loads` in the file"
            raise ProblemsError([Problem("", 0, 0, name, wrong, instead)])
        if net in so_far:
            raise ProblemsError([Problem("", 0, 0, name, "has two loads", "one for each net")])
        return net

    def read(
        self,
        name: str,
        text: str,
        *,
        against: str | None = None,
        ripple: bool = False,
        ac: bool = False,
        frequency: bool = False,
        ohmmeter: Ohmmeter | None = None,
        condition: Condition | None = None,
        key: str | None = None,
        sure: bool = False,
        instrument: Mapping[str, Any] | None = None,
        meter: Meter | None = None,
    ) -> Entry:
        """Store what the meter showed, with the condition it was taken in, then return the entry.

        With `ripple` it is peak to peak from a scope, with `ac` what the AC range showed, with
        `frequency` in hertz. With `ohmmeter` it is a resistance or diode test of the dead machine,
        red lead on `name`. `instrument` says which one sent it, where nobody typed it; `meter` is
        what it was taken with, where that is not the meter in use.

        Raises ProblemsError when the text is no reading, or one far beyond anything in this circuit
        unless `sure`, and NotFoundError for an unknown net; nothing is stored in either case.
        """
        kind: Quantity = "volts" if ohmmeter is None else ohmmeter.test
        kind = "ripple" if ripple else "ac" if ac else "frequency" if frequency else kind
        body = self.reading(
            name,
            text,
            kind,
            against=against,
            ohmmeter=ohmmeter,
            condition=condition,
            sure=sure,
            meter=meter,
        )
        if condition is not None and replace(condition, warm=None) != self.condition:
            self._append("condition", {"condition": replace(condition, warm=None).as_dict()})
        body |= {"instrument": dict(instrument)} if instrument else {}
        return self._append("read", body, key)

    def reading(
        self,
        name: str,
        text: str,
        kind: Quantity = "volts",
        *,
        against: str | None = None,
        ohmmeter: Ohmmeter | None = None,
        condition: Condition | None = None,
        sure: bool = False,
        meter: Meter | None = None,
    ) -> dict[str, Any]:
        """What :meth:`read` would store, checked and not stored. Raises as it does."""
        net = self.net(name)
        other = self.net(against) if against else ""
        if net == (other or self.assembly.common):
            raise ProblemsError(
                [Problem("", 0, 0, name, "both probes would be on one net", "two different nets")]
            )
        units: dict[str, Unit] = {"ohms": "ohm", "frequency": "Hz"}
        unit = units.get(kind, "V")
        try:
            reading = parse_reading(text, unit)
        except QuantityError as error:
            wrong = f"“{error.text}”: {error.wrong}"
            raise ProblemsError([Problem("", 0, 0, name, wrong, error.instead)]) from error
        meter = meter or self.meter
        _swinging(kind, name, text, reading, meter)
        at = condition or self.condition
        if ohmmeter is not None:
            only_of_parts(self.assembly, "resistances")
            dead_reading(name, text, reading, at)
        top = 3.0 * highest_volts(self.machine)
        if (
            not sure
            and unit == "V"
            and ohmmeter is None
            and math.isfinite(reading.value)
            and abs(reading.value) > top
        ):
            wrong = f"“{text}” is over {volts(top)}, three times anything that feeds this circuit"
            raise ProblemsError([Problem("", 0, 0, name, wrong, "the value again", past="sure")])
        driven = {} if ohmmeter is None else {"ohmmeter": ohmmeter.as_dict()}
        return {
            **driven,
            "net": net,
            "against": "" if other == self.assembly.common else other,
            "quantity": kind,
            "value": reading.value if reading.state == "number" else None,
            "resolution": reading.resolution,
            "state": reading.state,
            "text": reading.text,
            "condition": at.as_dict(),
            "meter": meter.__dict__,
        }

    def change(self, text: str) -> Entry:
        """Store something done to a part (see :func:`parse_change`), put back (`C4 put-back`), or
        a switch operated (`SW1 open`).
        """
        words = text.split()
        if len(words) == 2 and words[1].lower() in SWITCHED:
            part = find_part(self.assembly, words[0])
            if part.KIND == "switch":
                now = self.condition
                others = tuple(s for s in now.switches if s[0] != part.ref)
                stands = (part.ref, SWITCHED[words[1].lower()])
                after = replace(now, switches=tuple(sorted((*others, stands))))
                return self._append("condition", {"condition": after.as_dict(), "did": text})
        if len(words) == 2 and words[1].lower() in ("put-back", "restored", "back"):
            ref = find_part(self.assembly, words[0]).ref
            if ref not in {c.part for c in self.condition.changes}:
                done = ", ".join(map(str, self.condition.changes)) or "nothing at all"
                wrong = f"nothing was done to {ref} that could be put back; done so far: {done}"
                raise NotFoundError(wrong)
            after = self.condition.without(ref)
        else:
            after = self.condition.with_change(parse_change(self.assembly, text))
            after = like_for_like(self.machine.assembly, after)
        return self._append("condition", {"condition": after.as_dict(), "did": text})

    def set_condition(self, condition: Condition) -> Entry:
        """Store that feed or load were changed."""
        return self._append("condition", {"condition": condition.as_dict()})

    def set_meter(
        self,
        ohms: str | None = None,
        accuracy: str | None = None,
        counts: float | None = None,
        of_range: str | None = None,
        scale: str | None = None,
        kind: str | None = None,
    ) -> Entry:
        """Store which meter is in use; see :func:`halfsplit.bench.named_meter.named_meter`."""
        now = named_meter(self.meter, ohms, accuracy, counts, of_range, scale, kind)
        return self._append("meter", {"meter": now.__dict__})

    def note(self, kind: str, body: dict[str, Any]) -> Entry:
        """Store an entry of another kind, of something that is no reading and no change."""
        return self._append(kind, body)

    def undo(self, seq: int | None = None) -> Entry:
        """Undo the last entry, or entry `seq`, by a new one."""
        entry = self.journal.undo(seq)
        self._forget()
        return entry

    def open_items(self) -> list[Change]:
        """Temporary changes not yet put right."""
        return [c for c in self.condition.changes if c.temporary]
