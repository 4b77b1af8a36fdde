"""Compiled: tell a restart that repeats from the silences between its attempts."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.compiled_step import MARCH, TIME
from halfsplit.circuit.example import ARRAYS
from halfsplit.circuit.jit import jit_inner
from halfsplit.circuit.room import put
from halfsplit.circuit.topology import Arrays

SILENCES = 16  # remembered; one attempt may hold half as many
HEARD, LEFT, EVERY = range(3)
SAME_TIME = 0.03  # share by which two periods may differ
# Share of its scale, and V or A, by which a store may: silences are not all heard at one phase.
SAME_STORE, SAME_FLOOR = 0.08, 1e-3


class Silences(NamedTuple):
    """The last silences, and the period that is being looked at again.

    Attributes
    ----------
    at, held: time of each [s] (SILENCES), and every store at it (SILENCES, E).
    begun: time at which the period looked at began [s] (1).
    marks: silences heard; silences left until the period should be over, and in all of it (3).
    """

    at: npt.NDArray[np.float64]
    held: npt.NDArray[np.float64]
    begun: npt.NDArray[np.float64]
    marks: npt.NDArray[np.int64]


def make_silences(ar: Arrays) -> Silences:
    """None heard yet."""
    e = ar.code.size
    return Silences(
        np.zeros(SILENCES), np.zeros((SILENCES, e)), np.zeros(1), np.zeros(3, dtype=np.int64)
    )


@jit_inner
def again(ar, m, d, back):  # type: ignore[no-untyped-def]
    """Whether every store stands where it stood `back` silences ago."""
    k = d.marks[HEARD]
    for e in ar.store:
        way = abs(d.held[k % SILENCES, e] - d.held[(k - back) % SILENCES, e])
        if way >= SAME_STORE * m.scale[e] + SAME_FLOOR:
            return False
    return True


SILENT = make_silences(ARRAYS)


@jit_apart(ARRAYS, MARCH, SILENT)
def silence(ar, m, d):  # type: ignore[no-untyped-def]
    """Take down a silence; True when it ends a period just like the one before it.

    An attempt may hold several silences (one as the crowbar fires, one as its choke empties), so
    each is held against several before it.
    """
    d.marks[HEARD] += 1
    heard = d.marks[HEARD]
    now, k = m.ctl[TIME], heard % SILENCES
    d.at[k] = now
    put(d.held[k], m.q0[:, 0])
    if d.marks[LEFT] > 0:
        d.marks[LEFT] -= 1
        if d.marks[LEFT] > 0:
            return False
        last = d.begun[0] - d.at[(heard - 2 * d.marks[EVERY]) % SILENCES]
        if again(ar, m, d, d.marks[EVERY]) and abs(now - d.begun[0] - last) < SAME_TIME * last:
            return True
    d.marks[LEFT], d.marks[EVERY] = 0, -1
    for back in range(1, min(heard, SILENCES // 2)):
        if again(ar, m, d, back):
            d.marks[LEFT], d.marks[EVERY] = back, back
            d.begun[0] = now
            break
    return False
