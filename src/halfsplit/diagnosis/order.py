"""The order in which hypotheses are named, the same in every run."""

from __future__ import annotations

import numpy as np

ALIKE = 6  # decimals of a logarithm within which two weights count as alike


def heaviest_first(log_weight: np.ndarray) -> np.ndarray:
    """Indices by falling weight, given as logarithms (H); what weighs alike keeps its order.

    Two halves of one size of fault often weigh the same but for the rounding of a solve, and what
    is named must not hang on that.
    """
    return np.argsort(-np.round(log_weight, ALIKE), kind="stable")


def heaviest(weights: np.ndarray) -> np.ndarray:
    """The same for weights that are not logarithms; nought comes last."""
    return heaviest_first(np.log(np.maximum(weights, 1e-300)))
