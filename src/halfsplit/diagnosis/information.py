"""How much a check is expected to tell: entropy in bits, over discrete outcomes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def entropy(weights: Floats) -> float:
    """Entropy of a distribution [bit]; zero weights contribute nothing."""
    w = np.asarray(weights, dtype=float)
    w = w[w > 0]
    return float(-(w * np.log2(w)).sum()) + 0.0


def expected_gain(weights: Floats, outcomes: Floats) -> float:
    """Expected fall in entropy [bit] from seeing one of O outcomes.

    Parameters
    ----------
    weights: hypotheses (H), summing to 1.
    outcomes: probability of each outcome under each hypothesis (H, O), rows summing to 1.
    """
    joint = weights[:, None] * outcomes
    with np.errstate(divide="ignore", invalid="ignore"):
        bits = np.where(outcomes > 0.0, outcomes * np.log2(outcomes), 0.0)
    each = -bits.sum(axis=1)
    return max(entropy(joint.sum(axis=0)) - float((weights * each).sum()), 0.0)


def bins(
    mean: Floats,
    sigma: Floats,
    known: npt.NDArray[np.bool_],
    count: int = 160,
    knee: float = 0.05,
) -> Floats:
    """Probability of each of `count` intervals of reading under each hypothesis (H, count).

    Intervals are even on a scale that is linear near zero and logarithmic far out, so that 20 mV
    and 20 V are both resolved; `knee` [V] is where the one becomes the other. The normal
    distribution is taken as logistic, within 1 % (the usual 1.702 scaling). A hypothesis with no
    prediction is spread evenly.
    """
    low = float((mean - 4 * sigma)[known].min()) if known.any() else -1.0
    high = float((mean + 4 * sigma)[known].max()) if known.any() else 1.0
    edges = knee * np.sinh(np.linspace(np.arcsinh(low / knee), np.arcsinh(high / knee), count + 1))
    z = (edges[None, :] - mean[:, None]) / sigma[:, None]
    below = 1.0 / (1.0 + np.exp(-np.clip(1.702 * z, -60, 60)))
    below[:, 0], below[:, -1] = 0.0, 1.0
    found = np.diff(below, axis=1)
    found[~known] = 1.0 / count
    return found
