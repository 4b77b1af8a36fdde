"""Quantiles of the gamma and beta distributions, which intervals of rates and shares are told by.

Sources: NIST Digital Library of Mathematical Functions 8.7.1 (series), 8.9.2 (continued fraction)
for the incomplete gamma function, 8.17.22 for the incomplete beta function.
"""

from __future__ import annotations

import math
from collections.abc import Callable

_TERMS, _SMALL = 10_000, 1e-300


def gamma_below(shape: float, x: float) -> float:
    """Chance that a gamma variable of this shape and unit rate is at most `x`."""
    if x <= 0:
        return 0.0
    front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
    if x < shape + 1:
        term = total = 1.0 / shape
        for k in range(1, _TERMS):
            term *= x / (shape + k)
            total += term
            if term < total * 1e-15:
                break
        return min(front * total, 1.0)
    b, c = x + 1.0 - shape, 1.0 / _SMALL
    d = 1.0 / b
    h = d
    for k in range(1, _TERMS):
        a = -k * (k - shape)
        b += 2.0
        d = 1.0 / (_kept(a * d + b))
        c = _kept(b + a / c)
        h *= d * c
        if abs(d * c - 1.0) < 1e-15:
            break
    return max(1.0 - front * h, 0.0)


def beta_below(a: float, b: float, x: float) -> float:
    """Chance that a beta variable is at most `x`."""
    if not 0.0 < x < 1.0:
        return float(x >= 1.0)
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - beta_below(b, a, 1.0 - x)
    scale = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    front = math.exp(scale + a * math.log(x) + b * math.log1p(-x)) / a
    c, d = 1.0, 1.0 / _kept(1.0 - (a + b) * x / (a + 1.0))
    h = d
    for m in range(1, _TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for step in (even, odd):
            d = 1.0 / _kept(1.0 + step * d)
            c = _kept(1.0 + step / c)
            h *= d * c
        if abs(d * c - 1.0) < 1e-15:
            break
    return min(front * h, 1.0)


def _kept(value: float) -> float:
    return value if abs(value) > _SMALL else _SMALL


def gamma_quantile(shape: float, rate: float, chance: float) -> float:
    """Value a gamma variable of this shape and rate stays below with this chance."""
    high = shape + 1.0
    while gamma_below(shape, high) < chance:
        high *= 2.0
    return _halved(lambda x: gamma_below(shape, x), high, chance) / rate


def beta_quantile(a: float, b: float, chance: float) -> float:
    """Value a beta variable stays below with this chance."""
    return _halved(lambda x: beta_below(a, b, x), 1.0, chance)


def _halved(below: Callable[[float], float], high: float, chance: float) -> float:
    low = 0.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if below(middle) < chance:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0
