"""What one reading should be under each hypothesis, before it is taken."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from halfsplit.diagnosis.specimens import States
from halfsplit.diagnosis.stories import Given, Place
from halfsplit.faults.shapes import Scale

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

# One reading in fifty is misread, mistyped or taken at the wrong point; common practice, no
# published source.
SLIP = 0.02
# A net that nothing drives is pulled to common by the meter's own 10 Mohm: so often it reads about
# nought, at one sigma of so many volts of leakage and hum, and else anything. Common practice, no
# published source.
NEAR_NOUGHT, NOUGHT = 0.7, 0.05
DRAINS = 1e9  # ohm; a meter of more drains nothing


def adrift(value: float, span: float) -> float:
    """Density of a reading of such a net [1/V]; `span` [V] is what it could land in."""
    near = np.exp(-0.5 * min((value / NOUGHT) ** 2, 1400.0)) / (NOUGHT * np.sqrt(2.0 * np.pi))
    return float(NEAR_NOUGHT * near + (1.0 - NEAR_NOUGHT) / span)


@dataclass(frozen=True)
class Expected:
    """What one reading should be under each hypothesis, before it is taken (H).

    `mean` and `sigma` are in volts, or on the scale of what is no volts; all else is on the scale
    it is weighed on, that of `scale` where good specimens form no bell.
    """

    mean: Floats
    sigma: Floats
    slope: Floats  # (H, K) change per sigma of each uncertainty
    known: Bools  # False where the net is adrift or the row did not solve
    given: Given  # what earlier readings tell of it
    bend: Floats  # one sigma of what slopes do not tell and its place keeps
    place: Place
    centre: Floats  # mean with nothing learnt
    rest: Floats  # variance of it besides that of the tolerances
    over: Floats | None = None  # (H) chance that the meter shows OL; None where it cannot
    linear: bool = True  # whether its scale is that of the meter's figures
    states: Mapping[int, States] = field(default_factory=dict)  # rows with two readings
    reach: Floats | None = None  # (H, J) how far a specimen that strays does; None for nowhere
    scale: Scale | None = None
    joint: tuple[Floats, Floats] | None = None  # mean and sigma on that scale over all stories
    steep: float = 1.0  # of that scale where the reading lies, as densities are per volt
    drained: Bools | None = None  # (H) nets that only the meter drives; None for nowhere

    def on(self, value: float) -> float:
        """A reading on the scale of weighing."""
        return value if self.scale is None else float(self.scale.sigmas(np.array(value)))

    def steepness(self, value: float) -> float:
        """Of that scale at a reading, per volt; 1 without one."""
        if self.scale is None or not np.isfinite(value):
            return 1.0
        return float(self.scale.steepness(np.array(value), self.scale.own))

    def off(self, value: float) -> Floats:
        """How many sigmas a reading lies from each mean (H)."""
        mean, sigma = self.joint or (self.mean, self.sigma)
        return np.asarray(np.abs(self.on(value) - mean) / sigma)

    @property
    def each(self) -> tuple[Floats, Floats]:
        """Mean and sigma in each story (S, H)."""
        return self.centre + self.given.learnt, np.sqrt(self.given.var + self.rest)

    def best(self, span: float) -> Floats:
        """Logarithm of the likelihood of a reading just as predicted (H)."""
        at = (self.given.share / self.each[1]).max(axis=0)
        peak = (1.0 - SLIP) * 0.993 * at * self.steep / np.sqrt(2.0 * np.pi) + SLIP / span
        if self.over is not None:
            ends = np.maximum(self.over, 1.0 - self.over)
            return np.asarray(np.log(np.where(self.over > 0.5, ends, peak)))
        return np.asarray(np.log(np.where(self.known, peak, self.loose(0.0, span))))

    def pulled_down(self) -> Expected:
        """With nets that only the meter drives told as about nought, which they read mostly."""
        if self.drained is None or self.scale is not None or not self.drained.any():
            return self
        mean = np.where(self.drained, 0.0, self.mean)
        sigma = np.where(self.drained, NOUGHT, self.sigma)
        return replace(self, mean=mean, sigma=sigma, known=self.known | self.drained)

    def loose(self, value: float, span: float) -> Floats:
        """Density of a reading where none is known (H), only used there."""
        flat = np.full(len(self.known), 1.0 / span)
        return flat if self.drained is None else np.where(self.drained, adrift(value, span), flat)


def bell(z: Floats, sigma: Floats) -> Floats:
    """Density of a Gaussian reading `z` sigmas from its mean."""
    return np.asarray(np.exp(-0.5 * np.minimum(z * z, 1400.0)) / (sigma * np.sqrt(2.0 * np.pi)))
