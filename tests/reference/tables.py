"""Prediction tables written out by hand, so the package's inference runs without its solver."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from halfsplit.faults.hypotheses import NONE, UNMODELLED, Fault, Hypothesis, together
from halfsplit.faults.predictions import Predictions

NEVER = 1e-12  # prior of what the reference has no place for


def table(
    nets: Sequence[str],
    means: Sequence[Mapping[str, float]],
    spreads: Sequence[Mapping[str, Sequence[float]]],
    uncertainties: int,
) -> Predictions:
    """Steady readings [V] of each hypothesis, and what each uncertainty does at one sigma."""
    count, columns = len(means), len(nets) + 1
    mean, spread = np.zeros((count, columns)), np.zeros((count, uncertainties, columns))
    for row, (values, moves) in enumerate(zip(means, spreads, strict=True)):
        for i, net in enumerate(nets):
            mean[row, i] = values[net]
            spread[row, :, i] = moves.get(net, [0.0] * uncertainties)
    flat = np.zeros((count, columns))
    wave = np.zeros((count, columns, 0), dtype=np.float16)
    status = np.zeros(count, dtype=np.int8)
    return Predictions(
        tuple(nets), mean, flat, mean.copy(), spread, flat + 1.0, status, np.zeros(count), wave
    )


def listed(faults: Sequence[Fault], healthy: float) -> list[Hypothesis]:
    """No fault with this prior, something unmodelled with next to none, and each fault alone."""
    bare = [Hypothesis((), healthy, NONE), Hypothesis((), NEVER, UNMODELLED)]
    return [*bare, *(together([f]) for f in faults)]
