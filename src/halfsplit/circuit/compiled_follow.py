"""Compiled: follow a row from switch-on until it stands still, oscillates evenly, or restarts."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from halfsplit.circuit import elements as el
from halfsplit.circuit.apart import jit_apart
from halfsplit.circuit.compiled_cycle import one_period
from halfsplit.circuit.compiled_op import BALANCE, WARM, settle
from halfsplit.circuit.compiled_pace import (
    BEATS,
    CLOCK,
    LEAPS,
    OVER,
    PACE,
    SINCE,
    TRUSTED,
    Pace,
    interval,
    leap,
    make_pace,
    overleapt,
    regular,
    watch,
)
from halfsplit.circuit.compiled_silence import (
    EVERY,
    HEARD,
    LEFT,
    SILENCES,
    SILENT,
    Silences,
    make_silences,
    silence,
)
from halfsplit.circuit.compiled_step import (
    AMPS,
    COUNT,
    KNOWN,
    MARCH,
    TIME,
    VOLTS,
    March,
    advance,
    make_march,
    restart,
    unbalanced,
)
from halfsplit.circuit.compiled_tally import TALLY, Tally, clear, copy, make_tally, note
from halfsplit.circuit.example import ARRAYS, FLAG, REAL, VECTOR
from halfsplit.circuit.jit import jit, jit_inner
from halfsplit.circuit.kernel import REST, WORK, Rest, Work, make_rest, make_work, residual
from halfsplit.circuit.room import fill2, put, put2
from halfsplit.circuit.solution import SAMPLES, Status
from halfsplit.circuit.topology import Arrays

# Errors of a step as shares of a store's largest value; once the beats are even all goes on with a
# quarter of them, for what is shown is measured then.
VOLTS_SHARE, AMPS_SHARE, FINER = 2e-3, 1e-3, 0.25
PAUSE = 12.0  # times the beat: a longer silence is a restart, not a beat
# Times the beat: as long as this it may be waiting for what a leap carried too far.
STUNNED = 50.0
KICK = 0.02  # share of its scale every store is moved by to see whether a standstill is stable
# A slower beat [s] is heard as single ticks: attempts to start, not a switching frequency.
TICK = 0.02
# Beats without another silence after which one is taken for part of starting up. What ran longer
# and fell silent all the same, twice, goes on doing so, each attempt through a whole soft start, as
# a crowbar makes it; nothing of those is leapt over.
PATIENCE, LONG_PATIENCE = 40, 3000
# Leaps after which the march goes on plainly, and its averages over spells decide.
ENOUGH = 150
HORIZON = 0.01  # s
SPELL = 64  # beats averaged over when they never come even
# Beats of the clock left to pass after a leap, before anything is averaged, where another choke has
# a rhythm of its own: a leap takes that one to no phase it ever had, and it is longer coming back.
PLAIN = 24
_STILL, _FAILED, _MOVING = int(Status.SOLVED), int(Status.UNSOLVED), int(Status.NOT_SETTLED)
_EVEN, _AGAIN, _LATCHED = int(Status.OSCILLATING), int(Status.RESTARTING), int(Status.LATCHED)

Room = npt.NDArray[np.float64]


@jit_apart(ARRAYS, VECTOR, MARCH, WORK, REST)
def standstill(ar, p, m, w, s):  # type: ignore[no-untyped-def]
    """Solve for the direct-current state nearest; True when the march has arrived at it."""
    x, hq, latch, keep = s.x, s.hq, s.latch, s.keep
    put(x, m.x)
    put(latch, m.latch)
    put2(keep, w.vj)
    fill2(hq, 0.0)
    found = settle(ar, p, x, hq, latch, WARM, w)
    if found:
        for i in range(ar.n):
            if abs(x[i] - m.x[i]) > 2e-3 + 2e-3 * abs(x[i]):
                found = False
    if not found:
        put2(w.vj, keep)
    return found


@jit_apart(ARRAYS, VECTOR, MARCH, VECTOR)
def nudge(ar, p, m, x):  # type: ignore[no-untyped-def]
    """Put every store where the standstill has it, a little off."""
    put(m.x, x)
    for e in ar.store:
        o = ar.offset[e]
        v = x[ar.nodes[e, 0]] - x[ar.nodes[e, 1]]
        if ar.code[e] == el.CAPACITOR:
            m.q0[e, 0] = v * (1.0 + KICK)
        elif ar.code[e] == el.INDUCTOR:
            i = v / p[o + 1]
            m.q0[e, 0] = i + KICK * (abs(i) + 0.02 * m.scale[e])
    restart(m, 1e-9)


@jit_inner
def refine(m, c):  # type: ignore[no-untyped-def]
    """Go on with finer steps; the beats are counted anew."""
    m.ctl[VOLTS] *= FINER
    m.ctl[AMPS] *= FINER
    c.marks[SINCE] = 0


@jit_inner
def second_rhythm(ar, c):  # type: ignore[no-untyped-def]
    """Whether a choke besides the clock turns by itself."""
    for e in ar.store:
        if e != c.marks[CLOCK] and ar.code[e] == el.INDUCTOR and c.turns[e] >= TRUSTED:
            return True
    return False


@jit_inner
def even(c, period):  # type: ignore[no-untyped-def]
    """Take the time of the last beats; how such a row is told."""
    total = 0.0
    for k in range(OVER):
        total += interval(c, k)
    period[0] = total / OVER
    return _AGAIN if period[0] > TICK else _EVEN


@jit_inner
def fired(ar, latch):  # type: ignore[no-untyped-def]
    """Whether any thyristor is on."""
    on = False
    for e in ar.curved:
        on |= ar.code[e] == el.SCR and latch[e] == 1
    return on


@jit_apart(
    ARRAYS, VECTOR, REAL, REAL, FLAG, MARCH, WORK, TALLY, TALLY, PACE, SILENT, REST, VECTOR, VECTOR
)
def follow_row(ar, p, stop, most, kick, m, w, y, spell, c, d, s, old, period):  # type: ignore[no-untyped-def]
    """March one row to its end. `y` is left with the tally to report; returns the status."""
    kicked = not kick
    next_try = 1e-3
    beat = 0.0
    ran, relapses = 0, 0
    patience = 0
    spells = 0
    in_spell = 0
    fine = False
    plain = -1  # beats since nothing had any way left to go, where they are counted
    while m.ctl[COUNT] < most and m.ctl[TIME] < stop:
        h = advance(ar, p, m, w, 1.0)
        if h < 0.0:
            return _FAILED
        clock = c.marks[CLOCK]
        note(ar, m, h, clock, y)
        note(ar, m, h, clock, spell)
        if h > next_try and m.ctl[KNOWN] >= 3.0:
            # Nothing has asked for a short step for long: perhaps it stands still.
            if standstill(ar, p, m, w, s):
                if kicked:
                    put(m.x, s.x)
                    put(m.latch, s.latch)
                    return _LATCHED if fired(ar, s.latch) else _STILL
                kicked = True
                nudge(ar, p, m, s.x)
                next_try = 1e-3
            else:
                next_try = min(2.0 * h, 0.5)
        if not watch(ar, p, m, h, c):
            continue
        n = c.marks[BEATS]
        if n < 3:
            clear(y)
            clear(spell)
            continue
        gap = interval(c, 0)
        if beat > 0.0 and gap > PAUSE * beat and not (gap > STUNNED * beat and overleapt(c)):
            if silence(ar, m, d):
                period[0] = d.at[d.marks[HEARD] % SILENCES] - d.begun[0]
                copy(spell, y)
                return _AGAIN
            beat = min(3.0 * beat, gap)  # or a first quick ringing would make every beat a pause
            if d.marks[LEFT] == 0 or d.marks[LEFT] == d.marks[EVERY]:
                clear(spell)
            clear(y)
            plain = -1
            c.marks[SINCE] = 0
            relapses += ran > PATIENCE and gap > TICK
            if relapses > 1:
                patience = LONG_PATIENCE
            ran = 0
            continue
        beat = gap if beat == 0.0 else 0.7 * beat + 0.3 * gap
        ran += 1
        if plain >= 0:
            plain += 1
            if plain == PLAIN:
                clear(y)
            elif plain == 2 * PLAIN:
                return even(c, period)
            continue
        if regular(c) and gap > TICK:
            period[0] = gap
            return _AGAIN
        if ran > LONG_PATIENCE:
            d.marks[LEFT] = 0
        if d.marks[LEFT] > 0 or (d.marks[HEARD] > 0 and ran <= PATIENCE):
            continue  # an attempt, or what may be one, is tallied whole
        if ran > patience and regular(c) and c.marks[LEAPS] < ENOUGH:
            done = leap(ar, p, m, c)
            if done == 2:
                how = even(c, period)
                if how == _EVEN and fine and second_rhythm(ar, c):
                    plain = 0
                    continue
                if how == _AGAIN or fine:
                    return how
                fine = True
                refine(m, c)
                clear(y)
                clear(spell)
                in_spell = 0
                continue
            if done == 1:
                restart(m, 1e-3 * gap)
                clear(y)
                clear(spell)
                in_spell = 0
                continue
        if c.marks[SINCE] == 4:
            clear(y)  # what is shown leaves out the beats just after a leap
        if c.marks[SINCE] == PLAIN and second_rhythm(ar, c):
            clear(spell)
            in_spell = 0
        in_spell += 1
        if in_spell >= SPELL:
            spells += 1
            in_spell = 0
            worst = 0.0
            # What creeps on must not be taken for an end: its way over the next hundredth of a
            # second counts, not that over the spell alone.
            ahead = max(1.0, HORIZON / spell.span[0])
            for e in ar.store:
                if ar.code[e] == el.CAPACITOR or ar.code[e] == el.INDUCTOR:
                    mean = spell.held[e] / spell.span[0]
                    way = abs(mean - old[e]) * ahead
                    worst = max(worst, way / (0.02 + 0.02 * abs(mean)))
                    old[e] = mean
            if worst < 1.0 and spells >= 3:
                if fine:
                    period[0] = spell.span[0] / SPELL
                    copy(spell, y)
                    return _EVEN
                fine = True
                refine(m, c)
                spells = 1
            clear(spell)
    return _MOVING


class Follow(NamedTuple):
    """All the room one row is followed in."""

    m: March
    w: Work
    y: Tally  # what is reported
    spell: Tally  # the spell being averaged
    c: Pace
    d: Silences
    s: Rest
    old: Room  # (E) means of the spell before
    period: Room  # (1) s


def make_follow(ar: Arrays, error: float) -> Follow:
    """Switched on just now, all discharged; each step's error `error` times the usual one."""
    return Follow(
        make_march(ar, error * VOLTS_SHARE, error * AMPS_SHARE),
        make_work(ar),
        make_tally(ar),
        make_tally(ar),
        make_pace(ar),
        make_silences(ar),
        make_rest(ar),
        np.zeros(ar.code.size),
        np.zeros(1),
    )


@jit
def follow_to_end(  # type: ignore[no-untyped-def]
    ar, p, stop, most, kick, out, wave, times, stores, latched, m, w, y, spell, c, d, s, old, period
):
    """Follow a row into `out` (3, N), `stores` (3, E), `wave` (N, K) and `times` (6).

    `times`: period [s], seconds of it in which the clock rose as a share, seconds followed, steps,
    status, largest unbalanced current [A]. The samples are of one more beat, taken last; NaN where
    there is none to take.
    """
    how = follow_row(ar, p, stop, most, kick, m, w, y, spell, c, d, s, old, period)
    steady = how in (_STILL, _LATCHED)
    span = max(y.span[0], 1e-300)
    for i in range(ar.n):
        out[0, i] = m.x[i] if steady else y.total[i] / span
        out[1, i] = m.x[i] if steady else y.low[i]
        out[2, i] = m.x[i] if steady else y.high[i]
    for e in ar.store:
        held = m.q0[e, 0]
        stores[0, e] = held if steady else y.held[e] / span
        stores[1, e] = held if steady else y.bottom[e]
        stores[2, e] = held if steady else y.top[e]
    times[0] = period[0]
    times[1] = y.span[1] / span
    times[2] = m.ctl[TIME]
    times[3] = m.ctl[COUNT]
    put(latched, m.latch)
    left = np.inf
    if steady:
        fill2(m.hq, 0.0)
        left = residual(ar, p, m.x, m.x, m.hq, m.latch, 0.0, 0.0, 0.0, w)
    elif how != _FAILED:
        left = unbalanced(ar, p, m, w)
    if not left <= BALANCE:
        how = _FAILED
    times[4], times[5] = how, left
    if how in (_STILL, _LATCHED):
        for i in range(ar.n):
            for k in range(wave.shape[1]):
                wave[i, k] = m.x[i]
    elif how in (_FAILED, _MOVING):
        fill2(wave, np.nan)
    else:
        end = m.ctl[TIME] + period[0]
        if not one_period(ar, p, m, w, spell, end, period[0] / SAMPLES, wave):
            fill2(wave, np.nan)
