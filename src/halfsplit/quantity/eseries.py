"""Preferred values of resistors and capacitors.

Source: IEC 60063, series E3 to E192. E48, E96 and E192 are the rounded powers of 10**(1/192) with
one exception, 920 where the rule gives 919; E3 to E24 keep older roundings and are listed.
"""

from __future__ import annotations

import math
from decimal import Decimal
from functools import lru_cache
from typing import Literal

from halfsplit.problems import HalfsplitError

Series = Literal["E3", "E6", "E12", "E24", "E48", "E96", "E192"]

_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)  # fmt: skip # noqa: E501
_E192 = tuple({919: 920}.get(n, n) for n in (round(100 * 10 ** (i / 192)) for i in range(192)))
_TABLE: dict[Series, tuple[int, ...]] = {
    "E3": _E24[::8],
    "E6": _E24[::4],
    "E12": _E24[::2],
    "E24": _E24,
    "E48": _E192[::4],
    "E96": _E192[::2],
    "E192": _E192,
}
_SAME = 1e-9  # relative; far below any step of a series, far above the rounding of a float


def values(series: Series) -> tuple[int, ...]:
    """One decade: 10 to under 100 for E3 to E24, 100 to under 1000 for E48 to E192."""
    try:
        return _TABLE[series]
    except KeyError:
        raise HalfsplitError(
            f"Unknown series {series!r}; use one of {', '.join(_TABLE)}."
        ) from None


def _around(series: Series, value: float) -> list[float]:
    """Preferred values of the decade of `value` and of its neighbours, rising."""
    if not (math.isfinite(value) and 1e-30 < value < 1e30):
        raise HalfsplitError(f"Preferred values need a positive number, not {value!r}.")
    return _decades(series, math.floor(math.log10(value)))


@lru_cache(maxsize=256)
def _decades(series: Series, decade: int) -> list[float]:
    base = values(series)
    digits = len(str(base[0])) - 1
    return [
        float(Decimal(b).scaleb(d - digits)) for d in (decade - 1, decade, decade + 1) for b in base
    ]


def nearest(series: Series, value: float) -> float:
    """The preferred value with the smallest difference from `value` (the lower one on a tie)."""
    return min(_around(series, value), key=lambda v: abs(v - value))


def next_above(series: Series, value: float) -> float:
    """The smallest preferred value at or above `value`."""
    return next(v for v in _around(series, value) if v >= value * (1 - _SAME))


def next_below(series: Series, value: float) -> float:
    """The largest preferred value at or below `value`."""
    return next(v for v in reversed(_around(series, value)) if v <= value * (1 + _SAME))


def is_preferred(value: float, series: Series) -> bool:
    """Whether `value` is in the series, to nine digits; never for 0 and below."""
    if not (math.isfinite(value) and value > 0):
        return False
    return math.isclose(nearest(series, value), value, rel_tol=_SAME)
