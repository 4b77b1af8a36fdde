"""Weights of hypotheses after readings, with tolerances learnt along the way.

Under each hypothesis the machine's uncertain values (part tolerances, mains level) are one
Gaussian vector, moved and narrowed by each reading: a zener 3 % high then explains every rail it
sets, once. Each reading may also be a slip, so no single one can kill the truth.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from halfsplit.diagnosis.evidence import Evidence
from halfsplit.faults.dictionary import ADRIFT, UNCLAIMED, Predictions

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Rows = slice | npt.NDArray[np.int64]
EVERY = slice(None)

# One reading in fifty is misread, mistyped or taken at the wrong point; common practice, no
# published source.
SLIP = 0.02
# What the device models miss, as fraction of reading and as volts: compared with ngspice runs
# drawn within their tolerances in tests/bench and tests/simulator.
MODEL_FRACTION, MODEL_VOLTS = 0.003, 0.010
# With something unmodelled wrong, a reading is still as in a healthy machine this often.
UNMODELLED_HEALTHY = 0.3


@dataclass(frozen=True)
class Expected:
    """What one reading should be under each hypothesis, before it is taken (H)."""

    mean: Floats
    sigma: Floats
    slope: Floats  # (H, K) volts per sigma of each uncertainty
    known: Bools  # False where the net is adrift or the row did not solve


def bayes(prior: Floats, likelihood: Floats) -> Floats:
    """Posterior weights (H). All-zero likelihood leaves the prior, as nothing was learnt."""
    product = prior * likelihood
    total = product.sum()
    return product / total if total > 0 else prior.copy()


class Belief:
    """Weights of H hypotheses and, under each, the Gaussian state of K uncertainties.

    `none` and `unmodelled` are the indices of those two hypotheses.
    """

    def __init__(self, prior: Sequence[float], uncertainties: int, none: int, unmodelled: int):
        self.prior = np.array(prior, dtype=float)
        self.log_weight = np.log(np.maximum(self.prior, 1e-300))
        count = len(self.prior)
        self.shift = np.zeros((count, uncertainties))
        self.cover = np.tile(np.eye(uncertainties, dtype=np.float32), (count, 1, 1))
        self.none, self.unmodelled = none, unmodelled

    def weights(self) -> Floats:
        """Posterior (H), summing to 1."""
        w = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(w / w.sum())

    def expect(self, table: Predictions, item: Evidence, only: Rows = EVERY) -> Expected:
        """Mean and spread of a reading under hypotheses `only`, given what was learnt so far."""
        a, b = table.column(item.pos), table.column(item.neg)
        if item.quantity == "ripple":
            return self._ripple(table, a, only)
        mean = table.centre[only, a] - table.centre[only, b]
        source = table.ohms[only, a] + table.ohms[only, b]
        loading = item.meter.ohms / (item.meter.ohms + source)
        slope = (table.spread[only, :, a] - table.spread[only, :, b]) * loading[:, None]
        mean = np.nan_to_num(mean * loading)
        learnt = np.einsum("hk,hk->h", slope, self.shift[only])
        var = np.einsum("hk,hk->h", np.einsum("hk,hkl->hl", slope, self.cover[only]), slope)
        own = np.array([item.meter.sigma(m, item.resolution) for m in mean])
        model = MODEL_FRACTION * np.abs(mean) + MODEL_VOLTS
        known = ~np.isin(table.status[only], UNCLAIMED) & (source < ADRIFT)
        loose = table.loose[only, a] ** 2 + table.loose[only, b] ** 2
        sigma = np.sqrt(np.maximum(var, 0.0) + loose * loading**2 + own**2 + model**2)
        return Expected(mean + learnt, sigma, slope, known)

    def _ripple(self, table: Predictions, a: int, only: Rows) -> Expected:
        mean = np.nan_to_num(table.ripple[only, a])
        sigma = (
            0.25 * mean + 0.004
        )  # a scope's trace, an old capacitor's value: no better than that
        zero = np.zeros_like(self.shift[only])
        return Expected(mean, sigma, zero, ~np.isin(table.status[only], UNCLAIMED))

    def likelihood(self, expected: Expected, value: float, span: float) -> tuple[Floats, Floats]:
        """Density of the reading under each hypothesis, and the share owed to a true reading.

        `span` [V] is the range a slip or an unknown fault could land in.
        """
        z = (value - expected.mean) / expected.sigma
        density = np.exp(-0.5 * z * z) / (expected.sigma * np.sqrt(2.0 * np.pi))
        # Tails of real tolerances and models are fatter than a Gaussian's: one part in a hundred
        # is taken three times as wide.
        wide = np.exp(-z * z / 18.0) / (3.0 * expected.sigma * np.sqrt(2.0 * np.pi))
        density = 0.99 * density + 0.01 * wide
        flat = 1.0 / span
        density = np.where(expected.known, density, flat)
        density[self.unmodelled] = (
            UNMODELLED_HEALTHY * density[self.none] + (1.0 - UNMODELLED_HEALTHY) * flat
        )
        total = (1.0 - SLIP) * density + SLIP * flat
        return total, (1.0 - SLIP) * density / total

    def learn(self, table: Predictions, item: Evidence, span: float) -> Floats:
        """Take one reading into account; returns its likelihood under each hypothesis."""
        expected = self.expect(table, item)
        likely, true_share = self.likelihood(expected, item.value, span)
        self.log_weight += np.log(likely)
        gain = np.einsum("hkl,hl->hk", self.cover, expected.slope) / (expected.sigma**2)[:, None]
        use = (true_share * expected.known).astype(float)
        use[self.unmodelled] = 0.0
        miss = np.clip(item.value - expected.mean, -5 * expected.sigma, 5 * expected.sigma)
        self.shift += gain * (use * miss)[:, None]
        narrowing = np.einsum("hk,hl->hkl", gain, gain * (expected.sigma**2)[:, None])
        self.cover -= (use[:, None, None] * narrowing).astype(np.float32)
        return likely

    def prove(self, blamed: Sequence[bool], good: bool) -> None:
        """Take a bench test of one part into account: `blamed` marks hypotheses that accuse it.

        A part called good is still bad one time in twenty, one called bad is good one in fifty
        (intermittent, wrong range, wrong part tested). Common practice, no published source.
        """
        says_bad = np.where(np.array(blamed), 0.95, 0.02)
        self.log_weight = np.log(
            np.maximum(bayes(self.weights(), 1.0 - says_bad if good else says_bad), 1e-300)
        )


def span_of(table: Predictions) -> float:
    """Range [V] a wild reading could land in: the circuit's own extremes, both ways."""
    top = np.nanmax(np.abs(table.mean)) if np.isfinite(table.mean).any() else 10.0
    return float(max(2.0 * top, 10.0))


Lookup = Callable[[Evidence], Predictions]


def weigh(belief: Belief, evidence: Sequence[Evidence], lookup: Lookup) -> Belief:
    """Take every reading in order."""
    for item in evidence:
        table = lookup(item)
        belief.learn(table, item, span_of(table))
    return belief
