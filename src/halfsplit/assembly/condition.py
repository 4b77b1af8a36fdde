"""The state a machine is in: a part of every reading, and what the solver is told to solve."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

from pydantic import ValidationError

from halfsplit.assembly.advice import field_words, hint
from halfsplit.assembly.file import near
from halfsplit.assembly.model import Assembly, LoadValue, load_value
from halfsplit.parts import catalogue
from halfsplit.parts.base import Part, Read
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import QuantityError, parse, show

BENCH = 25.0  # degC, a heated room
# Values of a part fitted like for like where another had been found: see assembly.standing.
AS_DRAWN = (("as", "drawn"),)
What = Literal["removed", "lifted", "bypassed", "fitted", "set"]


@dataclass(frozen=True)
class Change:
    """Something done to one part.

    `removed`: out of the circuit. `lifted`: one `lead` off. `bypassed`: a link across it.
    `fitted`: a good part put in, like for like or with other `values` (field -> text). `set`: the
    same part turned, as a trimmer; `values` has its share of the track.
    """

    part: str
    what: What
    lead: str = ""
    values: tuple[tuple[str, str], ...] = ()

    def __str__(self) -> str:
        if self.what == "lifted":
            return f"{self.part} lead {self.lead} lifted"
        if self.what == "fitted" and self.values not in ((), AS_DRAWN):
            return f"{self.part} fitted as " + ", ".join(f"{k} {v}" for k, v in self.values)
        if self.what == "set":
            return f"{self.part} set to " + ", ".join(v for _, v in self.values)
        return f"{self.part} {'replaced' if self.what == 'fitted' else self.what}"

    @property
    def temporary(self) -> bool:
        """Whether this stays an open item until put right."""
        return self.what not in ("fitted", "set")


@dataclass(frozen=True)
class Condition:
    """Feed, load, and everything done to the machine so far.

    Attributes
    ----------
    feed: name of a feed in the file, or "off".
    load: name of a load in the file.
    extra: loads laid over the named one, net -> value.
    switches: switch reference -> "open" or "closed" where it differs from the file.
    warm: seconds since switch-on, which heaters have had to warm up; None when they are hot.
    ambient: air temperature [degC]; it counts where heat does.
    mains: mains volts as a fraction of nominal; None for what the feed says.
    lamp: rated watts of a lamp in series with the mains, 0 for none; None for what the feed says.
    """

    feed: str
    load: str = "none"
    changes: tuple[Change, ...] = ()
    extra: tuple[tuple[str, LoadValue], ...] = ()
    switches: tuple[tuple[str, str], ...] = ()
    warm: float | None = None
    ambient: float = BENCH
    mains: float | None = None
    lamp: float | None = None

    def with_change(self, change: Change) -> Condition:
        """The condition after one more change; a later change of a part replaces the earlier, save
        that another part fitted stays the one that is turned."""
        before = next((c for c in self.changes if c.part == change.part), None)
        if change.what == "set" and before is not None and before.what == "fitted":
            values = tuple(sorted((dict(before.values) | dict(change.values)).items()))
            change = replace(before, values=values)
        kept = tuple(c for c in self.changes if c.part != change.part)
        return replace(self, changes=tuple(sorted((*kept, change), key=lambda c: c.part)))

    def without(self, part: str) -> Condition:
        """The condition with the part put back as the file has it."""
        return replace(self, changes=tuple(c for c in self.changes if c.part != part))

    def as_drawn(self) -> Condition:
        """The condition without parts fitted like for like, which change nothing in a circuit
        that was as drawn; what they end are faults."""
        kept = tuple(c for c in self.changes if c.what != "fitted" or c.values)
        return self if len(kept) == len(self.changes) else replace(self, changes=kept)

    @cached_property
    def changed(self) -> frozenset[str]:
        """Parts something was done to."""
        return frozenset(c.part for c in self.changes)

    @cached_property
    def fitted(self) -> frozenset[str]:
        """Parts replaced."""
        return frozenset(c.part for c in self.changes if c.what == "fitted")

    @cached_property
    def renewed(self) -> frozenset[str]:
        """Parts replaced, and trimmers set."""
        return self.fitted | {c.part for c in self.changes if c.what == "set"}

    def energised(self) -> bool:
        """Whether anything feeds the machine."""
        return self.feed != "off"

    def words(self) -> str:
        """Short text for lists."""
        bits = [f"fed by {self.feed}" if self.energised() else "off", f"load {self.load}"]
        bits += [f"mains at {100 * self.mains:g} %"] if self.mains is not None else []
        if self.lamp is not None:
            bits.append(f"{self.lamp:g} W lamp in series" if self.lamp else "no lamp in series")
        bits += [f"air {self.ambient:g} °C"] if self.ambient != BENCH else []
        bits += [f"{net} {value}" for net, value in self.extra]
        bits += [f"{ref} {state}" for ref, state in self.switches]
        if self.warm is not None:
            bits.append(f"{show(self.warm, 's', 3)} after switch-on" if self.warm else "cold")
        bits += [str(c) for c in self.changes]
        return ", ".join(bits)

    def as_dict(self) -> dict[str, Any]:
        """For the journal and ``--json``."""
        also: dict[str, Any] = {"ambient": self.ambient} if self.ambient != BENCH else {}
        also |= {k: v for k, v in (("mains", self.mains), ("lamp", self.lamp)) if v is not None}
        return also | {
            "feed": self.feed,
            "load": self.load,
            "changes": [
                {"part": c.part, "what": c.what, "lead": c.lead, "values": dict(c.values)}
                for c in self.changes
            ],
            "extra": {net: str(value) for net, value in self.extra},
            "switches": dict(self.switches),
            "warm": self.warm,
        }

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> Condition:
        """Inverse of :meth:`as_dict`."""
        return Condition(
            data["feed"],
            data.get("load", "none"),
            tuple(
                Change(c["part"], c["what"], c.get("lead", ""), tuple(sorted(c["values"].items())))
                for c in data.get("changes", [])
            ),
            tuple(sorted((n, load_value(v)) for n, v in data.get("extra", {}).items())),
            tuple(sorted(data.get("switches", {}).items())),
            None if data.get("warm") is None else float(data["warm"]),
            float(data.get("ambient", BENCH)),
            data.get("mains"),
            data.get("lamp"),
        )


def parse_warm(text: str) -> float | None:
    """Seconds since switch-on from ``10s``, ``cold`` (0) or ``hot`` (None).

    Raises ProblemsError.
    """
    word = text.strip().lower()
    if word in ("hot", "cold"):
        return None if word == "hot" else 0.0
    try:
        seconds = parse(text, "s")
    except QuantityError as error:
        wrong = Problem("", 0, 0, f"warm {text}", error.wrong, error.instead)
        raise ProblemsError([wrong]) from error
    if seconds < 0:
        wrong = Problem("", 0, 0, f"warm {text}", "lies before switch-on", "10s, cold, or hot")
        raise ProblemsError([wrong])
    return seconds


@dataclass
class Issues:
    """Collects what is wrong with something typed, then raises once."""

    problems: list[Problem] = field(default_factory=list)

    def add(self, where: str, wrong: str, instead: str = "") -> None:
        """Note one problem of what was typed at `where`."""
        self.problems.append(Problem("", 0, 0, where, wrong, instead))

    def done(self) -> None:
        """Raise ProblemsError when anything was noted."""
        if self.problems:
            raise ProblemsError(self.problems)


def find_part(assembly: Assembly, ref: str) -> Part:
    """Part by reference, ignoring case. Raises NotFoundError naming the nearest."""
    for known, part in assembly.parts.items():
        if known.lower() == ref.lower():
            return part
    raise NotFoundError(f"there is no part {ref}{hint(ref, assembly.parts)}")


def parse_change(assembly: Assembly, text: str) -> Change:
    """Read what was done, such as ``R3 removed``, ``R12 lift a``, ``C4 fitted value=33u``.

    Raises ProblemsError or NotFoundError.
    """
    issues = Issues()
    words = text.split()
    if len(words) < 2:
        issues.add(text, "say the part and what was done", "R3 removed, or R12 lift a")
        issues.done()
    part = find_part(assembly, words[0])
    verb, rest = words[1].lower(), words[2:]
    plain: dict[str, What] = {
        r"remove[d]?|pulled|out": "removed",
        r"(bypass|link)(ed)?": "bypassed",
    }
    for pattern, what in plain.items():
        if re.fullmatch(pattern, verb):
            if rest:
                issues.add(text, f"“{' '.join(rest)}” is left over", f"{part.ref} {verb}")
            issues.done()
            return Change(part.ref, what)
    if re.fullmatch(r"lift(ed)?", verb):
        leads = list(part.terminals())
        if len(rest) != 1 or rest[0] not in leads:
            issues.add(text, f"which lead of {part.ref}?", f"{part.ref} lift {leads[0]}")
            issues.done()
        if part.lift(rest[0]) is None:
            wrong = f"what the circuit does with {rest[0]} of a {part.KIND} off is not modelled"
            issues.add(text, wrong, f"{part.ref} removed, if it comes out whole")
            issues.done()
        return Change(part.ref, "lifted", rest[0])
    if re.fullmatch(r"set|turned", verb):
        if "set" not in type(part).model_fields:
            wrong = f"{part.ref} is a {part.KIND}, which has nothing to turn"
            issues.add(text, wrong, f"{part.ref} fitted, or {part.ref} removed")
        elif len(rest) != 1:
            issues.add(text, "say the share of the track it was turned to", f"{part.ref} set 40%")
        issues.done()
        change = Change(part.ref, "set", "", (("set", rest[0]),))
        refit(part, change)
        return change
    if re.fullmatch(r"fit(ted)?|replace[d]?", verb):
        values: dict[str, str] = {}
        fields = ["type", *_fittable(part)]
        for word in rest:
            key, sign, value = word.partition("=")
            if not sign or key not in fields:
                close = near(key, fields) or (fields[1] if len(fields) > 1 else fields[0])
                issues.add(word, f"is nothing a new {part.KIND} comes with", f"{close}=<value>")
            elif key in values:
                issues.add(word, f"{key} is given twice", f"{key}={values[key]}, or {word}")
            values[key] = value
        issues.done()
        change = Change(part.ref, "fitted", "", tuple(sorted(values.items())))
        refit(part, change)
        return change
    issues.add(
        text,
        f"`{verb}` is not something I know how to do to a part",
        "removed, lift <lead>, bypassed, fitted, set <share>, or put-back",
    )
    issues.done()
    raise AssertionError("unreachable")


def _fittable(part: Part) -> list[str]:
    """Fields that belong to the part itself, not to where it sits or to remarks about it."""
    kind = type(part)
    places = {*kind.TERMINALS, *(f"{t}_" for t in kind.TERMINALS)}
    return [k for k in kind.model_fields if k not in Part.model_fields and k not in places]


def refit(part: Part, change: Change) -> Part:
    """The part with the fitted values. Raises ProblemsError when they do not make a part."""
    values = {k: v for k, v in change.values if (k, v) not in AS_DRAWN}
    if not values:
        return part
    fields: dict[str, Any] = {
        k: Read(v) if isinstance(v, float) else v
        for k, v in part.__dict__.items()
        if k != "in_" and v is not None
    }
    if "in_" in part.__dict__:
        fields["in"] = part.__dict__["in_"]
    try:
        if "type" in values:
            fields = _other_type(part, fields, values["type"])
        return type(part)(**{**fields, **values})
    except ValidationError as error:
        issues = Issues()
        for where, wrong, instead in field_words(type(part), error.errors(), {**fields, **values}):
            issues.add(f"{part.ref} {where}", wrong, instead.replace(f"{where}: ", f"{where}="))
        raise ProblemsError(issues.problems) from error


def _other_type(part: Part, fields: dict[str, Any], name: str) -> dict[str, Any]:
    """Fields of `part` with another catalogue type's values in place of its own type's."""
    row, old = catalogue.load().get(name), catalogue.load().get(part.type or "")
    issues = Issues()
    if row is None:
        close = " or ".join(catalogue.load().nearest(name))
        issues.add(f"type={name}", "is not in the catalogue", close or "its values, as value=33u")
    elif row.kind != part.KIND and {row.kind, part.KIND} != {"diode", "rectifier"}:
        issues.add(f"type={name}", f"is a {row.kind}, and {part.ref} is a {part.KIND}")
    issues.done()
    assert row is not None
    kept = {k: v for k, v in fields.items() if old is None or k not in old.fields}
    return kept | {k: v for k, v in row.fields.items() if k in type(part).model_fields}
