"""Gates: what is refused until readings prove it may be done, with the proof that lifts each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal

from halfsplit.assembly.condition import Condition, refit
from halfsplit.assembly.model import Assembly
from halfsplit.bringup.conductors import fuse_equivalent
from halfsplit.bringup.leans import LeansMap
from halfsplit.bringup.proof import Proof
from halfsplit.parts.kinds.fuse import Fuse
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

Subject = Literal["power", "boards", "trimmers"]


@dataclass(frozen=True)
class Known:
    """What the journal says that gates ask for.

    Attributes
    ----------
    as_drawn: parts looked at and found as drawn. otherwise: parts found marked otherwise.
    trips: measured over-voltage trip of each rail [V], the latest; of a test of several firings the
        one furthest from the middle of them.
    doubted: rail -> what its latest crowbar test found wrong; empty or absent when nothing.
    disturbed: parts moved or heated while another was worked on, and not tested since.
    overrides: gate name -> typed reason.
    beside: part that sits beside one worked on, and was not looked at since -> that one.
    """

    as_drawn: frozenset[str] = frozenset()
    otherwise: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    trips: Mapping[str, float] = field(default_factory=dict)
    doubted: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    disturbed: frozenset[str] = frozenset()
    overrides: Mapping[str, str] = field(default_factory=dict)
    beside: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Gate:
    """One gate. `refused` lists why, `proof` what lifts it, `override` a reason somebody typed."""

    name: str
    subjects: tuple[Subject, ...]
    refused: tuple[str, ...]
    proof: str
    override: str = ""

    @property
    def open(self) -> bool:
        """Whether one may pass: nothing is refused, or somebody took it upon himself."""
        return not self.refused or bool(self.override)

    @property
    def state(self) -> str:
        """open, overridden or refused."""
        if not self.refused:
            return "open"
        return "overridden" if self.override else "refused"

    def as_dict(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return asdict(self) | {"state": self.state}


def gates(
    assembly: Assembly,
    leans: LeansMap,
    proved: Mapping[str, Proof],
    now: Condition,
    known: Known,
) -> list[Gate]:
    """Every gate of a machine as it stands."""
    found = [
        _proved("references", ("boards", "trimmers"), _references(leans, proved)),
        _proved("raw rails", ("boards",), [p for p in proved.values() if p.kind == "raw"]),
        _proved("rails at load", ("boards",), [p for p in proved.values() if p.kind == "rail"]),
        _trip(assembly, known),
        _temporary(now),
        _fuses(assembly, now, known),
        _disturbed(assembly.file.name, known),
        _air(assembly, now),
    ]
    return [replace(g, override=known.overrides.get(g.name, "")) for g in found if g is not None]


def refusals(found: Sequence[Gate], subject: Subject) -> list[Gate]:
    """Gates in the way of one thing, those overridden left out."""
    return [g for g in found if subject in g.subjects and not g.open]


def _references(leans: LeansMap, proved: Mapping[str, Proof]) -> list[Proof]:
    """References found in the circuit; where it has none of its own, the rails others lean on."""
    found = [p for p in proved.values() if p.kind == "reference"]
    if found:
        return found
    rails = {k for k, kind in leans.kinds.items() if kind == "rail"}
    under = {e.on for e in leans.edges if e.of in rails and e.on != e.of}
    return [p for p in proved.values() if p.label in rails & under]


def _proved(
    name: str,
    subjects: tuple[Subject, ...],
    asked: Sequence[Proof],
) -> Gate | None:
    if not asked:
        return None
    refused = tuple(
        f"not yet: {p.label} is not proved: {'; '.join(p.missing)}" for p in asked if not p.proved
    )
    labels = ", ".join(p.label for p in asked)
    words = {
        "references": f"readings of {labels} near what the circuit gives",
        "raw rails": f"readings of {labels} at the load the rails are proved at",
        "rails at load": f"readings of {labels} in limits at one load, with all they lean on",
    }
    return Gate(name, subjects, refused, words[name])


def _trip(assembly: Assembly, known: Known) -> Gate | None:
    refused = []
    for label, rail in assembly.rails.items():
        if rail.over_voltage is None:
            continue
        low, high = rail.over_voltage.low, rail.over_voltage.high
        measured = known.trips.get(label)
        if measured is None:
            refused.append(f"{label}: no over-voltage trip measured; {volts(low)} to {volts(high)}")
        elif not low <= abs(measured) <= high:
            refused.append(
                f"{label}: trips at {volts(measured)}, and must between {volts(low)} and "
                f"{volts(high)}"
            )
        elif known.doubted.get(label):
            refused.append(f"{label}: {'; '.join(known.doubted[label])}")
    asked = [k for k, r in assembly.rails.items() if r.over_voltage is not None]
    if not asked:
        return None
    proof = (
        f"the trip of {', '.join(asked)} by injection, raw off, boards out, three times alike: "
        f"`halfsplit protect {assembly.file.name} {asked[0]} --trip 6.2V --trip 6.2V --trip 6.2V`"
    )
    return Gate("over-voltage trip", ("boards",), tuple(refused), proof)


def _temporary(now: Condition) -> Gate:
    refused = tuple(str(c) for c in now.changes if c.temporary)
    return Gate(
        "no open bypass or lift",
        ("boards",),
        refused,
        "each put back or a part fitted in its place",
    )


def _fuses(assembly: Assembly, now: Condition, known: Known) -> Gate | None:
    refused = []
    fuses = {k: p for k, p in assembly.parts.items() if isinstance(p, Fuse)}
    if not fuses:
        return None
    done = {c.part: c for c in now.changes}
    for ref, drawn in fuses.items():
        change = done.get(ref)
        if change is not None and change.what in ("bypassed", "removed", "lifted"):
            if change.what == "bypassed":
                refused.append(f"{ref} is bypassed")
            continue
        if change is not None and change.what == "fitted":
            fitted = refit(drawn, change)
            assert isinstance(fitted, Fuse)
            refused += [f"{ref}: {w}" for w in fuse_equivalent(drawn, fitted)]
        elif ref in known.otherwise:
            marked = ", ".join(f"{k} {v}" for k, v in known.otherwise[ref])
            amps = show(drawn.amps, "A", 2)
            refused.append(f"{ref} reads {marked}, drawing says {amps} {drawn.speed}")
        elif ref not in known.as_drawn:
            refused.append(f"{ref} not looked at: {show(drawn.amps, 'A', 2)} {drawn.speed} drawn")
    return Gate(
        "fuses to drawing",
        ("power", "boards"),
        tuple(refused),
        f"each fuse read and entered: `halfsplit observe {assembly.file.name} --part "
        f"{next(iter(fuses))} --sign as-drawn`, or one fitted as drawn",
    )


def _disturbed(file: str, known: Known) -> Gate | None:
    moved = sorted(known.disturbed)
    near = sorted(set(known.beside) - known.disturbed)
    if not moved and not near:
        return None
    refused = [f"{ref} was disturbed and not tested since" for ref in moved]
    refused += [
        f"{ref} sits beside {known.beside[ref]}, which was worked on, and was not looked at since"
        for ref in near
    ]
    tell = f"`halfsplit observe {file} --part"
    proofs = [f"each tested: {tell} {moved[0]} --good`"] if moved else []
    if near:
        proofs.append(f"each looked at, leads and all: {tell} {near[0]} --sign as-drawn`")
    return Gate("disturbed parts", ("power", "boards"), tuple(refused), "; ".join(proofs))


def _air(assembly: Assembly, now: Condition) -> Gate | None:
    air = assembly.air
    if air is None:
        return None
    refused = []
    if not air.low <= now.ambient <= air.high:
        refused.append(
            f"air is {now.ambient:g} °C, the machine may run from {air.low:g} to {air.high:g} °C"
        )
    return Gate(
        "air temperature",
        ("power", "boards"),
        tuple(refused),
        f"air between {air.low:g} and {air.high:g} °C: "
        f"`halfsplit change {assembly.file.name} --ambient {(air.low + air.high) / 2:.0f}degC`",
    )
