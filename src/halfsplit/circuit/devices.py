"""Device equations, compiled: current and slope of each nonlinear element at given voltages.

Each junction voltage is limited per Newton step so that no exponential is ever evaluated far from
where the last step left it; the current is then carried to the asked voltage along its tangent.
"""

from __future__ import annotations

import math

import numba as nb

_LOG_MAX = 80.0  # exponent at which a junction current is continued as a straight line
_ROOT2 = math.sqrt(2.0)


@nb.njit(cache=True, inline="always")
def grow(u: float) -> tuple[float, float]:
    """exp(u) and its slope, continued as a line where exp would overflow."""
    if u > _LOG_MAX:
        top = math.exp(_LOG_MAX)
        return top * (1.0 + u - _LOG_MAX), top
    if u < -_LOG_MAX:
        return 0.0, 0.0
    e = math.exp(u)
    return e, e


@nb.njit(cache=True, inline="always")
def critical(sat: float, nvt: float) -> float:
    """Voltage above which a junction step must be limited (Nagel, UCB ERL-M520, 1975)."""
    if sat <= 0.0:
        return 1e9
    return nvt * math.log(nvt / (_ROOT2 * sat))


@nb.njit(cache=True, inline="always")
def limit_step(new: float, old: float, nvt: float, vcrit: float) -> float:
    """Junction step limiting; the usual rule (Nagel, UCB ERL-M520, 1975)."""
    if new > vcrit and abs(new - old) > 2.0 * nvt:
        if old > 0.0:
            arg = 1.0 + (new - old) / nvt
            if arg > 0.0:
                return old + nvt * math.log(arg)
            return vcrit
        return nvt * math.log(new / nvt)
    return new


@nb.njit(cache=True, inline="always")
def soft(u: float) -> tuple[float, float]:
    """log(1 + exp(u)) and its slope."""
    if u > 40.0:
        return u, 1.0
    if u < -40.0:
        return 0.0, 0.0
    e = math.exp(u)
    return math.log1p(e), e / (1.0 + e)


@nb.njit(cache=True, inline="always")
def clamp(d: float, top: float) -> tuple[float, float]:
    """d held softly between 0 and top (both knees 1 % of top wide), and its slope."""
    w = 0.01 * top
    a, ga = soft(d / w)
    b, gb = soft((d - top) / w)
    return w * (a - b), ga - gb


@nb.njit(cache=True, inline="always")
def land(new: float, old: float, low: float, high: float) -> float:
    """Keep a step from jumping over a flat law's sloping part: stop it on the near knee."""
    if old <= low and new >= high:
        return low
    if old >= high and new <= low:
        return high
    return new
