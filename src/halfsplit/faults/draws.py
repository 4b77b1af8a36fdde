"""Drawn specimens of one row as they are, for readings that no bell describes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from halfsplit.faults.shapes import Scale, is_bell, scale_of

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

SURE = 2.5  # standard errors below which a fitted slope is noise
# Error [V] of a reading taken while joint movements are looked for; about a meter's at 5 V.
ABOUT = 0.02
# A specimen strays that is so many sigmas, and so many volts, off what slopes tell of it; of more
# than one in ten the spread is simply wide. FINE is the least sigma counted [V].
STRAYS, WORTH, MOST_ODD, FINE = 4.5, 0.05, 0.1, 0.003
# Those beyond the farthest of three hundred are there too: a tail is taken so many times as wide as
# those met. Common practice, no published source.
BEYOND = 2.0
LEAST = 0.01  # V a net must move at one sigma for its shape to matter


@dataclass(frozen=True)
class Fit:
    """Values of specimens as mean, slopes a sigma of each of K uncertainties (K), and the rest."""

    mean: float
    slopes: Floats
    loose: float


@dataclass(frozen=True)
class Specimens:
    """S good specimens of a row.

    Attributes
    ----------
    moved: each specimen's reading less the marked one [V] (S, N).
    design: how far each uncertainty is moved in it, in sigmas (S, K); the last are joint movements
        of the nets that no single one explains.
    inverse: of its normal equations (K, K).
    """

    moved: Floats
    design: Floats
    inverse: Floats
    _scales: dict[tuple[int, int, float, float, float], Scale | None] = field(
        default_factory=dict, compare=False, repr=False
    )
    _few: dict[tuple[int, ...], Specimens] = field(default_factory=dict, compare=False, repr=False)

    def columns(self, at: Sequence[int]) -> Specimens:
        """Some of the nets; one past the last is common."""
        key = tuple(at)
        if key not in self._few:
            past = np.array(key) >= self.moved.shape[1]
            moved: Floats = self.moved[:, np.where(past, 0, key)]
            moved[:, past] = 0.0
            self._few[key] = Specimens(moved, self.design, self.inverse)
        return self._few[key]

    def read(self, a: int, b: int, mean: float, loading: float) -> Floats:
        """What each specimen reads between two nets [V] (S), the marked one `mean` [V]."""
        return np.asarray((mean + self.moved[:, a] - self.moved[:, b]) * loading)

    def scale(self, a: int, b: int, mean: float, loading: float, own: float) -> Scale | None:
        """The scale readings between two nets are weighed on; None where they form a bell."""
        key = a, b, round(mean, 5), round(loading, 5), round(own, 5)
        if key not in self._scales:
            read = self.read(a, b, mean, loading)
            plain = float(read.std()) < LEAST or is_bell(read)
            self._scales[key] = None if plain else scale_of(read, own)
        return self._scales[key]

    def fit(self, values: Floats) -> Fit:
        """Slopes of whatever the specimens have (S)."""
        mean = float(values.mean())
        away = values - mean
        slopes = self.inverse @ (self.design.T @ away)
        left = away - self.design @ slopes
        error = float(np.sqrt((left**2).mean())) * np.sqrt(np.diag(self.inverse))
        slopes = np.where(np.abs(slopes) < SURE * error, 0.0, slopes)
        left = away - self.design @ slopes
        return Fit(mean, slopes, float(left.std()))


@dataclass(frozen=True)
class Tail:
    """Specimens that read as slopes do not tell, far beyond how far the others stray.

    Attributes
    ----------
    share: of specimens, nought where none was met.
    reach: what they stray by, at one sigma of each of J joint movements [V] (J, N).
    """

    share: float
    reach: Floats

    def columns(self, at: Sequence[int]) -> Tail:
        """Some of the nets; one past the last is common."""
        past = np.array(at) >= self.reach.shape[1]
        reach: Floats = self.reach[:, np.where(past, 0, at)]
        reach[:, past] = 0.0
        return Tail(self.share, reach)


def straight(z: Floats, moved: Floats, usual: Bools) -> tuple[Floats, Floats, Floats]:
    """Means (N) and slopes (K, N) of those of S specimens that are `usual`, whose uncertainties are
    moved by `z` (S, K), and what they leave of each specimen (S, N)."""
    few = z[usual]
    centre, around = moved[usual].mean(axis=0), few - few.mean(axis=0)
    away = moved[usual] - centre
    # The draws are independent and more than the moves, so the normal equations are tame.
    normal = around.T @ around + 1e-9 * np.eye(z.shape[1])
    slopes = np.linalg.solve(normal, around.T @ away)
    free = max(len(few) - z.shape[1] - 1, 1)
    error = np.sqrt(((away - around @ slopes) ** 2).sum(axis=0) / free / len(few))
    slopes[np.abs(slopes) < SURE * error] = 0.0
    left = moved - centre - (z - few.mean(axis=0)) @ slopes
    return centre, slopes, left - left[usual].mean(axis=0)


def strays(left: Floats, heed: Bools) -> Bools:
    """Where specimens (S, N) stray by far more than most, of what slopes leave [V] (S, N) at nets
    that matter (N); nowhere if so many do that the spread is simply wide."""
    usual = np.quantile(left, (0.16, 0.84), axis=0)
    sigma = np.maximum((usual[1] - usual[0]) / 2.0, FINE)
    far = heed & (np.abs(left) > np.maximum(STRAYS * sigma, WORTH))
    wide = far.any(axis=1).sum() > MOST_ODD * len(left)
    return np.zeros_like(far) if wide else far


def tail_of(left: Floats, far: Bools, joint: int) -> Tail:
    """The tail of what slopes leave of specimens [V] (S, N), given where they stray (S, N).

    A limit that sets in early strays one way and by volts, together at all nets behind it. Of so
    few nothing but that and about how far can be known, so it is taken wider than they show.
    """
    odd = far.any(axis=1)
    count, reach = int(odd.sum()), np.zeros((joint, left.shape[1]))
    if not count:
        return Tail(0.0, reach)
    shown = BEYOND * np.where(far.any(axis=0), left[odd], 0.0)
    moment = shown.T @ shown / count
    for k in range(joint):
        net = int(np.argmax(np.diag(moment)))
        size = float(np.sqrt(max(moment[net, net], 0.0)))
        if size < WORTH:
            break
        reach[k] = moment[net] / size
        moment = moment - np.outer(reach[k], reach[k])
    return Tail(count / len(left), reach)


def specimens(moved: Floats, around: Floats, heed: Bools, joint: int) -> Specimens | None:
    """Specimens (S, N) worth keeping: None where good readings of every net that matters (N) form a
    bell. `around` are their uncertainties about their means (S, K); `joint` movements more are
    looked for."""
    odd = [
        int(i)
        for i in np.flatnonzero(heed)
        if moved[:, i].std() > LEAST and not is_bell(moved[:, i])
    ]
    if not odd:
        return None
    bells = np.stack([scale_of(moved[:, i], ABOUT).sigmas(moved[:, i]) for i in odd], axis=1)
    normal = around.T @ around + 1e-6 * np.eye(around.shape[1])
    left = bells - around @ np.linalg.solve(normal, around.T @ bells)
    left -= left.mean(axis=0)
    found = np.zeros((len(moved), joint))
    for k in range(joint):
        net = int(np.argmax(left.std(axis=0)))
        size = float(left[:, net].std())
        if size < 0.1:  # sigmas of a good machine: nothing to share
            break
        found[:, k] = left[:, net] / size
        left = left - np.outer(found[:, k], found[:, k] @ left / len(left))
    design = np.hstack([around, found])
    return with_inverse(moved, design)


def with_inverse(moved: Floats, design: Floats) -> Specimens:
    """Specimens and what their normal equations need."""
    normal = design.T @ design + 1e-6 * np.eye(design.shape[1])
    # Columns that nothing moves stay out: their inverse would be huge, their slopes nought.
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    idle = np.diag(design.T @ design) < 1e-9
    inverse[idle, :] = inverse[:, idle] = 0.0
    return Specimens(moved, design, inverse)
