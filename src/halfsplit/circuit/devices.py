"""Device equations, compiled: current and slope of each nonlinear element at given voltages.

Each junction voltage is limited per Newton step so that no exponential is ever evaluated far from
where the last step left it; the current is then carried to the asked voltage along its tangent.
"""

from __future__ import annotations

import math

from halfsplit.circuit.apart import jit_within
from halfsplit.circuit.example import REAL

_LOG_MAX = 80.0  # exponent at which a junction current is continued as a straight line
_ROOT2 = math.sqrt(2.0)


@jit_within(REAL)
def grow(u: float) -> tuple[float, float]:
    """exp(u) and its slope, continued as a line where exp would overflow."""
    if u > _LOG_MAX:
        top = math.exp(_LOG_MAX)
        return top * (1.0 + u - _LOG_MAX), top
    if u < -_LOG_MAX:
        return 0.0, 0.0
    e = math.exp(u)
    return e, e


@jit_within(REAL, REAL, REAL, REAL)
def limit_step(new: float, old: float, nvt: float, sat: float) -> float:
    """Junction step limiting, the usual rule (Nagel, UCB ERL-M520, 1975)."""
    if abs(new - old) <= 2.0 * nvt or sat <= 0.0:  # nearly every late step; spares a logarithm
        return new
    vcrit = nvt * math.log(nvt / (_ROOT2 * sat))
    if new > vcrit:
        if old > 0.0:
            arg = 1.0 + (new - old) / nvt
            if arg > 0.0:
                return old + nvt * math.log(arg)
            return vcrit
        return nvt * math.log(new / nvt)
    return new


@jit_within(REAL)
def soft(u: float) -> tuple[float, float]:
    """log(1 + exp(u)) and its slope."""
    if u > 40.0:
        return u, 1.0
    if u < -40.0:
        return 0.0, 0.0
    e = math.exp(u)
    return math.log1p(e), e / (1.0 + e)


@jit_within(REAL, REAL)
def clamp(d: float, top: float) -> tuple[float, float]:
    """d held softly between 0 and top (both knees 1 % of top wide), and its slope."""
    w = 0.01 * top
    a, ga = soft(d / w)
    b, gb = soft((d - top) / w)
    return w * (a - b), ga - gb


@jit_within(REAL, REAL, REAL, REAL)
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


@jit_within(REAL, REAL)
def bends(new: float, old: float) -> bool:
    """Whether a step along tanh is too long for its tangent; at high gain net voltages hide it."""
    return abs(new - old) > 1e-3 and min(abs(new), abs(old)) < 12.0
