"""Compiled: find the beat of an oscillation, and leap over beats that only repeat a slow drift.

Every store is watched for turning points; the first inductor (failing that, capacitor) that turns
often enough keeps time. A beat ends where that store has risen a fifth of its last swing from its
lowest point, so every beat is cut at the same phase.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from halfsplit.circuit import elements as el
from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.compiled_step import MARCH, TIME
from halfsplit.circuit.example import ARRAYS, REAL, VECTOR
from halfsplit.circuit.jit import jit_inner
from halfsplit.circuit.topology import Arrays

RING = 16  # beats remembered
TURN = 0.2  # share of the last swing that makes a turning point
FADE = 0.9999  # of a remembered swing a time step; a beat takes some hundred steps
QUIET = 1e-3  # share of a store's scale below which it is not turning
TRUSTED = 4  # turns before an inductor is trusted to keep time; capacitors need three times that
AFTER_LEAP, OVER = 3, 6  # beats left to settle after a leap, beats the drift is measured over
STRIDE = 0.1  # share of its scale a store may be carried in one leap
FARTHEST = 3000.0  # beats in one leap
LONGEST = 5000.0  # beats a store may be carried in one leap at all
LITTLE = 1.0  # V or A, what counts as its scale at least, where leaps are concerned
CLOCK, BEATS, SINCE, LEAPS, GONE = range(5)

Room = npt.NDArray[np.float64]


class Pace(NamedTuple):
    """Turning points of every store (E), and the last beats of the one that keeps time."""

    dir: Room  # +1 rising, -1 falling
    extreme: Room
    peak: Room
    swing: Room
    turns: Room
    at: Room  # (RING) times of beats
    held: Room  # (RING, E) stores at them
    rate: Room  # (2, E) drift a beat before the last leap and now
    most: Room  # (E) beats of drift a store may be carried at once: it settles within about these
    cap: Room  # (1) most beats in a leap: fewer once one was followed by a silence
    marks: npt.NDArray[np.int64]  # (5) clock store, beats, since leap, leaps, gone


def make_pace(ar: Arrays) -> Pace:
    """Nothing known yet."""
    e = ar.code.size
    marks = np.zeros(5, dtype=np.int64)
    marks[CLOCK] = -1
    return Pace(
        np.zeros(e),
        np.zeros(e),
        np.zeros(e),
        np.zeros(e),
        np.zeros(e),
        np.zeros(RING),
        np.zeros((RING, e)),
        np.zeros((2, e)),
        np.full(e, LONGEST),
        np.full(1, FARTHEST),
        marks,
    )


PACE = make_pace(ARRAYS)


@jit_inner
def _beat(ar, m, h, c, e, level):  # type: ignore[no-untyped-def]
    """Enter a beat, its time and every store interpolated to where the clock passed `level`."""
    rise = m.q0[e, 0] - m.q1[e, 0]
    part = 1.0
    if rise > 0.0:
        part = min(max((level - m.q1[e, 0]) / rise, 0.0), 1.0)
    k = c.marks[BEATS] % RING
    c.at[k] = m.ctl[TIME] - h * (1.0 - part)
    for s in ar.store:
        c.held[k, s] = m.q1[s, 0] + part * (m.q0[s, 0] - m.q1[s, 0])
        # An inrush long past must not set what error is small: the scale is that of late beats.
        m.scale[s] *= 0.9
    c.marks[BEATS] += 1
    c.marks[SINCE] += 1


@jit_apart(ARRAYS, VECTOR, MARCH, REAL, PACE)
def watch(ar, p, m, h, c):  # type: ignore[no-untyped-def]
    """Look at the step just taken. Returns True when it ended a beat."""
    beat = False
    for e in ar.store:
        code, o = ar.code[e], ar.offset[e]
        inductor = code == el.INDUCTOR and p[o] > 0.0
        if not inductor and not (code == el.CAPACITOR and p[o] > 0.0):
            continue
        q = m.q0[e, 0]
        c.swing[e] *= FADE  # or one inrush would hide every smaller beat that follows
        threshold = max(TURN * c.swing[e], QUIET * m.scale[e] + 1e-6)
        if c.dir[e] >= 0.0:
            if q > c.extreme[e]:
                c.extreme[e] = q
            elif c.extreme[e] - q > threshold:
                c.peak[e] = c.extreme[e]
                c.dir[e], c.extreme[e] = -1.0, q
        elif q < c.extreme[e]:
            c.extreme[e] = q
        elif q - c.extreme[e] > threshold:
            level = c.extreme[e] + threshold
            # A large swing long past must not hide smaller ones now.
            c.swing[e] = max(c.peak[e] - c.extreme[e], 0.5 * c.swing[e])
            c.dir[e], c.extreme[e] = 1.0, q
            c.turns[e] += 1.0
            if c.marks[CLOCK] < 0 and c.turns[e] >= (TRUSTED if inductor else 3 * TRUSTED):
                c.marks[CLOCK] = e
            if c.marks[CLOCK] == e:
                _beat(ar, m, h, c, e, level)
                beat = True
    return beat


@jit_inner
def interval(c, back):  # type: ignore[no-untyped-def]
    """Seconds between the beats `back` and `back` + 1 beats ago."""
    k = c.marks[BEATS] - 1 - back
    return c.at[k % RING] - c.at[(k - 1) % RING]


@jit_apart(PACE)
def regular(c):  # type: ignore[no-untyped-def]
    """Whether the beats since the last leap came evenly, two by two."""
    if c.marks[SINCE] < AFTER_LEAP + OVER + 1:
        return False
    half = OVER // 2
    late = 0.0
    early = 0.0
    for k in range(half):
        late += interval(c, k)
        early += interval(c, k + half)
    return abs(late - early) < 0.05 * late


@jit_inner
def overleapt(c):  # type: ignore[no-untyped-def]
    """Whether a silence just heard is the last leap's doing, which then was too bold."""
    if c.marks[LEAPS] == 0 or c.marks[SINCE] > AFTER_LEAP:
        return False
    c.cap[0] = max(0.25 * c.marks[GONE], 4.0)
    return True


@jit_apart(ARRAYS, VECTOR, MARCH, PACE)
def leap(ar, p, m, c):  # type: ignore[no-untyped-def]
    """Carry every store along its drift, as far as is fair.

    Returns 2 when nothing has any way left to go, 1 after a leap, 0 when it is too early or the
    drift is no drift.
    """
    last = (c.marks[BEATS] - 1) % RING
    past = (c.marks[BEATS] - 1 - OVER) % RING
    reach = c.cap[0]
    c.cap[0] = min(1.5 * reach, FARTHEST)
    still = True
    slow = False
    for e in ar.store:
        c.rate[1, e] = 0.0
        if ar.code[e] != el.CAPACITOR and ar.code[e] != el.INDUCTOR:
            continue
        whole = c.held[last, e] - c.held[past, e]
        scale = max(m.scale[e], LITTLE)
        rate = whole / OVER
        scatter = 0.0
        for k in range(OVER):
            at = (c.marks[BEATS] - 1 - k) % RING
            step = c.held[at, e] - c.held[(at - 1) % RING, e]
            scatter += (step - rate) ** 2
        if rate * rate * OVER < 9.0 * scatter / OVER:  # within three sigma of standing still
            if abs(whole) > 0.05 * scale:
                return 0  # still ringing
            continue
        c.rate[1, e] = rate
        before = c.rate[0, e]
        if c.marks[LEAPS] > 0:
            # A drift that turned round was carried too far: this store settles faster than the
            # leap was long, so it follows the slower ones by itself and must not hold them up.
            if before * rate < 0.0 and abs(rate) > 0.1 * abs(before):
                c.most[e] = max(0.25 * min(c.most[e], float(c.marks[GONE])), 1.0)
            else:
                c.most[e] = min(1.5 * c.most[e], LONGEST)
        # Beats in which the drift fades e-fold, where two leaps allow to tell.
        fade = 500.0
        if c.marks[LEAPS] > 0 and before * rate > 0.0 and abs(rate) < 0.99 * abs(before):
            fade = min(c.marks[GONE] / np.log(before / rate), LONGEST)
        fast = c.most[e] < fade
        if abs(rate) * min(fade, c.most[e]) > 2e-3 * scale:
            still = False
        if not fast and abs(rate) * fade > 2e-3 * scale:
            slow = True
            reach = min(reach, max(STRIDE * scale / abs(rate), 1.0), 0.9 * fade)
    if still and c.marks[LEAPS] >= 2:
        return 2
    if not slow:
        reach = 0.0  # what still moves settles by itself in a few beats
    beats = np.floor(max(reach, 4.0))
    period = (c.at[last] - c.at[past]) / OVER
    for e in ar.store:
        if ar.code[e] == el.CAPACITOR or ar.code[e] == el.INDUCTOR:
            m.q0[e, 0] += min(beats, c.most[e]) * c.rate[1, e]
        c.rate[0, e] = c.rate[1, e]
    m.ctl[TIME] += beats * period
    for k in range(RING):
        c.at[k] += beats * period  # beats known move along, or the leap would look like a silence
    c.marks[LEAPS] += 1
    c.marks[SINCE] = 0
    c.marks[GONE] = beats + AFTER_LEAP + OVER + 1
    return 1
