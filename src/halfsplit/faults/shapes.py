"""The shape of what good specimens read: a bell or not, and a scale on which it is one.

A supply whose current limit sets in early for one specimen in a hundred reads 5.0 V in ninety-nine
and anything down to 4.5 V in the last. One normal bell as wide as its standard deviation calls the
last impossible and the others vague. On the scale made here, volts laid along the specimens' own
quantiles, good specimens do form a bell, and a bell is what readings are weighed by.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Where quantiles are taken, in sigmas of a bell: out to one specimen in 120, which three hundred
# draws still tell of.
KNOTS = np.linspace(-2.4, 2.4, 17)
_CHANCES = np.array([NormalDist().cdf(float(z)) for z in KNOTS])
# Sigmas by which a quantile may be off that of a bell as wide and still count as one. A band filled
# evenly, as of a resistor, is off by 0.7 at its ends and does no harm.
ODD = 1.0
# Knots from which on the scale goes on straight: as steep as from here to the last one. Two knots
# at the very end hang on two specimens.
TAIL = 4


@dataclass(frozen=True)
class Scale:
    """A monotone scale: `volts` at the bell's sigmas `KNOTS`, going on straight past both ends.

    `own` is the error [V], at one sigma, of a reading on it; it is in the quantiles too.
    """

    volts: Floats
    own: float

    @property
    def _ends(self) -> tuple[float, float]:
        """Volts a sigma past the first knot and past the last."""
        v, z = self.volts, KNOTS
        low = (v[TAIL] - v[0]) / (z[TAIL] - z[0])
        high = (v[-1] - v[-1 - TAIL]) / (z[-1] - z[-1 - TAIL])
        return float(low), float(high)

    def sigmas(self, volts: Floats) -> Floats:
        """Where volts lie on the scale, in sigmas of a good machine."""
        v = np.asarray(volts, dtype=float)
        low, high = self._ends
        found = np.interp(v, self.volts, KNOTS)
        found = np.where(v < self.volts[0], KNOTS[0] + (v - self.volts[0]) / low, found)
        past = v > self.volts[-1]
        return np.asarray(np.where(past, KNOTS[-1] + (v - self.volts[-1]) / high, found))

    def back(self, sigmas: Floats) -> Floats:
        """Volts at places on the scale."""
        z = np.asarray(sigmas, dtype=float)
        low, high = self._ends
        found = np.interp(z, KNOTS, self.volts)
        found = np.where(z < KNOTS[0], self.volts[0] + (z - KNOTS[0]) * low, found)
        return np.asarray(np.where(z > KNOTS[-1], self.volts[-1] + (z - KNOTS[-1]) * high, found))

    def steepness(self, volts: Floats, around: Floats | float) -> Floats:
        """Sigmas a volt, over as much as `around` [V] to both sides."""
        wide = np.maximum(around, 1e-6)
        return (self.sigmas(volts + wide) - self.sigmas(volts - wide)) / (2.0 * wide)


def is_bell(values: Floats) -> bool:
    """Whether quantiles of specimens (S) are about those of a bell as wide."""
    spread = float(values.std())
    if spread <= 0.0:
        return True
    off = (np.quantile(values, _CHANCES) - values.mean()) / spread - KNOTS
    # Fewer than a bell has far out is no reason to bend a scale: nothing is taken for a fault by it
    longer = np.where(KNOTS > 0, off, -off)
    return bool(np.max(longer) < ODD and np.abs(off[3:-3]).max() < ODD)


def scale_of(values: Floats, own: float) -> Scale:
    """The scale on which readings of specimens (S) [V], with an error of `own` [V], form a bell.

    Errors widen each quantile as they widen a bell: by the root of the sum of squares about the
    median. So no stretch of the scale is steeper than the error alone would make it.
    """
    at = np.quantile(values, _CHANCES)
    middle = at[len(at) // 2]
    away = np.hypot(at - middle, max(own, 1e-6) * KNOTS)
    return Scale(middle + np.sign(KNOTS) * away, own)
