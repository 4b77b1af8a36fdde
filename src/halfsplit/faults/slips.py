"""Slips of whoever types a drawing: every one edit that may put a file right, with its odds.

The odds are ours, common practice, no published source: of slips at the keyboard a third are in a
value, a quarter in a net, a fifth in the order of leads, and one in seven leaves a part out.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from halfsplit.assembly.model import Assembly
from halfsplit.circuit import elements as el
from halfsplit.faults.slip_values import FIELDS, alternatives, worded
from halfsplit.parts.base import RESERVED, Part

SHARES = {"value": 0.34, "net": 0.25, "leads": 0.20, "left out": 0.15, "polarity": 0.03}
CLAIM = 0.03  # that what disagrees is itself mistyped: a printed voltage, a limit
# Of wrong nets: one spelled nearly alike, one of a line next to it, any other.
NEAR_NAME, NEAR_LINE, ANY_NET = 0.35, 0.35, 0.30
# Kinds of two leads that may be turned end for end without any difference.
SYMMETRIC = frozenset(
    {
        "resistor",
        "fuse",
        "switch",
        "wire",
        "trace",
        "inductor",
        "lamp",
        "fan",
        "load",
        "connector",
        "ceramic-capacitor",
        "film-capacitor",
        "paper-capacitor",
    }
)
# Terminals of other kinds that may change places without any difference.
ALIKE = {
    "relay": (("c1", "c2"), ("a", "b")),
    "bridge": (("ac1", "ac2"), ("pos", "neg")),
    "mains": (("live", "neutral"),),
    "tube-rectifier": (("a1", "a2"), ("h1", "h2")),
    "triode": (("h1", "h2"),),
    "pentode": (("h1", "h2"),),
    "transformer": (),
}
ALIKE["bridge"] = ALIKE["bridge"][:1]
HEATED = ("triode", "pentode", "tube-rectifier")
COMES_FIRST = 0.01  # share of a value's odds from which another comes to mind first
COPIES = 24  # most orders of the leads of one part that are looked at


@dataclass(frozen=True)
class Edit:
    """One change of the file's text: `text` at `path`; or a part put in (`path` its reference and
    `after` the part before it), or a reference changed (`text` the new one)."""

    what: str  # "set", "insert", "rename"
    path: str
    text: str
    after: str = ""


@dataclass(frozen=True)
class Slip:
    """One way the file may differ from the drawing.

    Attributes
    ----------
    sort: "value", "net", "leads", "left out", "polarity", "reference" or "claim".
    place: what it is about, such as "R6 value": slips of one place are rivals for one explanation.
    was, now: what stands in the file, and what it should be.
    prior: odds against the file being right, before anything is solved.
    part: the part as it should be; None where no part changes.
    terminals: nets it leaves and nets it goes to, by terminal.
    elements: what stands in the circuit then, by element name.
    """

    sort: str
    place: str
    was: str
    now: str
    edits: tuple[Edit, ...]
    prior: float
    ref: str = ""
    part: Part | None = None
    elements: Mapping[str, el.Element] = field(default_factory=dict)
    words: str = ""

    @property
    def now_ref(self) -> str:
        """The reference there is once it is undone."""
        return self.now if self.sort == "reference" else self.ref


def terminal_field(terminal: str) -> str:
    """Name of the field of a terminal."""
    return f"{terminal}_" if terminal in RESERVED else terminal


def wired(part: Part, nets: Mapping[str, str]) -> Part:
    """The part with some terminals on other nets."""
    if part.KIND == "transformer":
        windings = dict(part.__dict__["windings"])
        for terminal, net in nets.items():
            name, _, end = terminal.rpartition(".")
            windings[name] = windings[name].model_copy(update={end: net})
        return part.model_copy(update={"windings": windings})
    return part.model_copy(update={terminal_field(t): n for t, n in nets.items()})


def elements_of(part: Part, common: str) -> dict[str, el.Element]:
    """Its circuit elements by name, earthed ends on the common net."""
    found = {}
    for e in part.elements():
        nets = tuple(common if n == el.COMMON else n for n in e.nets)
        found[e.name] = type(e)(e.name, nets, e.values)
    return found


def terminals_of(part: Part) -> dict[str, str]:
    """Terminals that are on a net."""
    return {t: n for t, n in part.terminals().items() if n}


def movable(part: Part) -> list[str]:
    """Terminals whose net makes a difference to the circuit: heaters are fed and not watched."""
    heaters = {"h1", "h2"} if part.KIND in HEATED else set()
    return [t for t in terminals_of(part) if t not in heaters]


def value_slips(assembly: Assembly, likely: bool) -> Iterator[Slip]:
    """Values mistyped: a decade off, a digit misread, that of a neighbour, or any other.

    With `likely` those that come to mind first, else all others.
    """
    sites = [
        (r, p, f)
        for r, p in assembly.parts.items()
        for f in FIELDS.get(p.KIND, ())
        if p.__dict__.get(f.key) is not None
    ]
    share = SHARES["value"] / max(sum(f.share for _, _, f in sites), 1.0)
    order = {ref: i for i, ref in enumerate(assembly.parts)}
    for ref, part, name in sites:
        beside = [
            (abs(order[r] - order[ref]), float(p.__dict__[name.key]))
            for r, p in assembly.parts.items()
            if r != ref and p.KIND == part.KIND and p.__dict__.get(name.key) is not None
        ]
        value = part.__dict__.get(name.key)
        if value is None:
            continue
        near = [v for _, v in sorted(beside, key=lambda b: b[0])]
        tight = part.__dict__.get("tolerance")
        for other, weight, how in alternatives(float(value), name, near, tight):
            few = part.KIND != "resistor" and name.unit != "F"  # all at once: zeners and the like
            if (few or weight > COMES_FIRST) != likely:
                continue
            changed = part.model_copy(update={name.key: other})
            now = worded(other, name)
            yield Slip(
                "value",
                f"{ref} {name.key}",
                worded(float(value), name),
                now,
                (Edit("set", f"parts.{ref}.{name.key}", now.replace("µ", "u")),),
                share * weight * name.share,
                ref,
                changed,
                elements_of(changed, assembly.common),
                how,
            )


def lead_slips(assembly: Assembly) -> Iterator[Slip]:
    """Leads in another order: a diode turned, emitter and collector exchanged."""
    parts = [p for p in assembly.parts.values() if p.KIND not in SYMMETRIC]
    share = SHARES["leads"] / max(len(parts), 1)
    for part in parts:
        there = terminals_of(part)
        names = movable(part)
        orders = []
        for chosen in itertools.islice(itertools.permutations(names), COPIES):
            moved = {
                t: there[c] for t, c in zip(names, chosen, strict=True) if there[c] != there[t]
            }
            if moved and len(moved) <= 3:
                orders.append(moved)
        kept: dict[tuple[tuple[str, str], ...], dict[str, str]] = {}
        for moved in orders:
            key = _same(part, {**there, **moved})
            if key != _same(part, there):
                kept.setdefault(key, moved)
        # Two leads exchanged is what a hand does; all three going round is rare.
        weights = [1.0 if len(m) == 2 else 0.15 for m in kept.values()]
        for moved, weight in zip(kept.values(), weights, strict=True):
            yield _rewired(assembly, part, moved, "leads", share * weight / sum(weights))


def _same(part: Part, nets: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Nets by terminal, with those of terminals that are alike in order."""
    found = dict(nets)
    for pair in ALIKE.get(part.KIND, ()):
        if all(t in found for t in pair):
            found.update(zip(pair, sorted(found[t] for t in pair), strict=True))
    return tuple(sorted(found.items()))


def _rewired(
    assembly: Assembly,
    part: Part,
    moved: Mapping[str, str],
    sort: str,
    prior: float,
) -> Slip:
    there = terminals_of(part)
    changed = wired(part, moved)
    section = f"parts.{part.ref}.windings" if part.KIND == "transformer" else f"parts.{part.ref}"
    edits = tuple(Edit("set", f"{section}.{t}", n) for t, n in moved.items())
    ends = "+".join(f"{t} {n}" for t, n in sorted(moved.items()))
    return Slip(
        sort,
        f"{part.ref} {ends}",
        ", ".join(f"{t} {there[t]}" for t in moved),
        ", ".join(f"{t} {n}" for t, n in moved.items()),
        edits,
        prior,
        part.ref,
        changed,
        elements_of(changed, assembly.common),
    )


def net_slips(assembly: Assembly, nets: Iterable[str], likely: bool) -> Iterator[Slip]:
    """One end of a part on a wrong net; `nets` are where it may belong.

    With `likely` only nets spelled nearly alike or of lines next to it, else all others.
    """
    places = [(p, t) for p in assembly.parts.values() for t in movable(p)]
    share = SHARES["net"] / max(len(places), 1)
    listed = list(nets)
    refs = list(assembly.parts)
    for part, terminal in places:
        there = terminals_of(part)
        at = refs.index(part.ref)
        around = Counter(
            n
            for r in refs[max(at - 2, 0) : at + 3]
            if r != part.ref
            for n in terminals_of(assembly.parts[r]).values()
        )
        others = [n for n in listed if n != there[terminal]]
        weights = {n: ANY_NET / len(others) for n in others}
        alike = [n for n in others if near_alike(n, there[terminal])]
        beside = [n for n in others if n in around]
        for n in alike:
            weights[n] += NEAR_NAME / len(alike)
        for n in beside:
            weights[n] += NEAR_LINE * around[n] / sum(around[m] for m in beside)
        for net in others:
            if net in [n for t, n in there.items() if t != terminal] and len(there) == 2:
                continue  # both ends on one net is no circuit
            if (net in alike or net in beside) != likely:
                continue
            yield _rewired(assembly, part, {terminal: net}, "net", share * weights[net])


def near_alike(one: str, other: str) -> bool:
    """Whether one slip of a finger makes one name of the other."""
    a, b = sorted((one.lower(), other.lower()), key=len)
    if len(b) - len(a) > 1 or a == b:
        return a == b
    if len(a) == len(b):
        off = [i for i in range(len(a)) if a[i] != b[i]]
        swapped = len(off) == 2 and off[1] == off[0] + 1
        turned = swapped and a[off[0]] == b[off[1]] and a[off[1]] == b[off[0]]
        return len(off) == 1 or turned
    return any(a == b[:i] + b[i + 1 :] for i in range(len(b)))


def polarity_slips(assembly: Assembly) -> Iterator[Slip]:
    """NPN typed for PNP and the other way."""
    parts = [p for p in assembly.parts.values() if p.KIND in ("npn", "pnp") and not p.type]
    share = SHARES["polarity"] / max(len(parts), 1)
    from halfsplit.parts.base import REGISTRY

    for part in parts:
        other = "pnp" if part.KIND == "npn" else "npn"
        kind = REGISTRY.kinds[other]
        changed: Any = kind.model_construct(**{**part.__dict__, "kind": other})
        yield Slip(
            "polarity",
            f"{part.ref} kind",
            part.KIND,
            other,
            (Edit("set", f"parts.{part.ref}.kind", other),),
            share,
            part.ref,
            changed,
            elements_of(changed, assembly.common),
        )


def claim_slips(assembly: Assembly) -> Iterator[Slip]:
    """A printed voltage or a limit that is itself mistyped: it is then left out of account."""
    places = [
        (f"printed.{name}.volts.{net}", f"{name} {net}", reading.text)
        for name, entry in assembly.printed.items()
        for net, reading in entry.volts.items()
    ]
    places += [
        (f"printed.{name}.ohms.{net}", f"{name} {net}", f"{ohms:g} ohm")
        for name, entry in assembly.printed.items()
        for net, ohms in entry.ohms.items()
    ]
    places += [
        (f"printed.{name}.ripple.{net}", f"{name} {net}", f"ripple of {swing:g}V")
        for name, entry in assembly.printed.items()
        for net, swing in entry.ripple.items()
    ]
    places += [
        (f"rails.{name}.limits", f"{name} limits", f"{r.limits.low:g}..{r.limits.high:g}V")
        for name, r in assembly.rails.items()
    ]
    for path, place, was in places:
        yield Slip("claim", place, was, "", (), CLAIM / len(places), path, words=path)


def first_slips(assembly: Assembly, nets: Sequence[str]) -> list[Slip]:
    """The edits of what stands in the file that come to mind first; parts left out are in
    :mod:`faults.left_out`."""
    return [
        *value_slips(assembly, True),
        *lead_slips(assembly),
        *net_slips(assembly, nets, True),
        *polarity_slips(assembly),
        *claim_slips(assembly),
    ]


def further_slips(assembly: Assembly, nets: Sequence[str]) -> list[Slip]:
    """The long list of all others: any value, any net."""
    return [*value_slips(assembly, False), *net_slips(assembly, nets, False)]
