"""Patterns: circuit fragments with nets and parts by role, and one use of one in a drawing.

A pattern is a small circuit whose parts are named by what they do. A use gives each of them the
reference designator of the drawing, joins the fragment's nets to the drawing's, and may set
anything of any part. What comes out are ordinary part entries.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from halfsplit.parts import catalogue
from halfsplit.quantity import QuantityError, Unit, parse

COMMON = "common"  # in a pattern, the common net of whatever assembly it is placed in
RESERVED = ("pattern", "polarity")
_UNITS: tuple[Unit, ...] = ("V", "A", "ohm", "F", "H", "W", "Hz", "%")
UNITS: dict[str, Unit] = {str(u): u for u in _UNITS}  # of parameters
# What a pattern of positive supplies becomes for negative ones.
MIRROR_KIND = {"npn": "pnp", "pnp": "npn"}
MIRROR_ENDS = {"a": "k", "k": "a", "pos": "neg", "neg": "pos"}
MIRRORED = frozenset(
    {"diode", "rectifier", "zener", "selenium", "electrolytic", "tantalum", "bridge", "gas-tube"}
)
Say = Callable[[str, str, str], None]  # dotted place, what is wrong, what to write


@dataclass(frozen=True)
class PatternNet:
    """A net of a pattern that is joined to one of the drawing.

    `net`: what it is unless the use says otherwise: the common net, or another of the pattern's.
    `optional`: it may stay inside.
    """

    name: str
    what: str
    net: str = ""
    optional: bool = False


@dataclass(frozen=True)
class Parameter:
    """A value several parts share, or the one that characterises the pattern."""

    name: str
    unit: str
    what: str
    default: str | None
    why: str

    def wrong(self, text: str) -> tuple[str, str] | None:
        """What is wrong with a value for it, and what to write; None when it will do."""
        if self.unit == "text":
            return None
        try:
            parse(text, UNITS[self.unit])
        except QuantityError as error:
            return f"“{error.text}”: {error.wrong}", error.instead
        return None


@dataclass(frozen=True)
class Role:
    """One part of a pattern.

    Attributes
    ----------
    fields: what is written of it but its terminals; ``=name`` stands for a parameter.
    nets: terminal, or ``windings.<name>.start``, to the pattern's own net.
    absent: "" when it must be given; what is there when it is not: "open", "joined" (all its
        terminals on one net), or two terminals that are, such as "b-e".
    mirrored: fields that differ where the supply is negative.
    """

    name: str
    what: str
    fields: Mapping[str, Any]
    nets: Mapping[str, str]
    absent: str = ""
    mirrored: Mapping[str, Any] = field(default_factory=dict)

    def through(self) -> list[str]:
        """Its nets that are one when it is not given."""
        if self.absent == "joined":
            return list(self.nets.values())
        return [self.nets[t] for t in self.absent.split("-")] if "-" in self.absent else []

    @property
    def kind(self) -> str:
        """Its kind, from the catalogue where only a type is written."""
        if "kind" in self.fields:
            return str(self.fields["kind"])
        row = catalogue.load().get(str(self.fields.get("type")))
        return row.kind if row else ""


@dataclass(frozen=True)
class Pattern:
    """A fragment ready to be placed; `roles` holds those of patterns it uses as well."""

    name: str
    file: Path
    what: str
    why: str
    mirrors: bool
    nets: Mapping[str, PatternNet]
    parameters: Mapping[str, Parameter]
    roles: Mapping[str, Role]
    example: str

    def inner(self) -> list[str]:
        """Nets no use has to name."""
        found = dict.fromkeys(n for r in self.roles.values() for n in r.nets.values())
        return [n for n in found if n not in self.nets and n != COMMON]

    def mirror(self, role: Role, negative: bool) -> Role:
        """A role as it is in a use of that polarity."""
        if not negative or not self.mirrors:
            return role
        kind, fields = role.kind, dict(role.fields)
        if kind in MIRROR_KIND and "kind" in fields:
            fields["kind"] = MIRROR_KIND[kind]
        ends = MIRROR_ENDS if kind in MIRRORED else {}
        turned = {ends.get(t, t): n for t, n in role.nets.items()}
        nets = {t: turned[t] for t in role.nets} if turned.keys() == role.nets.keys() else turned
        return replace(role, fields={**fields, **role.mirrored}, nets=nets, mirrored={})

    def words(self) -> list[str]:
        """Everything a use may say."""
        return [*self.nets, *self.inner(), *self.parameters, *self.roles]


@dataclass(frozen=True)
class Placed:
    """One part that came out of a use: a plain entry, and where in the use each field stands."""

    ref: str
    role: Role
    fields: dict[str, Any]
    nets: dict[str, str]
    where: dict[str, str]

    def entry(self) -> dict[str, Any]:
        """The entry as a plain file would have it."""
        made = {k: dict(v) if isinstance(v, Mapping) else v for k, v in self.fields.items()}
        for terminal, net in self.nets.items():
            put(made, terminal, net)
        return made


def put(entry: dict[str, Any], dotted: str, value: Any) -> None:
    """Set an entry below a mapping, such as windings.s1.start."""
    *way, last = dotted.split(".")
    for step in way:
        entry = entry.setdefault(step, {})
    entry[last] = value


def merged(under: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """One mapping laid over another, mappings inside them likewise."""
    found = dict(under)
    for key, value in over.items():
        below = found.get(key)
        both = isinstance(value, Mapping) and isinstance(below, Mapping)
        found[key] = merged(below, value) if both else value  # type: ignore[arg-type]
    return found
