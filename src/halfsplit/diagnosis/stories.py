"""What readings told of tolerances, kept in a few stories of which of them were slips.

Under each hypothesis the deviations of readings of one machine are one Gaussian vector of
covariance S S' + C + D: slopes S in sigmas of what they share, own errors D of the meter, and C
what no slope tells of a place (a bend, a device model's error): the same in a reading taken again,
most of it under another load. A reading far out may be a slip, or true of a specimen with odd
tolerances; which of the two it was shows only when others agree with it or do not. One bell cannot
hold both, so each hypothesis keeps a few, each with its share. So it is with a specimen that strays
from what slopes tell, as one whose limit sets in early does: in a condition where some do there are
stories in which this one does, and all its readings there have that in common.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from halfsplit.faults.sampling import STAND_INS

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Rows = slice | npt.NDArray[np.int64]
EVERY = slice(None)

# Stories kept of each hypothesis, and the share below which none of them is worth the work.
MOST, FAINT = 4, 1e-6
# Share of what no slope tells of two nets that a reading in another condition has in common with
# the first: the specimen is the same, its bend a little elsewhere. Common practice, no published
# source.
ELSEWHERE = 0.7
FAR = 5.0  # sigmas beyond which a reading's miss is learnt as if it were no farther


@dataclass(frozen=True)
class Place:
    """Where a reading was taken: what of, with what changed in the machine, in what condition.

    `new` are the uncertainties (K) of parts fitted since it came: those of other specimens.
    """

    leads: Hashable
    changed: Hashable
    condition: Hashable
    new: frozenset[int] = frozenset()

    def shares(self, other: Place) -> float:
        """How much of what no slope tells is the same in both."""
        if (self.leads, self.changed) != (other.leads, other.changed):
            return 0.0
        return 1.0 if self.condition == other.condition else ELSEWHERE


@dataclass(frozen=True)
class Given:
    """What S stories tell of one reading under h hypotheses.

    Attributes
    ----------
    share: of each story, summing to 1 (S, h).
    learnt: shift of the reading (S, h).
    var: variance the tolerances leave (S, h).
    weights: of each of R earlier readings in that shift (S, h, R).
    """

    share: Floats
    learnt: Floats
    var: Floats
    weights: Floats

    def joint(self, mean: Floats, rest: Floats) -> tuple[Floats, Floats]:
        """Mean and sigma of a reading over all stories (h), of those of each (S, h) without what
        was learnt and with variance `rest` (h) besides."""
        at = mean + self.learnt
        if len(at) == 1:
            return at[0], np.sqrt(self.var[0] + rest)
        middle = (self.share * at).sum(axis=0)
        wide = (self.share * (self.var + rest + (at - middle) ** 2)).sum(axis=0)
        return middle, np.sqrt(wide)


class Stories:
    """Up to `MOST` stories of each of H hypotheses after R readings."""

    def __init__(self, count: int) -> None:
        self.slopes: list[Floats] = []  # R of (H, K)
        self.reaches: list[Floats] = []  # R of (H, J): of a specimen that strays
        self.bends: list[Floats] = []  # R of (H): one sigma of what slopes do not tell
        self.places: list[Place] = []
        self.share = np.ones((1, count))
        self.found = np.zeros((1, count, 0))  # deviation of each reading (S, H, R)
        self.inverse = np.zeros((1, count, 0, 0))  # of their covariance; nought for a slip
        # Whether the specimen strays in each of C conditions (S, H, C).
        self.strays = np.zeros((1, count, 0))
        self.conditions: list[Hashable] = []

    def fork(self, condition: Hashable, odd: Floats) -> None:
        """In a condition met for the first time: each story into one whose specimen does not stray
        there and one whose does; `odd` is how many do (H)."""
        if condition in self.conditions or not odd.any():
            return
        self.conditions.append(condition)
        none = np.zeros((*self.share.shape, 1))
        self.strays = np.concatenate(
            [
                np.concatenate([self.strays, none], axis=2),
                np.concatenate([self.strays, none + 1.0], axis=2),
            ]
        )
        self.share = np.concatenate([self.share * (1.0 - odd), self.share * odd])
        self.found = np.concatenate([self.found, self.found])
        self.inverse = np.concatenate([self.inverse, self.inverse])

    def _straying(self, condition: Hashable) -> Floats:
        """Whether each story has the specimen stray in a condition (S, H)."""
        if condition not in self.conditions:
            return np.zeros_like(self.share)
        return np.asarray(self.strays[..., self.conditions.index(condition)])

    def given(
        self,
        slope: Floats,
        bend: Floats,
        place: Place,
        reach: Floats | None = None,
        only: Rows = EVERY,
    ) -> Given:
        """What is known beforehand of a reading of these slopes (h, K), and so much besides that
        belongs to its place, at one sigma (h); of a specimen that strays `reach` more (h, J)."""
        share, own = self.share[:, only], np.einsum("hk,hk->h", slope, slope) + bend**2
        strays = None
        if reach is not None and place.condition in self.conditions:
            strays = self._straying(place.condition)[:, only]
            own = own + strays * np.einsum("hj,hj->h", reach, reach)
        if not self.slopes:
            none = np.zeros_like(share)
            return Given(share, none, none + own, np.zeros((*share.shape, 0)))
        shared = np.zeros((len(slope), len(self.slopes)))
        for r, earlier in enumerate(self.places):
            same, other = slope, place.new ^ earlier.new
            if other:  # a part fitted in between: what the old one was tells nothing of the new
                same = slope.copy()
                same[:, list(other)] = 0.0
            shared[:, r] = np.einsum("hk,hk->h", same, self.slopes[r][only])
            shared[:, r] += place.shares(earlier) * bend * self.bends[r][only]
        every = shared[None]
        if strays is not None and reach is not None and strays.any():
            every = np.repeat(every, len(share), axis=0)
            for r, earlier in enumerate(self.places):
                if earlier.condition == place.condition:
                    also = np.einsum("hj,hj->h", reach, self.reaches[r][only])
                    every[..., r] += strays * also
        weights = np.matmul(self.inverse[:, only], every[..., None])[..., 0]
        learnt = (weights * self.found[:, only]).sum(axis=2)
        left = own - (weights * every).sum(axis=2)
        return Given(share, learnt, np.maximum(left, 0.0), weights)

    def learn(
        self,
        leaning: tuple[Floats, Floats, Place, Floats | None],
        given: Given,
        miss: Floats,
        rest: Floats,
        chance: tuple[Floats, Floats],
        teaches: Bools,
    ) -> None:
        """Grow by one reading, each story into one where it is true and one where it is a slip.

        `leaning` is what `given` was asked with, `miss` how far the reading lies from each story's
        prediction, `rest` the variance it has besides (S, H), `chance` its chance if true and if a
        slip, SLIP counted (S, H); `teaches` marks hypotheses (H) under which a true reading tells
        of values at all.
        """
        count, size = self.found.shape[1:]
        true, slip = (given.share * c for c in chance)
        slip = np.where(teaches, slip, true + slip)
        both = np.concatenate([np.where(teaches, true, 0.0), slip])
        both /= np.maximum(both.sum(axis=0), 1e-300)
        kept = np.argsort(-both, axis=0, kind="stable")[:MOST]
        rows = np.arange(count)
        share = both[kept, rows]
        worth = max(1, int((share.max(axis=1, initial=0.0) > FAINT).sum()))
        kept, share = kept[:worth], share[:worth]
        self.share = share / np.maximum(share.sum(axis=0), 1e-300)
        parent, right = kept % len(true), kept < len(true)
        sigma = np.sqrt(given.var + rest)
        total = (given.var + rest)[parent, rows]
        weights = given.weights[parent, rows]
        scaled = np.where(right, 1.0 / total, 0.0)[..., None] * weights
        grown = np.empty((worth, count, size + 1, size + 1))
        grown[..., :size, :size] = self.inverse[parent, rows]
        grown[..., :size, :size] += weights[..., :, None] * scaled[..., None, :]
        grown[..., :size, size] = grown[..., size, :size] = -scaled
        grown[..., size, size] = np.where(right, 1.0 / total, 0.0)
        at = (given.learnt + np.clip(miss, -FAR * sigma, FAR * sigma))[parent, rows]
        self.inverse = grown
        self.found = np.concatenate([self.found[parent, rows], at[..., None]], axis=2)
        self.strays = self.strays[parent, rows]
        slope, bend, place, reach = leaning
        self.slopes.append(slope)
        none = np.zeros((count, STAND_INS))
        self.reaches.append(none if reach is None else reach)
        self.bends.append(bend)
        self.places.append(place)

    @property
    def nbytes(self) -> int:
        """Memory they take."""
        lists = (self.slopes, self.reaches, self.bends)
        whole = (self.share, self.found, self.inverse, self.strays)
        return sum(a.nbytes for a in (*whole, *(a for some in lists for a in some)))

    def part(self, at: npt.NDArray[np.int64]) -> Stories:
        """Stories of some of the hypotheses."""
        made = Stories(len(at))
        made.slopes, made.bends = [s[at] for s in self.slopes], [b[at] for b in self.bends]
        made.places = list(self.places)
        made.share, made.found = self.share[:, at], self.found[:, at]
        made.inverse, made.strays = self.inverse[:, at], self.strays[:, at]
        made.reaches, made.conditions = [r[at] for r in self.reaches], list(self.conditions)
        return made

    def joined(self, other: Stories) -> Stories:
        """Stories of these hypotheses and then of `other`, of the same readings."""
        made = Stories(0)
        made.conditions = list(dict.fromkeys([*self.conditions, *other.conditions]))
        most = max(len(self.share), len(other.share))
        for name in ("share", "found", "inverse"):
            both = [_filled(getattr(one, name), most) for one in (self, other)]
            setattr(made, name, np.concatenate(both, axis=1))
        both = [_filled(one._flags(made.conditions), most) for one in (self, other)]
        made.strays = np.concatenate(both, axis=1)
        made.reaches = [np.concatenate(r) for r in zip(self.reaches, other.reaches, strict=True)]
        made.slopes = [np.concatenate(s) for s in zip(self.slopes, other.slopes, strict=True)]
        made.bends = [np.concatenate(b) for b in zip(self.bends, other.bends, strict=True)]
        made.places = list(self.places)
        return made

    def _flags(self, conditions: Sequence[Hashable]) -> Floats:
        """Whether each story strays in each of these conditions (S, H, C)."""
        none = np.zeros((*self.share.shape, 0))
        flags = [self._straying(c)[..., None] for c in conditions]
        return np.concatenate([none, *flags], axis=2)


def _filled(values: Floats, most: int) -> Floats:
    """With stories of no share up to so many."""
    lacking = np.zeros((most - len(values), *values.shape[1:]))
    return np.concatenate([values, lacking]) if len(lacking) else values
