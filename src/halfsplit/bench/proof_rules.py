"""What a drawing office does by custom: values that are odd for what a part is or where it stands.

Nothing is solved here, so each is a doubt of a few nats only, and anything that explains what the
solved circuit does not keep goes before it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from halfsplit.assembly.model import Assembly
from halfsplit.faults.slip_values import Field, value_field, worded
from halfsplit.faults.slips import terminals_of
from halfsplit.parts.base import Part
from halfsplit.quantity import Tolerance
from halfsplit.quantity.eseries import is_preferred

# Smallest and largest of each kind as made to 1990. Makers' lists, from memory, unconfirmed.
MADE: Mapping[str, tuple[float, float]] = {
    "electrolytic": (0.47e-6, 0.5),
    "tantalum": (0.1e-6, 680e-6),
    "ceramic-capacitor": (1e-12, 4.7e-6),
    "film-capacitor": (47e-12, 47e-6),
    "paper-capacitor": (100e-12, 20e-6),
    "resistor": (0.005, 50e6),
    "potentiometer": (10.0, 10e6),
}
# Chance that a right file shows such a thing all the same. Common practice, no published source.
UNMADE, UNLIKE_REST, UNLIKE_TWIN = 0.01, 0.05, 0.03
REST = 16  # values of a sort from which a file has a custom of its own
SMALL = 1e-6  # F: below, a capacitor decides a stage's time, and sister stages have the same
ALIKE = 0.02  # share within which two values are the same
LEVEL = 0.02  # share within which two rails are sisters, sign aside


@dataclass(frozen=True)
class Doubt:
    """A value that is odd by custom.

    Attributes
    ----------
    says, gives: what custom says, and what the file has.
    fits: by place, such as "C6 value", from where to where a value there answers it.
    """

    path: str
    says: str
    gives: str
    chance: float
    fits: Mapping[str, tuple[float, float]] = field(default_factory=dict)


def doubts(assembly: Assembly) -> list[Doubt]:
    """Every value that is odd by one of these customs."""
    return [*_unmade(assembly), *_unlike_rest(assembly), *_unlike_twin(assembly)]


def _valued(assembly: Assembly) -> Iterator[tuple[str, Part, Field, float]]:
    for ref, part in assembly.parts.items():
        name = value_field(part.KIND)
        value = None if name is None else part.__dict__.get(name.key)
        if name is not None and value:
            yield ref, part, name, float(value)


def _unmade(assembly: Assembly) -> Iterator[Doubt]:
    for ref, part, name, value in _valued(assembly):
        low, high = MADE.get(part.KIND, (0.0, math.inf))
        if not low * 0.999 <= value <= high * 1.001:
            ends = f"{worded(low, name)} to {worded(high, name)}"
            text = f"{ref} is a {part.KIND}: those are {ends}"
            at = f"{ref} {name.key}"
            path = f"parts.{ref}.{name.key}"
            yield Doubt(path, text, worded(value, name), UNMADE, {at: (low, high)})


def _unlike_rest(assembly: Assembly) -> Iterator[Doubt]:
    """A resistor of E24 in a file whose others of no tight tolerance are all of E12."""
    plain = [
        (ref, name, value)
        for ref, part, name, value in _valued(assembly)
        if part.KIND == "resistor" and not _tight(part)
    ]
    odd = [(r, n, v) for r, n, v in plain if not is_preferred(v, "E12")]
    if len(odd) != 1 or len(plain) < REST:
        return
    ref, name, value = odd[0]
    text = f"{ref} is of E12, as the other {len(plain) - 1} of no tight tolerance are"
    fits = {f"{ref} {name.key}": (0.0, math.inf)}
    path = f"parts.{ref}.{name.key}"
    yield Doubt(path, text, worded(value, name), UNLIKE_REST, fits)


def _tight(part: Part) -> bool:
    said = part.__dict__.get("tolerance")
    return isinstance(said, Tolerance) and said.minus <= 0.021


def _unlike_twin(assembly: Assembly) -> Iterator[Doubt]:
    """Parts at the same place of two sister stages, with different values."""
    places = _Places(assembly)
    groups: dict[tuple[object, ...], list[tuple[str, Part, Field, float]]] = {}
    for row in _valued(assembly):
        key = places.of(row[1])
        if key is not None:
            groups.setdefault((row[1].KIND, *key), []).append(row)
    for rows in groups.values():
        if len(rows) != 2:
            continue  # with three or more nobody says which two belong together
        (one, a, name, first), (other, b, _, second) = rows
        if abs(first - second) <= ALIKE * max(first, second) or not places.sisters(a, b, first):
            continue
        text = f"{one} and {other}, at the same place of two stages, are alike"
        gives = f"{one} {worded(first, name)}, {other} {worded(second, name)}"
        fits = {
            f"{ref} {name.key}": (v * (1 - ALIKE), v * (1 + ALIKE))
            for ref, v in ((one, second), (other, first))
        }
        yield Doubt(f"parts.{one}.{name.key}", text, gives, UNLIKE_TWIN, fits)


class _Places:
    """Where parts stand: what else is on their nets, NPN and PNP, plus and minus taken as one."""

    KINDS: Mapping[str, str] = {"pnp": "npn", "rectifier": "diode"}
    LEADS: Mapping[str, str] = {
        **dict.fromkeys(("a", "b", "pos", "neg", "k", "ac1", "ac2", "plus", "minus"), "end"),
    }

    def __init__(self, assembly: Assembly) -> None:
        self.common = assembly.common
        self.rails = {r.net: r for r in assembly.rails.values()}
        self.on: dict[str, list[tuple[str, str, str]]] = {}
        self.nets = {ref: terminals_of(p) for ref, p in assembly.parts.items()}
        for ref, part in assembly.parts.items():
            kind = self.KINDS.get(part.KIND, part.KIND)
            for lead, net in self.nets[ref].items():
                said = lead if kind == "npn" else self.LEADS.get(lead, lead)
                self.on.setdefault(net, []).append((ref, kind, said))

    def of(self, part: Part) -> tuple[object, ...] | None:
        """What stands on the nets of a part besides it; None for one of other than two leads, and
        one that has nothing beside it."""
        nets = list(self.nets[part.ref].values())
        if len(nets) != 2 or nets[0] == nets[1]:
            return None
        found: list[tuple[object, ...]] = []
        for net in nets:
            if net == self.common:
                found.append(("common",))
            elif net in self.rails:
                found.append(("rail",))
            else:
                beside = Counter((k, lead) for ref, k, lead in self.on[net] if ref != part.ref)
                found.append(tuple(sorted(beside.items())))
        return tuple(sorted(found, key=repr))

    def near(self, part: Part) -> set[str]:
        """Nets of the rails a part is nearest to, by the parts between, never through common."""
        seen = {n for n in self.nets[part.ref].values() if n != self.common}
        edge = set(seen)
        while edge:
            near = {n for n in edge if n in self.rails}
            if near:
                return near
            refs = {ref for n in edge for ref, _, _ in self.on[n]}
            new = {n for ref in refs for n in self.nets[ref].values()} - seen - {self.common}
            seen |= new
            edge = new
        return set()

    def sisters(self, one: Part, other: Part, value: float) -> bool:
        """Whether two parts belong to stages that are built alike: of rails of the same volts but
        for the sign, or, of small capacitors, of any two rails."""
        shared = {*self.nets[one.ref].values()} & {*self.nets[other.ref].values()}
        pairs = [(a, b) for a in self.near(one) for b in self.near(other) if a != b]
        if shared - {self.common} or not pairs:
            return False
        if one.KIND in ("ceramic-capacitor", "film-capacitor") and value < SMALL:
            return True
        return any(self._alike(a, b) for a, b in pairs)

    def _alike(self, one: str, other: str) -> bool:
        """Whether two rails have the same volts but for the sign."""
        a, b = (abs(r.limits.low + r.limits.high) for r in (self.rails[one], self.rails[other]))
        return abs(a - b) <= LEVEL * max(a, b)
