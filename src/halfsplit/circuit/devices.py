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
    """Keep a step from jumping over a flat law's sloping part: stop it at each knee on the way.

    From outside it stops on the near knee, from inside on the knee it would leave by. A step that
    starts on a knee is let through, or a solution between the knees could never be reached.
    """
    if (old < low < new) or (low < old <= high and new < low):
        return low
    if (old > high > new) or (low <= old < high and new > high):
        return high
    return new


@nb.njit(cache=True, inline="always")
def bends(new: float, old: float) -> bool:
    """Whether a step along tanh is too long for its tangent; at high gain net voltages hide it."""
    return abs(new - old) > 1e-3 and min(abs(new), abs(old)) < 12.0
