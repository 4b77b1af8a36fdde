"""What shows in a file without solving it: nets with one end, odd values, gaps in the numbering."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from halfsplit.assembly.model import Assembly
from halfsplit.assembly.printed import gaps
from halfsplit.bench.proof_rules import doubts
from halfsplit.faults.slip_values import FIELDS, usual, worded
from halfsplit.faults.slips import Slip, terminals_of
from halfsplit.faults.views import named_nets

# Chance that a right file shows such a thing. Common practice, no published source.
LONELY, ONE_NET, ODD_VALUE, MISSING, EXTRA = 1e-4, 1e-4, 0.002, 0.003, 0.01


@dataclass(frozen=True)
class Loose:
    """How often each net is used, and which nets nothing else is on."""

    ends: Mapping[str, int]
    named: frozenset[str]
    common: str
    parts: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    @staticmethod
    def of(assembly: Assembly) -> Loose:
        """Of a file as typed."""
        parts = {r: terminals_of(p) for r, p in assembly.parts.items()}
        ends = Counter(n for nets in parts.values() for n in nets.values())
        # A net only a printed voltage names still needs two ends.
        return Loose(ends, frozenset(named_nets(assembly)), assembly.common, parts)

    def alone(self, net: str, count: int) -> bool:
        """Whether a net with so many ends lacks something."""
        if net == self.common:
            return False
        return count == 0 if net in self.named else count == 1

    @property
    def lonely(self) -> list[str]:
        """Nets that lack something."""
        listed = dict.fromkeys([*self.ends, *self.named])
        return [n for n in listed if self.alone(n, self.ends.get(n, 0))]

    def after(self, slip: Slip) -> list[str]:
        """Nets that lack something once a slip is undone."""
        if slip.part is None:
            return self.lonely
        ends = dict(self.ends)
        for net in self.parts.get(slip.ref, {}).values():
            ends[net] -= 1
        for net in terminals_of(slip.part).values():
            ends[net] = ends.get(net, 0) + 1
        listed = dict.fromkeys([*ends, *self.named])
        # A net nobody is on any more, and nobody names, is no net.
        return [n for n in listed if self.alone(n, ends.get(n, 0))]


@dataclass(frozen=True)
class Mark:
    """One thing that is odd as it stands; `fits` as of a :class:`Doubt`."""

    sort: str  # "lonely", "one net", "odd value", "custom", "missing", "extra"
    path: str
    about: str
    says: str
    gives: str
    odds: float
    fits: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def loss(self) -> float:
        """What it speaks against the file [nat]."""
        return -self.odds

    def answered(self, loose: Loose, slip: Slip) -> bool:
        """Whether undoing a slip puts it right."""
        if self.sort == "lonely":
            unknown = slip.sort == "left out" and slip.part is None
            return unknown or self.about not in loose.after(slip)
        if self.sort == "one net":
            return (
                slip.part is not None
                and slip.ref == self.about
                and not _one_net(terminals_of(slip.part))
            )
        if self.sort == "odd value":
            return slip.sort == "value" and slip.place == self.about
        if self.sort == "custom":
            if slip.sort != "value" or slip.part is None or slip.place not in self.fits:
                return False
            low, high = self.fits[slip.place]
            return low <= float(slip.part.__dict__[slip.place.rpartition(" ")[2]]) <= high
        if self.sort == "missing":
            return slip.sort in ("left out", "reference") and slip.now_ref == self.about
        return slip.sort == "reference" and slip.ref == self.about


def _one_net(nets: Mapping[str, str]) -> bool:
    return len(nets) > 1 and len(set(nets.values())) == 1


def marks(assembly: Assembly, loose: Loose) -> list[Mark]:
    """Everything that shows without solving."""
    found = []
    for net in loose.lonely:
        ends = [
            f"parts.{r}.{t}" for r, nets in loose.parts.items() for t, n in nets.items() if n == net
        ]
        text = f"net `{net}` joins something"
        gives = f"only {ends[0].removeprefix('parts.')}" if ends else "no part"
        found.append(Mark("lonely", (ends or [""])[0], net, text, gives, math.log(LONELY)))
    for ref, nets in loose.parts.items():
        if _one_net(nets):
            net = next(iter(nets.values()))
            text = f"{ref} joins two nets"
            gives = f"only {net}"
            found.append(Mark("one net", f"parts.{ref}", ref, text, gives, math.log(ONE_NET)))
    for ref, part in assembly.parts.items():
        for name in FIELDS.get(part.KIND, ()):
            value = part.__dict__.get(name.key)
            if value is not None and not usual(float(value), name, part.__dict__.get("tolerance")):
                text = f"{ref} has a {name.key} that is made"
                place = f"{ref} {name.key}"
                path = f"parts.{ref}.{name.key}"
                gives = worded(float(value), name)
                found.append(Mark("odd value", path, place, text, gives, math.log(ODD_VALUE)))
    for doubt in doubts(assembly):
        odds = math.log(doubt.chance)
        found.append(Mark("custom", doubt.path, "", doubt.says, doubt.gives, odds, doubt.fits))
    apart = gaps(assembly.numbering, assembly.parts)
    for ref in apart.missing:
        text = f"the numbering of the drawing has {ref}"
        found.append(Mark("missing", "numbering", ref, text, "not in the file", math.log(MISSING)))
    for ref in apart.extra:
        text = f"the numbering of the drawing has no {ref}"
        gives = "it is in the file"
        found.append(Mark("extra", f"parts.{ref}", ref, text, gives, math.log(EXTRA)))
    return found


def odds_of(found: list[Mark], loose: Loose, slip: Slip) -> float:
    """What a slip, undone, leaves of these, and the loose ends it would make [nat]."""
    odds = sum(m.odds for m in found if not m.answered(loose, slip))
    if slip.part is not None:
        new = set(loose.after(slip)) - set(loose.lonely)
        odds += len(new) * math.log(LONELY)
    return odds
