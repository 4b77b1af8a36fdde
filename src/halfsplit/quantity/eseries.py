"""Preferred values of IEC 60063:2015."""

from __future__ import annotations

import math
from typing import Literal

Series = Literal["E3", "E6", "E12", "E24", "E48", "E96", "E192"]

# The 24 two-digit values are rounded by history, not by formula, so they are listed.
_E24 = (
    10,
    11,
    12,
    13,
    15,
    16,
    18,
    20,
    22,
    24,
    27,
    30,
    33,
    36,
    39,
    43,
    47,
    51,
    56,
    62,
    68,
    75,
    82,
    91,
)


def values(series: Series) -> tuple[int, ...]:
    """The values of one decade, as written: two digits up to E24, three above."""
    count = int(series[1:])
    if count <= 24:
        return _E24[:: 24 // count]
    exact = [round(100 * 10 ** (i / count)) for i in range(count)]
    # E192 alone departs from rounding, in one value (920 for 919).
    return tuple(920 if series == "E192" and v == 919 else v for v in exact)


def _grid(series: Series, value: float) -> list[float]:
    if not (value > 0 and math.isfinite(value)):
        raise ValueError("a preferred value is asked of a number above zero")
    decade = math.floor(math.log10(value))
    base = values(series)
    unit = 10.0 if base[0] == 10 else 100.0
    return [v / unit * 10.0**d for d in (decade - 1, decade, decade + 1) for v in base]


def _tidy(value: float) -> float:
    return float(f"{value:.3g}")


def nearest(series: Series, value: float) -> float:
    """Preferred value nearest to `value` by ratio."""
    return _tidy(min(_grid(series, value), key=lambda v: abs(math.log(v / value))))


def next_above(series: Series, value: float) -> float:
    """Smallest preferred value not below `value`."""
    return _tidy(min(v for v in _grid(series, value) if v >= value * (1 - 1e-9)))


def next_below(series: Series, value: float) -> float:
    """Largest preferred value not above `value`."""
    return _tidy(max(v for v in _grid(series, value) if v <= value * (1 + 1e-9)))


def is_preferred(value: float, series: Series) -> bool:
    """Whether `value` is a member of the series."""
    return math.isclose(nearest(series, value), value, rel_tol=1e-6)
