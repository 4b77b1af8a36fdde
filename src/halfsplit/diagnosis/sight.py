"""A first sight of how many thousands of pairs of faults fit a reading, before any is weighed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from halfsplit.diagnosis.evidence import Evidence
from halfsplit.diagnosis.expected import SLIP, adrift
from halfsplit.diagnosis.meters import scope_error
from halfsplit.diagnosis.posterior import (
    MODEL_FRACTION,
    MODEL_VOLTS,
    Bools,
    Floats,
    span_of,
)
from halfsplit.faults.dictionary import SIZE_AT
from halfsplit.faults.hypotheses import SIZES
from halfsplit.faults.pairs import PairMeans
from halfsplit.faults.predictions import ADRIFT, UNCLAIMED, Predictions

WIDER = 1.5  # a pair spreads more than the worse of its two; common practice


class Sight:
    """One powered reading held against the table of singles and against pairs of them.

    Every reading counts by itself here, with tolerances as marked; a reading nobody explains is a
    slip, as everywhere.
    """

    def __init__(self, table: Predictions, item: Evidence, gone: Sequence[bool]) -> None:
        """`gone` marks single faults (H) whose part had been replaced when it was taken."""
        self.table, self.item = table, item
        self.gone = np.array(gone, dtype=bool)
        self.a, self.b = table.column(item.pos), table.column(item.neg)
        self.flat = 1.0 / span_of(table)
        slope = table.spread[:, :, self.a] - table.spread[:, :, self.b]
        self.wide = np.sqrt(np.einsum("hk,hk->h", slope, slope))  # of faults of any size
        slope = np.delete(slope, np.s_[SIZE_AT : SIZE_AT + SIZES], axis=1)
        self.spread = np.sqrt(np.einsum("hk,hk->h", slope, slope))  # of those of a given one
        source = table.ohms[:, self.a] + table.ohms[:, self.b]
        self.known = ~np.isin(table.status, UNCLAIMED) & (source < ADRIFT)
        self.source = np.minimum(source, ADRIFT)

    def singles(self) -> Floats:
        """Logarithm of likelihood under each single fault (H)."""
        quantity = self.table.mean if self.item.quantity == "volts" else self.table.ripple
        mean = np.nan_to_num(quantity[:, self.a] - quantity[:, self.b])
        alone = self._log(mean, self.wide, self.source, self.known)
        return np.where(self.gone, alone[0], alone)

    def sizes(self, which: Sequence[tuple[int, float]], means: PairMeans) -> Floats:
        """The same under single faults (P) of the sizes named, as (row, scale): between them lie
        others, so each spreads halfway to its neighbours."""
        mean = self._mean(means)
        apart = np.zeros(len(mean))
        order = np.array(sorted(range(len(which)), key=lambda k: which[k]))
        rows = means.first[order]
        gap = np.where(rows[1:] == rows[:-1], np.abs(np.diff(mean[order])), 0.0)
        apart[order[1:]] = gap
        apart[order[:-1]] = np.maximum(apart[order[:-1]], gap)
        spread = np.hypot(WIDER * self.spread[means.first], 0.5 * apart)
        known = self.known[means.first] & means.ok
        found = self._log(mean, spread, self.source[means.first], known)
        return np.where(self.gone[means.first], self.singles()[0], found)

    def _mean(self, means: PairMeans) -> Floats:
        quantity = means.mean if self.item.quantity == "volts" else means.ripple
        return np.subtract(quantity[:, self.a], quantity[:, self.b], dtype=np.float64)

    def pairs(self, means: PairMeans) -> Floats:
        """The same under each pair (P)."""
        mean = self._mean(means)
        spread = WIDER * np.maximum(self.wide[means.first], self.wide[means.second])
        source = np.maximum(self.source[means.first], self.source[means.second])
        both = self.known[means.first] & self.known[means.second] & means.ok
        found = self._log(mean, spread, source, both)
        if self.gone.any():  # what was replaced leaves the other fault, or none
            ended, also = self.gone[means.first], self.gone[means.second]
            alone = self.singles()
            found = np.where(ended, alone[means.second], np.where(also, alone[means.first], found))
        return found

    def _log(self, mean: Floats, spread: Floats, source: Floats, known: Bools) -> Floats:
        item = self.item
        if item.quantity == "volts":
            ohms = item.meter.input_ohms(item.value)
            mean = mean * ohms / (ohms + source)
            own = item.meter.sigma(item.value, item.resolution)
            model = MODEL_FRACTION * np.abs(mean) + MODEL_VOLTS
            sigma = np.sqrt(spread**2 + own**2 + model**2)
        else:
            sigma = 0.25 * mean + 0.004 + scope_error(abs(item.value)) / 2.0
        z = (item.value - mean) / sigma
        density = np.exp(-0.5 * np.minimum(z * z, 1400.0)) / (sigma * np.sqrt(2.0 * np.pi))
        loose = self.flat
        if item.quantity == "volts" and not item.neg:
            loose = adrift(item.value, 1.0 / self.flat)
        density = np.where(known, density, loose)
        return np.asarray(np.log((1.0 - SLIP) * density + SLIP * self.flat))
