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
from halfsplit.diagnosis.meters import scope_error
from halfsplit.faults.dead_table import DeadTable
from halfsplit.faults.dictionary import ADRIFT, UNCLAIMED, Predictions
from halfsplit.faults.ohmmeter import FLOOR

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Rows = slice | npt.NDArray[np.int64]
EVERY = slice(None)
Table = Predictions | DeadTable

# One reading in fifty is misread, mistyped or taken at the wrong point; common practice, no
# published source.
SLIP = 0.02
# What the device models miss, as fraction of reading and as volts: compared with ngspice runs
# drawn within their tolerances in tests/bench and tests/simulator.
MODEL_FRACTION, MODEL_VOLTS = 0.003, 0.010
# With something unmodelled wrong, a reading is still as in a healthy machine this often.
UNMODELLED_HEALTHY = 0.3
# Above this a dead reading is of dirt, not of the circuit: the logarithm of a gigohm.
MOST_SCALE = 20.7
# How often a wild dead reading (lead off, wrong point) is over-range; common practice.
WILD_OVER = 0.5


@dataclass(frozen=True)
class Expected:
    """What one reading should be under each hypothesis, before it is taken (H)."""

    mean: Floats
    sigma: Floats
    slope: Floats  # (H, K) volts per sigma of each uncertainty
    known: Bools  # False where the net is adrift or the row did not solve
    over: Floats | None = None  # (H) chance that the meter shows OL; None where it cannot


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

    def expect(self, table: Table, item: Evidence, only: Rows = EVERY) -> Expected:
        """Mean and spread of a reading under hypotheses `only`, given what was learnt so far.

        On the scale it is weighed on, which for ohms is logarithmic: see Evidence.scaled.
        """
        if isinstance(table, DeadTable):
            return self._dead(table, item, only)
        a, b = table.column(item.pos), table.column(item.neg)
        if item.quantity == "ripple":
            return self._ripple(table, a, only)
        mean = table.mean[only, a] - table.mean[only, b]
        source = table.ohms[only, a] + table.ohms[only, b]
        taken = np.full(mean.shape, item.value)
        shown = np.where(np.isfinite(taken), taken, np.nan_to_num(mean))
        ohms = np.array([item.meter.input_ohms(v) for v in shown])
        loading = ohms / (ohms + source)
        if table.loaded is not None:
            loading = np.where(table.loaded[only], 1.0, loading)
        slope = (table.spread[only, :, a] - table.spread[only, :, b]) * loading[:, None]
        mean = np.nan_to_num(mean * loading)
        learnt = np.einsum("hk,hk->h", slope, self.shift[only])
        var = np.einsum("hk,hk->h", np.einsum("hk,hkl->hl", slope, self.cover[only]), slope)
        own = np.array([item.meter.sigma(m, item.resolution) for m in mean])
        model = MODEL_FRACTION * np.abs(mean) + MODEL_VOLTS
        known = ~np.isin(table.status[only], UNCLAIMED) & (source < ADRIFT)
        sigma = np.sqrt(np.maximum(var, 0.0) + own**2 + model**2)
        return Expected(mean + learnt, sigma, slope, known)

    def _dead(self, table: DeadTable, item: Evidence, only: Rows) -> Expected:
        assert item.ohmmeter is not None
        slope = table.slope[only]
        learnt = np.einsum("hk,hk->h", slope, self.shift[only])
        var = np.einsum("hk,hk->h", np.einsum("hk,hkl->hl", slope, self.cover[only]), slope)
        own = table.sigma(item.ohmmeter)
        if not item.over:
            own = table.sigma(item.ohmmeter, item.value, item.resolution)
        sigma = np.hypot(own[only], np.sqrt(np.maximum(var, 0.0)))
        mean = np.minimum(table.x[only] + learnt, MOST_SCALE)
        # The normal distribution taken as logistic, within 1 % (the usual 1.702 scaling).
        z = 1.702 * (mean - table.top) / sigma
        over = 1.0 / (1.0 + np.exp(-np.clip(z, -60.0, 60.0)))
        return Expected(mean, sigma, slope, table.ok[only], over)

    def _ripple(self, table: Predictions, a: int, only: Rows) -> Expected:
        mean = np.nan_to_num(table.ripple[only, a])
        # An old capacitor's value is known no better than that; the scope's own error comes on top.
        trace = np.array([scope_error(m) for m in mean]) / 2.0
        sigma = np.hypot(0.25 * mean + 0.004, trace)
        zero = np.zeros_like(self.shift[only])
        return Expected(mean, sigma, zero, ~np.isin(table.status[only], UNCLAIMED))

    def likelihood(self, expected: Expected, value: float, span: float) -> tuple[Floats, Floats]:
        """Density of the reading under each hypothesis, and the share owed to a true reading.

        `span` [V] is the range a slip or an unknown fault could land in.
        """
        flat = 1.0 / span
        if np.isinf(value) and expected.over is not None:
            # A probability, not a density; so is its rival, the chance that a wild reading is OL.
            density, flat = expected.over, WILD_OVER
            return self._mixed(expected, density, flat)
        z = (value - expected.mean) / expected.sigma
        density = np.exp(-0.5 * z * z) / (expected.sigma * np.sqrt(2.0 * np.pi))
        # Tails of real tolerances and models are fatter than a Gaussian's: one part in a hundred
        # is taken three times as wide.
        wide = np.exp(-z * z / 18.0) / (3.0 * expected.sigma * np.sqrt(2.0 * np.pi))
        return self._mixed(expected, 0.99 * density + 0.01 * wide, flat)

    def _mixed(self, expected: Expected, density: Floats, flat: float) -> tuple[Floats, Floats]:
        density = np.where(expected.known, density, flat)
        density[self.unmodelled] = (
            UNMODELLED_HEALTHY * density[self.none] + (1.0 - UNMODELLED_HEALTHY) * flat
        )
        total = (1.0 - SLIP) * density + SLIP * flat
        return total, (1.0 - SLIP) * density / total

    def learn(self, table: Table, item: Evidence, span: float) -> Floats:
        """Take one reading into account; returns its likelihood under each hypothesis."""
        expected = self.expect(table, item)
        likely, true_share = self.likelihood(expected, item.scaled, span)
        self.log_weight += np.log(likely)
        if item.over:
            return likely  # says too little about values to learn any from it
        gain = np.einsum("hkl,hl->hk", self.cover, expected.slope) / (expected.sigma**2)[:, None]
        use = (true_share * expected.known).astype(float)
        use[self.unmodelled] = 0.0
        miss = np.clip(item.scaled - expected.mean, -5 * expected.sigma, 5 * expected.sigma)
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


def span_of(table: Table) -> float:
    """Range a wild reading could land in: the circuit's own extremes [V], both ways; of a dead
    reading all that the meter can show, on its scale."""
    if isinstance(table, DeadTable):
        return max(table.top - float(np.log(FLOOR)), 2.0)
    return max(2.0 * table.highest(), 10.0)


Lookup = Callable[[Evidence], Table]


def weigh(belief: Belief, evidence: Sequence[Evidence], lookup: Lookup) -> Belief:
    """Take every reading in order."""
    for item in evidence:
        table = lookup(item)
        belief.learn(table, item, span_of(table))
    return belief
