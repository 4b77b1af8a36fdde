"""The shape of what good specimens read: a bell or not, and a scale on which it is one.

A gate that stands at nought in most machines and at a tenth of a volt in some, a limit past which a
third of them fold back: one normal bell as wide as their standard deviation calls the last of them
impossible and the others vague. On the scale made here, volts laid along the specimens' own
quantiles, good specimens do form a bell, and a bell is what readings are weighed by.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Where quantiles are looked at, in sigmas of a bell: out to one specimen in 120, which three
# hundred draws still tell of.
KNOTS = np.linspace(-2.4, 2.4, 17)
_CHANCES = np.array([NormalDist().cdf(float(z)) for z in KNOTS])
# Sigmas by which a quantile may be farther out than that of a bell as wide, and by which specimens
# may have a gap between them, and still count as one.
ODD, GAP = 1.0, 0.5
# Points of a scale, the share of specimens that may read anything in its range, and the sigmas from
# which a tail goes on straight: as steep as from the first of them to the second.
POINTS, ANYTHING, TAIL = 401, 0.01, (1.5, 2.4)
_FINE = np.linspace(-4.0, 4.0, 2001)
_BELOW = np.array([NormalDist().cdf(float(z)) for z in _FINE])


@dataclass(frozen=True)
class Scale:
    """A monotone scale: `volts` and where they lie, in sigmas of a good machine (`POINTS`); past
    both ends it goes on straight, at `low` and `high` volts a sigma.

    `own` is the error [V], at one sigma, of a reading on it; it is in the scale too.
    """

    volts: Floats
    at: Floats
    low: float
    high: float
    own: float

    def sigmas(self, volts: Floats) -> Floats:
        """Where volts lie on the scale."""
        v, at = self.volts, self.at
        before = at[0] + np.minimum(volts - v[0], 0.0) / self.low
        after = at[-1] + np.maximum(volts - v[-1], 0.0) / self.high
        return np.asarray(np.interp(volts, v, at) + (before - at[0]) + (after - at[-1]))

    def back(self, sigmas: Floats) -> Floats:
        """Volts at places on the scale."""
        v, at = self.volts, self.at
        before = np.minimum(sigmas - at[0], 0.0) * self.low
        after = np.maximum(sigmas - at[-1], 0.0) * self.high
        return np.asarray(np.interp(sigmas, at, v) + before + after)

    def steepness(self, volts: Floats, around: Floats | float) -> Floats:
        """Sigmas a volt, over as much as `around` [V] to both sides."""
        wide = np.maximum(around, 1e-6)
        return (self.sigmas(volts + wide) - self.sigmas(volts - wide)) / (2.0 * wide)


def is_bell(values: Floats) -> bool:
    """Whether specimens (S) lie about as those of a bell as wide: no end farther out, no gap.

    Fewer than a bell has far out is no reason to bend a scale: nothing is taken for a fault by it.
    """
    spread = float(values.std())
    if spread <= 0.0:
        return True
    ranked = np.sort(values)
    few = max(len(ranked) // 50, 1)
    if np.diff(ranked[few:-few]).max(initial=0.0) > GAP * spread:
        return False
    off = (np.quantile(ranked, _CHANCES) - values.mean()) / spread - KNOTS
    longer = np.where(KNOTS > 0, off, -off)
    return bool(longer.max() < ODD)


def scale_of(values: Floats, own: float) -> Scale:
    """The scale on which readings of specimens (S) [V], with an error of `own` [V], form a bell.

    Each specimen counts as a narrow bell of that error, taken as logistic (the usual 1.702
    scaling), so that no stretch of the scale is steeper than the error alone would make it.
    """
    own = max(own, 1e-6)
    low, high = float(values.min()) - 3.0 * own, float(values.max()) + 3.0 * own
    volts = np.linspace(low, high, POINTS)
    # Points where specimens are as well as between them: a narrow heap is not stepped over.
    volts = np.unique(np.concatenate([volts, values - own, values, values + own]))
    z = 1.702 * (volts[:, None] - values[None, :]) / own
    below = (1.0 / (1.0 + np.exp(-np.clip(z, -60.0, 60.0)))).mean(axis=1)
    below = (1.0 - ANYTHING) * below + ANYTHING * (volts - low) / (high - low)
    at = np.interp(below, _BELOW, _FINE)
    ends = np.interp([-TAIL[1], -TAIL[0], TAIL[0], TAIL[1]], at, volts)
    inside = (at >= -TAIL[1]) & (at <= TAIL[1])
    reach = TAIL[1] - TAIL[0]
    least = own / 10.0
    return Scale(
        volts[inside],
        at[inside],
        max(float(ends[1] - ends[0]) / reach, least),
        max(float(ends[3] - ends[2]) / reach, least),
        own,
    )
