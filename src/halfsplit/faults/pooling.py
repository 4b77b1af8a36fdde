"""What many benches found, laid over the shipped weights: how often parts of a kind were bad.

The shipped weight of a kind is taken as worth `STRENGTH` failed parts, and what was counted is
added to it (gamma-Poisson; Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6). How a
kind fails is pooled the same way over its modes (Dirichlet-multinomial, ibid. 3.4). Parts of one
age borrow from parts of the same kind at other ages. Counts of one machine are not independent of
one another, a bad batch fails together, so counts weigh less where machines differ by more than
chance.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from halfsplit.faults.hypotheses import AGEING
from halfsplit.faults.quantiles import beta_quantile, gamma_quantile
from halfsplit.parts.base import REGISTRY, Part
from halfsplit.parts.kinds.resistor import RATES, ResistorPart

# Failed parts a shipped weight counts for: with one, the truth is taken to lie within a factor of
# some three either way, as handbooks and guesses at ageing differ. Common practice, no published
# source.
STRENGTH = 1.0
# Failed parts that what is known of a kind at other ages counts for at one age; and those that the
# shipped shares of modes count for. Common practice, no published source.
AGE_STRENGTH, MODE_STRENGTH = 4.0, 2.0
INTERVAL = 0.90
# Classes of age [years]; wide, so that they tell little of one machine. Common practice.
AGES = ((30, "under 30"), (45, "30 to 44"), (60, "45 to 59"), (200, "60 and over"))
UNTOLD = "not told"
NOT_POOLED = frozenset({"supply", "load", "mains", "meter"})  # stand for what is around a machine


def age_class(made: int | None, year: int) -> str:
    """Class of a part made in a year."""
    if made is None or made > year:
        return UNTOLD
    return next((name for most, name in AGES if year - made < most), UNTOLD)


def class_of(part: Part) -> str | None:
    """Kind, with the technology where rates differ by it: "tantalum", "resistor composition"; None
    for what is not pooled."""
    if part.KIND in NOT_POOLED or part.KIND not in REGISTRY.kinds or not part.modes():
        return None
    return f"{part.KIND} {part.tech}" if isinstance(part, ResistorPart) else part.KIND


def mode_of(part: Part, mode: str) -> str:
    """A mode without what the user called a winding."""
    if part.KIND == "transformer" and mode.endswith(" open"):
        return "winding open"
    return mode


@dataclass(frozen=True)
class Row:
    """Counts of one contribution: parts of a class and age that were there, and that were bad.

    modes: how, where that was told; the rest were bad in a way nobody noted.
    """

    of: str
    age: str
    exposed: int
    failed: int
    modes: Mapping[str, int]


@dataclass(frozen=True)
class Pooled:
    """What the pool says of a class of parts.

    Attributes
    ----------
    of, age: the class; age "" for all ages together.
    shipped: bad of those there, as the shipped weight has it, on the pool's own scale.
    exposed, failed: counts.
    worth: by how much the counts were reduced, because machines differ.
    rate, low, high: bad of those there, pooled, and the 90 % interval.
    """

    of: str
    age: str
    shipped: float
    exposed: int
    failed: int
    worth: float
    rate: float
    low: float
    high: float

    @property
    def factor(self) -> float:
        """What the shipped weight is multiplied by."""
        return self.rate / self.shipped

    def as_dict(self) -> dict[str, Any]:
        """For ``--json`` and the journal."""
        return {
            "of": self.of,
            "age": self.age,
            "shipped": self.shipped,
            "exposed": self.exposed,
            "failed": self.failed,
            "worth": self.worth,
            "rate": self.rate,
            "low": self.low,
            "high": self.high,
            "factor": self.factor,
        }


@dataclass(frozen=True)
class Share:
    """How a class of parts fails: shipped share, count, pooled share and its 90 % interval."""

    of: str
    mode: str
    shipped: float
    count: int
    share: float
    low: float
    high: float

    def as_dict(self) -> dict[str, Any]:
        """For ``--json`` and the journal."""
        return {k: getattr(self, k) for k in self.__dataclass_fields__}


def scale_of(expected: Sequence[float], failed: Sequence[float]) -> float:
    """The scale that brings shipped weights nearest to what was counted: largest likelihood when
    each class is off by a gamma factor of its own. So each counts alike once it has failures
    enough, and the one with most parts does not decide.

    expected: parts times shipped weight, class by class; failed: counts.
    """
    if not sum(failed):
        return 0.0
    low, high = 0.0, 1.0
    s = STRENGTH

    def slope(c: float) -> float:
        pairs = zip(expected, failed, strict=True)
        return sum(s * (x - c * e) / (s + c * e) for e, x in pairs if e > 0)

    while slope(high) > 0:
        high *= 2.0
    for _ in range(100):
        middle = (low + high) / 2.0
        low, high = (middle, high) if slope(middle) > 0 else (low, middle)
    return (low + high) / 2.0


def overdispersion(counts: Iterable[tuple[float, int, int]]) -> float:
    """How far machines differ beyond chance: variance of a factor of mean one on the rate of a
    class in a machine, by the method of moments. counts: (rate, exposed, failed) of each."""
    beyond = squares = 0.0
    for rate, exposed, failed in counts:
        mean = rate * exposed
        beyond += (failed - mean) ** 2 - mean
        squares += mean * mean
    return max(beyond / squares, 0.0) if squares else 0.0


class Pool:
    """Counts of many machines over the shipped weights of classes.

    Attributes
    ----------
    classes: what is known of each class at all ages; `aged` by (class, age).
    shares: by class and mode.
    scale: failures of those there for a shipped weight of one.
    spread: how far machines differ, see :func:`overdispersion`.
    """

    def __init__(
        self,
        contributions: Sequence[Sequence[Row]],
        shipped: Mapping[str, float],
        shares: Mapping[str, Mapping[str, float]],
    ) -> None:
        """shipped: weight of each class; shares: of its modes. Classes in neither are left out."""
        rows = [[r for r in c if r.of in shipped] for c in contributions]
        total: dict[str, list[int]] = {}
        by_age: dict[tuple[str, str], list[int]] = {}
        for row in (r for c in rows for r in c):
            for held in (
                total.setdefault(row.of, [0, 0]),
                by_age.setdefault((row.of, row.age), [0, 0]),
            ):
                held[0] += row.exposed
                held[1] += row.failed
        names = sorted(total)
        expected = [total[n][0] * shipped[n] for n in names]
        self.scale = scale_of(expected, [total[n][1] for n in names])
        self.classes: dict[str, Pooled] = {}
        self.aged: dict[tuple[str, str], Pooled] = {}
        self.shares: dict[tuple[str, str], Share] = {}
        self.spread = 0.0
        if not self.scale:
            return
        prior = {n: self.scale * shipped[n] for n in names}
        first = {n: (STRENGTH + total[n][1]) / (STRENGTH / prior[n] + total[n][0]) for n in names}
        apart = [_together(c) for c in rows]
        self.spread = overdispersion((first[n], e, x) for c in apart for n, (e, x) in c.items())
        for n in names:
            squares = sum((first[n] * c[n][0]) ** 2 for c in apart if n in c)
            worth = 1.0 + self.spread * squares / max(first[n] * total[n][0], 1e-12)
            self.classes[n] = _posterior(n, "", prior[n], prior[n], STRENGTH, total[n], worth)
            for (of, age), own in by_age.items():
                if of == n and age != UNTOLD:
                    others = [total[n][0] - own[0], total[n][1] - own[1]]
                    rest = _posterior(n, "", prior[n], prior[n], STRENGTH, others, worth)
                    # Spread of ages about their kind, and how well the kind is known without it.
                    known = STRENGTH + others[1] / worth
                    strength = 1.0 / (1.0 / AGE_STRENGTH + 1.0 / known)
                    self.aged[n, age] = _posterior(
                        n, age, prior[n], rest.rate, strength, own, worth
                    )
            self._modes(n, [r for c in rows for r in c if r.of == n], shares.get(n, {}), worth)

    def _modes(
        self, of: str, rows: Sequence[Row], shipped: Mapping[str, float], worth: float
    ) -> None:
        counted = {m: sum(r.modes.get(m, 0) for r in rows) for m in shipped}
        whole = MODE_STRENGTH + sum(counted.values()) / worth
        for mode, share in shipped.items():
            a = MODE_STRENGTH * share + counted[mode] / worth
            edge = (1.0 - INTERVAL) / 2.0
            low, high = beta_ends(a, whole - a, edge)
            self.shares[of, mode] = Share(of, mode, share, counted[mode], a / whole, low, high)

    def of_part(self, part: Part, year: int) -> Pooled | None:
        """What the pool says of a part: at its age where that was counted, else at any."""
        name = class_of(part)
        if name is None:
            return None
        return self.aged.get((name, age_class(part.made, year))) or self.classes.get(name)


def beta_ends(a: float, b: float, edge: float) -> tuple[float, float]:
    """Both ends of an interval of a share; all of it when there is but one mode."""
    if b <= 1e-9:
        return 1.0, 1.0
    return beta_quantile(a, b, edge), beta_quantile(a, b, 1.0 - edge)


def _together(rows: Sequence[Row]) -> dict[str, tuple[int, int]]:
    """Counts of one machine by class."""
    found: dict[str, tuple[int, int]] = {}
    for r in rows:
        exposed, failed = found.get(r.of, (0, 0))
        found[r.of] = (exposed + r.exposed, failed + r.failed)
    return found


def _posterior(
    of: str,
    age: str,
    shipped: float,
    prior: float,
    strength: float,
    counts: Sequence[int],
    worth: float,
) -> Pooled:
    shape, rate = strength + counts[1] / worth, strength / prior + counts[0] / worth
    edge = (1.0 - INTERVAL) / 2.0
    low, high = gamma_quantile(shape, rate, edge), gamma_quantile(shape, rate, 1.0 - edge)
    return Pooled(of, age, shipped, counts[0], counts[1], worth, shape / rate, low, high)


def shipped_weights() -> dict[str, float]:
    """Weight of every class before any pool: rate of a new part times the factor for age."""
    found: dict[str, float] = {}
    for kind, made in REGISTRY.kinds.items():
        if kind in NOT_POOLED:
            continue
        age = AGEING.get(kind, 1.0)
        if made is ResistorPart:
            found |= {f"{kind} {tech}": rate * age for tech, rate in RATES.items()}
        else:
            found[kind] = made.RATE.per_million_hours * age
    return found


def shipped_shares(parts: Iterable[Part]) -> dict[str, dict[str, float]]:
    """Shares of the modes of every class among these parts, as the first part of it has them."""
    found: dict[str, dict[str, float]] = {}
    for part in parts:
        name = class_of(part)
        if name is None or name in found:
            continue
        shares: dict[str, float] = {}
        for mode in part.modes():
            word = mode_of(part, mode.name)
            shares[word] = shares.get(word, 0.0) + mode.share
        found[name] = shares
    return found
