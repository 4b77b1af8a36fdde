"""Readings whose good specimens form no bell: the scale they are weighed on, and two states.

Every hypothesis is weighed on the one scale a reading has, that of the machine without a fault; so
what the scale does to a density it does to all of them. Rows drawn themselves are as their
specimens lie on it. Of others the marked reading is laid on it, and slopes as steep as it is over
as far as they reach: a fault that only moves a limit's knee then spreads as good machines there do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from halfsplit.diagnosis.stories import Rows
from halfsplit.faults.draws import Fit, Specimens
from halfsplit.faults.predictions import TWO_STATES, Predictions
from halfsplit.faults.sampling import STAND_INS, Drawn
from halfsplit.faults.shapes import Scale

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class States:
    """A reading that tolerances decide between two: share of the first, both means and sigmas."""

    share: float
    means: tuple[float, float]
    sigmas: tuple[float, float]

    def density(self, value: float) -> float:
        """Of the reading [1/V]: one narrow bell for each state, and nothing between."""
        parts = zip((self.share, 1.0 - self.share), self.means, self.sigmas, strict=True)
        return sum(w * float(_density(value - m, s)) for w, m, s in parts)


def _density(miss: float, sigma: float) -> Floats:
    narrow, wide = bells(miss, sigma)
    return narrow + wide


def bells(miss: Floats | float, sigma: Floats | float) -> tuple[Floats, Floats]:
    """Density of a reading that misses its mean by so much, in two parts to be added.

    Tails of real tolerances and models are fatter than a Gaussian's: one part in a hundred is taken
    three times as wide.
    """
    z, root = np.asarray(miss) / sigma, np.sqrt(2.0 * np.pi)
    narrow, wide = np.exp(-0.5 * z * z), np.exp(-z * z / 18.0) / 3.0
    return 0.99 * narrow / (sigma * root), 0.01 * wide / (sigma * root)


def two_states(
    table: Predictions, a: int, b: int, loading: Floats, rest: Floats
) -> dict[int, States]:
    """Drawn rows whose reading between two nets has two states; `rest` is sigma besides (H)."""
    found = {}
    for row, drawn in table.drawn.items():
        first, second = (
            table.mean[row, a] - table.mean[row, b] + drawn.levels[:, a] - drawn.levels[:, b]
        )
        if not np.isfinite(drawn.share) or abs(first - second) < TWO_STATES:
            continue
        own = np.hypot(np.hypot(drawn.within[:, a], drawn.within[:, b]) * loading[row], rest[row])
        means = float(first * loading[row]), float(second * loading[row])
        found[row] = States(drawn.share, means, (float(own[0]), float(own[1])))
    return found


def straying(table: Predictions) -> Floats:
    """How many specimens of each row stray from what slopes tell (H)."""
    share = np.zeros(len(table.mean))
    for row, drawn in table.drawn.items():
        if drawn.tail is not None:
            share[row] = drawn.tail.share
    return share


def reaches(table: Predictions, a: int, b: int, loading: Floats, only: Rows) -> Floats | None:
    """How far specimens that stray do between two columns (h, J); `loading` is what the meter
    leaves of each (h). None for nowhere."""
    reach = np.zeros((len(loading), STAND_INS))
    known: dict[int, Floats] = {}  # rows alike share what was drawn
    for i, drawn in _drawn(table, only):
        tail = drawn.tail
        if tail is None or tail.share <= 0.0:
            continue
        if id(tail) not in known:
            known[id(tail)] = tail.reach[:, a] - tail.reach[:, b]
        reach[i] = known[id(tail)] * loading[i]
    return reach if known else None


def _drawn(table: Predictions, only: Rows) -> Iterator[tuple[int, Drawn]]:
    """Drawn rows among `only`, by their place there."""
    if isinstance(only, slice):
        yield from table.drawn.items()
        return
    for i, row in enumerate(only):
        if int(row) in table.drawn:
            yield i, table.drawn[int(row)]


@dataclass(frozen=True)
class Volts:
    """A reading of h hypotheses in volts, as slopes and what was drawn tell.

    Attributes
    ----------
    mean: with the meter's load [V] (h).
    slope: a sigma of each uncertainty [V] (h, K).
    loose: what no uncertainty explains [V] at one sigma (h).
    model, own: error of the model and of the meter [V] at one sigma (h).
    """

    mean: Floats
    slope: Floats
    loose: Floats
    model: Floats
    own: Floats

    @property
    def slopes(self) -> Floats:
        """All slopes together, at one sigma (h)."""
        return np.asarray(np.sqrt(np.einsum("hk,hk->h", self.slope, self.slope)))

    def on(self, scale: Scale, value: float, read: Mapping[int, tuple[Specimens, Floats]]) -> Volts:
        """The same on a scale, in sigmas of a good machine.

        `value` is the reading [V], not finite before it is taken; `read` the specimens of those
        rows that were drawn, and what they read [V] (S).
        """
        wide = np.hypot(self.slopes, self.loose)
        error = np.hypot(self.model, self.own)
        steep = scale.steepness(self.mean, np.hypot(wide, error))
        mean, slope, loose = (
            scale.sigmas(self.mean),
            self.slope * steep[:, None],
            self.loose * steep,
        )
        fits: dict[int, Fit] = {}
        for row, (few, values) in read.items():
            if id(few) not in fits:  # rows alike share what was drawn
                fits[id(few)] = few.fit(scale.sigmas(values))
            fit = fits[id(few)]
            mean[row], slope[row], loose[row] = fit.mean, fit.slopes, fit.loose
        # An error acts where the meter stands as well as where it was expected to.
        errs = scale.steepness(self.mean, error)
        if np.isfinite(value):
            errs = np.maximum(errs, scale.steepness(np.full_like(error, value), error))
        return Volts(mean, slope, loose, self.model * errs, self.own * errs)


def on_scale(
    table: Predictions,
    leads: tuple[int, int],
    plain: Volts,
    value: float,
    which: tuple[int, Rows, Floats],
) -> tuple[Scale | None, Volts]:
    """The scale a reading between two columns is weighed on, and what is expected on it; None and
    `plain` where good machines form a bell. `which` is the row without a fault, those of `plain`,
    and how much the meter leaves of each."""
    none, only, loading = which
    good = table.drawn.get(none)
    if good is None or good.specimens is None or not plain.mean.size:
        return None, plain
    rows = np.arange(len(table.mean))[only]
    at = np.flatnonzero(rows == none)
    k = int(at[0]) if at.size else 0
    (a, b), share = leads, float(loading[k])
    marked = table.mean[:, a] - table.mean[:, b]
    own = float(np.hypot(plain.model[k], plain.own[k]))
    scale = good.specimens.scale(a, b, float(marked[none]), share, own)
    if scale is None:
        return None, plain
    known: dict[int, tuple[Specimens, Floats]] = {}
    for i, drawn in _drawn(table, only):
        if drawn.specimens is not None:
            few = drawn.specimens
            known[i] = few, few.read(a, b, float(marked[rows[i]]), float(loading[i]))
    return scale, plain.on(scale, value, known)
