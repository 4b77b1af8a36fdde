"""What may be wrong: faults, each with its odds and why, and hypotheses, which are sets of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, Protocol

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.model import Assembly
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import Part

NONE = "no fault"
UNMODELLED = "something not in this model"

# A machine is on the bench because something is wrong; these two keep the door open.
# Common practice, no published source.
PRIOR_NONE = 0.03
PRIOR_UNMODELLED = 0.03

# Multiplies the handbook's rate of a new part for one about fifty years old. Wet and tantalum
# capacitors lead, as every restorer finds. Common practice, no published source.
AGEING = {
    "electrolytic": 10.0,
    "tantalum": 30.0,
    "potentiometer": 3.0,
    "switch": 5.0,
    "connector": 5.0,
    "paper-capacitor": 30.0,
    "selenium": 10.0,
    # A handbook's valve burns all its hours, one of these stood dark for decades.
    **dict.fromkeys(("triode", "pentode", "tube-rectifier", "gas-tube"), 0.05),
    "lamp": 0.05,  # the handbook counts hours lit; these stood dark for decades
}
# Suspicion of a part an earlier repairer touched. Common practice, no published source.
TOUCHED = 5.0
# Chance that a part an earlier repairer touched is a wrong one or wrongly fitted; that any fuse is
# not what the drawing says; and that any other part is wrong though nothing tells of a repair.
# Common practice, no published source.
WRONG_TOUCHED, WRONG_FUSE, WRONG_OTHER = 0.10, 0.01, 0.0005
# Chance that a part fitted on this bench is dead, and that it is the wrong one.
FRESH_DEAD, FRESH_WRONG = 0.01, 0.01

# How far the size of a fault is known: a "short" may be an ohm or a tenth, a drifted resistor half
# as far off again, a part of a wrong value is off by its own tolerance, a trimmer at its end by
# that of its track. One sigma, as a factor. Common practice, no published source.
SIZE, SIZE_WRONG, SIZE_TURNED = 1.5, 1.05, 1.1
# Sizes tried one by one where a fault of the usual size does not fit, and the share of its odds
# each gets, alike for all as nobody has counted how far sizes stray; what is left is the usual
# size's, and of a set with other sizes of several faults at least LEAST_USUAL. Common practice, no
# published source.
SCALES, OFF_SIZE, LEAST_USUAL = (0.3, 0.5, 0.7, 0.85, 1.2, 1.45, 2.0, 3.3), 0.09, 0.28
# What leaks may leak anything over three decades, and what is shorted be so by anything up to the
# ohms named: sizes beyond those above, resistances both. Common practice, no published source.
FURTHER, SHORT_UP_TO = (4.7, 10.0, 22.0, 47.0, 100.0, 220.0, 470.0, 1000.0), 30.0
SIZES = 3  # faults of a set whose sizes are followed
# Parameters that have a size, and the conductance [S] below which "open" is open whatever its size.
SIZED, OPEN_SIZED = frozenset({"g", "gce", "gbe", "gcb", "gak", "c", "esr", "isf", "l"}), 1e-8

Cause = Literal["worn", "wrong", "fresh"]


@dataclass(frozen=True)
class Fault:
    """One part in one wrong state.

    Attributes
    ----------
    odds: chance of this state over that of the part being good, before any reading.
    cause: "worn" failed, "wrong" not the part or fitting of the drawing, "fresh" wrong with the one
        fitted on this bench, and so only from then on.
    look: what the part shows out of circuit if this is true.
    why: how the odds came about, in words.
    scale: size against the usual one, where the readings tell of another.
    """

    part: str
    mode: str
    odds: float
    changes: Mapping[tuple[str, str], float]
    look: str = ""
    why: str = ""
    cause: Cause = "worn"
    scale: float = 1.0

    def at(self, scale: float) -> Fault:
        """The same fault of another size: its conductances divided by `scale`."""
        changes = dict(self.changes)
        for key, value in self.changes.items():
            if key in self.resized:
                changes[key] = value / scale if key[1] != "esr" else value * scale
        share = OFF_SIZE * len(SCALES) / len(self.scales)
        return replace(self, changes=changes, scale=scale, odds=self.odds * share)

    @cached_property
    def scales(self) -> tuple[float, ...]:
        """Sizes it may be of besides the usual one, against that; none where it has no size."""
        if self.cause != "worn" or not self.resized:
            return ()
        if "leak" in self.mode:
            return (*SCALES, *FURTHER)
        ohms = [1.0 / value for key, value in self.resized.items() if key[1].startswith("g")]
        if "short" in self.mode and ohms:
            return (*SCALES, *(s for s in FURTHER if s * max(ohms) <= SHORT_UP_TO))
        return SCALES

    @cached_property
    def key(self) -> str:
        """Its name, and its size where that is not the usual one."""
        return self.name if self.scale == 1.0 else f"{self.name} @{self.scale:g}"

    @cached_property
    def name(self) -> str:
        """Such as "C4 short"."""
        return f"{'new ' if self.cause == 'fresh' else ''}{self.part} {self.mode}"

    @property
    def size_known(self) -> float:
        """How well its size is known: one sigma, as a factor."""
        if self.mode.startswith("turned"):
            return SIZE_TURNED
        exact = self.cause != "worn" and "backwards" not in self.mode
        return SIZE_WRONG if exact else SIZE

    @cached_property
    def resized(self) -> Overrides:
        """Its changes with a size one sigma smaller; empty where it has none."""
        factor = self.size_known
        if factor == SIZE and self.scale != 1.0 and self.scale not in FURTHER:
            factor = SIZE**0.5  # those further out lie further apart
        return {
            (element, name): value / factor if name != "esr" else value * factor
            for (element, name), value in self.changes.items()
            if name in SIZED and value > OPEN_SIZED
        }

    def present(self, condition: Condition) -> bool:
        """Whether it is in the machine: not once its part was fitted anew, or for `fresh` until;
        nor a trimmer turned wrong once it was set."""
        ends = condition.renewed if self.mode.startswith("turned") else condition.fitted
        return (self.part in ends) == (self.cause == "fresh")


@dataclass(frozen=True)
class Hypothesis:
    """One explanation of how the machine stands: a set of faults, or none.

    Attributes
    ----------
    faults: in order of part; empty for the two that blame no part.
    prior: weight before any reading; those of single faults and the two without sum to 1.
    said: name of a hypothesis without faults.
    boost: by how much one of its faults makes another likelier, already in `prior`.
    """

    faults: tuple[Fault, ...]
    prior: float
    said: str = ""
    boost: float = 1.0

    @cached_property
    def name(self) -> str:
        """Such as "C4 short + R3 open"."""
        return self.said or " + ".join(f.name for f in self.faults)

    @cached_property
    def key(self) -> frozenset[str]:
        """Names of its faults, with their sizes where these are told."""
        return frozenset(f.key for f in self.faults)

    @cached_property
    def _waits(self) -> bool:
        """Whether a fault of it comes only with a part fitted."""
        return any(f.cause == "fresh" for f in self.faults)

    @cached_property
    def plain(self) -> frozenset[str]:
        """Names of its faults, whatever their size."""
        return frozenset(f.name for f in self.faults)

    @cached_property
    def sized(self) -> bool:
        """Whether one of its faults is of another size than usual."""
        return any(f.scale != 1.0 for f in self.faults)

    @cached_property
    def parts(self) -> tuple[str, ...]:
        """Parts it blames."""
        return tuple(dict.fromkeys(f.part for f in self.faults))

    @cached_property
    def _blames(self) -> frozenset[str]:
        return frozenset(self.parts)

    def blames(self, part: str, new: bool) -> bool:
        """Whether it blames the part the machine came with, or with `new` the one fitted since."""
        return any(f.part == part and (f.cause == "fresh") == new for f in self.faults)

    def laid(self, condition: Condition) -> Overrides:
        """Parameter values of the faults still in the machine in a condition."""
        return {k: v for f in self.faults if f.present(condition) for k, v in f.changes.items()}

    @property
    def changes(self) -> Overrides:
        """Parameter values that make the faults, those of fresh parts left out."""
        return {k: v for f in self.faults if f.cause != "fresh" for k, v in f.changes.items()}

    @property
    def fresh(self) -> Overrides:
        """Parameter values that are wrong in parts fitted on this bench."""
        return {k: v for f in self.faults if f.cause == "fresh" for k, v in f.changes.items()}

    def sizes_left(self, condition: Condition) -> list[Overrides]:
        """What each fault still in the machine changes at another size."""
        return [f.resized for f in self.faults if f.resized and f.present(condition)][:SIZES]

    @cached_property
    def sizes(self) -> list[Overrides]:
        """What each fault changes at another size, of the first few that have any."""
        return [f.resized for f in self.faults if f.resized][:SIZES]

    @property
    def look(self) -> str:
        """What its parts show out of circuit."""
        return "; ".join(f.look for f in self.faults)

    @property
    def why(self) -> str:
        """How the prior came about."""
        return "; ".join(f.why for f in self.faults) if self.faults else "kept open"

    def left(self, condition: Condition) -> frozenset[str]:
        """Keys of the faults still in the machine in a condition."""
        if not self._waits and self._blames.isdisjoint(condition.changed):
            return self.key
        return frozenset(f.key for f in self.faults if f.present(condition))


def weight(part: Part, touched: bool, factor: float | None = None) -> tuple[float, str]:
    """Relative weight of this part having failed at all, and the words for it.

    `factor` replaces the one for age and kind.
    """
    rate = part.rate()
    age = AGEING.get(part.KIND, 1.0) if factor is None else factor
    words = [f"{rate.per_million_hours:g} per million hours ({rate.source})"]
    if age != 1.0:
        words.append(f"× {age:g} " + ("for its age and kind" if factor is None else "as you set"))
    value = rate.per_million_hours * age
    if touched:
        value *= TOUCHED
        words.append(f"× {TOUCHED:g}: touched before")
    return value, " ".join(words)


class Field(Protocol):
    """What other benches found, laid over the shipped weights."""

    def weigh(self, part: Part) -> tuple[float, str] | None:
        """Factor on a part's weight, and the words for it; None where nothing was counted."""

    def share(self, part: Part, mode: str) -> float:
        """Factor on the share of one of its modes."""


def worn_faults(
    assembly: Assembly,
    touched: Iterable[str] = (),
    factors: Mapping[str, float] | None = None,
    field: Field | None = None,
) -> list[Fault]:
    """Every failure of every part; odds sum to what is left by the hypotheses without a part.

    `factors` maps references or kinds, in small letters, to the factor that replaces the usual one
    for age. `field` is a pool of outcomes; where a factor was set by hand it is left aside.
    """
    marked, chosen = {t.lower() for t in touched}, factors or {}
    found = []
    for part in assembly.parts.values():
        suspicious = part.touched is not None or part.ref.lower() in marked
        factor = chosen.get(part.ref.lower(), chosen.get(part.KIND))
        value, why = weight(part, suspicious, factor)
        told = field.weigh(part) if field is not None and factor is None else None
        if told is not None:
            value, why = value * told[0], f"{why} {told[1]}"
        modes = part.modes()
        shares = [m.share * (field.share(part, m.name) if field and told else 1.0) for m in modes]
        whole = sum(m.share for m in modes) / (sum(shares) or 1.0)
        for mode, share in zip(modes, shares, strict=True):
            found.append(
                Fault(part.ref, mode.name, value * share * whole, mode.changes, mode.look, why)
            )
    scale = (1.0 - PRIOR_NONE - PRIOR_UNMODELLED) / (sum(f.odds for f in found) or 1.0)
    return [replace(f, odds=f.odds * scale) for f in found]


def wrong_faults(
    assembly: Assembly,
    touched: Iterable[str] = (),
    others: bool = False,
) -> list[Fault]:
    """Every wrong part or fitting where somebody was, of fuses, and with `others` everywhere.

    Of a part whose marking was read nothing more is asked: what was found is what is there.
    """
    marked = {t.lower() for t in touched}
    listed = []
    for part in assembly.parts.values():
        if part.ref in assembly.drawn:
            continue
        if part.touched is not None or part.ref.lower() in marked:
            chance, why = WRONG_TOUCHED, f"{WRONG_TOUCHED:.0%} of touched parts are not as drawn"
        elif part.KIND == "fuse":
            chance, why = WRONG_FUSE, f"{WRONG_FUSE:.0%} of old fuses are not as drawn"
        elif others:
            chance, why = WRONG_OTHER, "nothing tells of a repair here"
        else:
            continue
        for mode in part.misfits():
            odds = chance * mode.share
            listed.append(Fault(part.ref, mode.name, odds, mode.changes, mode.look, why, "wrong"))
    return listed


def fresh_faults(assembly: Assembly, fitted: Iterable[str]) -> list[Fault]:
    """What may be wrong with parts fitted on this bench."""
    found = []
    for ref in fitted:
        part = assembly.drawn.get(ref, assembly.parts[ref])
        for chance, why, modes in (
            (FRESH_DEAD, "new parts fail too", part.modes()),
            (FRESH_WRONG, "a hand slips", part.misfits()),
        ):
            for mode in modes:
                odds = chance * mode.share
                found.append(Fault(ref, mode.name, odds, mode.changes, mode.look, why, "fresh"))
    return found


def without_faults() -> list[Hypothesis]:
    """No fault, and something not in the model."""
    return [
        Hypothesis((), PRIOR_NONE, NONE),
        Hypothesis((), PRIOR_UNMODELLED, UNMODELLED),
    ]


def single_faults(assembly: Assembly, touched: Iterable[str] = ()) -> list[Hypothesis]:
    """No fault, something not in the model, then every failure of every part; priors sum to 1."""
    return [*without_faults(), *(together([f]) for f in worn_faults(assembly, touched))]


def sizes_shared(listed: Sequence[Hypothesis]) -> list[float]:
    """Priors of sets (H) of which some are others of the list at another size: a single fault in
    all its sizes has the odds of the fault. Of several faults the sizes are many and the usual
    keeps its least, so together they may have more than the odds of the set."""
    taken: dict[frozenset[str], float] = {}
    for h in listed:
        if h.sized:
            taken[h.plain] = taken.get(h.plain, 0.0) + h.prior
    return [
        max(h.prior - taken.get(h.plain, 0.0), LEAST_USUAL * h.prior) if not h.sized else h.prior
        for h in listed
    ]


def together(faults: Iterable[Fault], boost: float = 1.0) -> Hypothesis:
    """The hypothesis that all of these are present, its prior the product of their odds."""
    ordered = tuple(sorted(faults, key=lambda f: (f.part, f.mode)))
    prior = boost
    for fault in ordered:
        prior *= fault.odds
    return Hypothesis(ordered, prior, boost=boost)
