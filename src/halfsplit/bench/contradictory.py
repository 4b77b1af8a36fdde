"""Verdicts and signs that cannot both be right: told, with their entries, never fitted silently."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from halfsplit.assembly.condition import Condition
from halfsplit.bench.noting import Noter
from halfsplit.bench.recall import condition_of
from halfsplit.bench.specimen import specimens
from halfsplit.diagnosis.explain import MISSES
from halfsplit.diagnosis.signs import OF_MACHINE, TEMPERATURE, WORKING, exclude
from halfsplit.diagnosis.warmth import DEGREES
from halfsplit.journal import Entry

# Two temperatures of one case in one condition differ by the thermometer's error alone [K].
UNLIKE = MISSES * math.sqrt(2.0) * DEGREES
AGAIN = {
    "verdict": "test it again",
    "drawn": "look at it again",
    "works": "look at it again",
    "machine": "listen again",
    "degrees": "measure it again",
}


@dataclass(frozen=True)
class Contradiction:
    """Entries in force that cannot all be right; `part` is "" for signs of the machine."""

    entries: tuple[int, ...]
    part: str
    words: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"entries": list(self.entries), "part": self.part, "words": self.words}


@dataclass(frozen=True)
class _Said:
    """One entry of a topic of `AGAIN`. `fitted` is the entry that fitted the part it is of, 0 for
    the one the machine came with; `condition` is None where it says the same in any."""

    number: int
    topic: str
    part: str
    fitted: int
    condition: Condition | None
    what: str
    words: str
    degrees: float = 0.0
    values: tuple[tuple[str, str], ...] = ()

    @property
    def place(self) -> tuple[object, ...]:
        return self.topic, self.part, self.fitted, self.condition


def contradictions(bench: Noter) -> list[Contradiction]:
    """Every set of verdicts or signs of one part, or of the machine, that cannot all be right."""
    places: dict[tuple[object, ...], list[_Said]] = {}
    told, now = _all_said(bench)
    for one in told:
        places.setdefault(one.place, []).append(one)
    found = []
    for listed in places.values():
        pairs = [p for p in combinations(listed, 2) if _conflict(*p)]
        odd = sorted({one for p in pairs for one in p}, key=lambda one: one.number)
        if odd:
            numbers = tuple(one.number for one in odd)
            out = now.get(odd[0].part, 0) != odd[0].fitted
            found.append(Contradiction(numbers, odd[0].part, _words(odd, out)))
    return sorted(found, key=lambda c: c.entries)


def _all_said(bench: Noter) -> tuple[list[_Said], dict[str, int]]:
    """All of them in order, and of each part the entry that fitted the one in the machine now."""
    found = []
    fitted: Mapping[str, int] = {}
    for entry, fitted in specimens(bench.assembly, bench.entries):
        if entry.kind == "prove":
            found.append(_verdict(entry, fitted))
        elif entry.kind == "observe":
            one = _sign(bench, entry, fitted)
            found += [one] if one is not None else []
    return found, dict(fitted)


def _verdict(entry: Entry, fitted: Mapping[str, int]) -> _Said:
    part, good = entry.body["part"], entry.body["good"]
    what = "good" if good else "bad"
    return _Said(entry.seq, "verdict", part, fitted.get(part, 0), None, what, f"tested {what}")


def _sign(bench: Noter, entry: Entry, fitted: Mapping[str, int]) -> _Said | None:
    body = entry.body
    name, part = body.get("sign", ""), body["part"]
    at = fitted.get(part, 0)
    if name in ("as-drawn", "not-as-drawn"):
        values = tuple(sorted(body["found"].items())) if body.get("found") else ()
        marked = "marked " + ", ".join(f"{k} {v}" for k, v in values)
        words = marked if values else name.replace("-", " ")
        return _Said(entry.seq, "drawn", part, at, None, name, words, values=values)
    if name == "blown":
        return _Said(entry.seq, "verdict", part, at, None, name, name)
    if name not in (*WORKING, *OF_MACHINE, TEMPERATURE):
        return None
    condition = condition_of(bench.machine.assembly, entry)
    if name == TEMPERATURE:
        degrees = float(body["degrees"])
        words = f"{degrees:g} °C at its case"
        return _Said(entry.seq, "degrees", part, at, condition, name, words, degrees)
    if name in OF_MACHINE:
        return _Said(entry.seq, "machine", "", 0, condition, name, name)
    return _Said(entry.seq, "works", part, at, condition, name, name)


def _conflict(one: _Said, other: _Said) -> bool:
    """Whether two of one place cannot both be right."""
    if one.topic == "verdict":
        return (one.what == "good") != (other.what == "good")
    if one.topic == "degrees":
        return abs(one.degrees - other.degrees) > UNLIKE
    mine, theirs = dict(one.values), dict(other.values)
    if any(mine[k] != theirs[k] for k in mine.keys() & theirs.keys()):
        return True
    return exclude(one.what, other.what)


def _words(odd: list[_Said], out: bool) -> str:
    """`out` where the part they are of has been replaced since."""
    first = odd[0]
    who = first.part or "the machine"
    listed = [f"{one.words} (#{one.number})" for one in odd]
    told = ", ".join(listed[:-1]) + f" and {listed[-1]}"
    if first.condition is None:
        where = "with no other fitted between"
    else:
        where = f"in one and the same condition ({first.condition.words()})"
    count = "both count" if len(odd) == 2 else "all of them count"
    if first.topic == "verdict" and first.fitted and out:
        count = "as it was fitted here and is out, neither weighs any more"
    elif any(one.values for one in odd):
        count = "what was marked last is in the circuit"
    why = "one is wrong, or it changed between"
    again = f"{AGAIN[first.topic]} and undo what was wrong"
    if out:
        again = "it is out of the machine by now; undo what was wrong"
    return f"{who}: {told}, {where}: {why}; {count}; {again}"
