"""Where first-order slopes mislead: the uncertainties drawn all at once, and each draw solved.

A slope says what a small move of one part does. Near a gate or a pull-in threshold, in saturation,
or where a reading has two values, the band it gives is far too narrow. A pilot of a few draws finds
such rows; they are then drawn in full, and what the draws show replaces the slopes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move
from halfsplit.circuit.threads import Progress
from halfsplit.circuit.topology import Topology

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

SEED = 20260101  # any number; the same draws for every row, so that a table never depends on chance
PILOT = 32  # draws that look for trouble: a state one specimen in ten is in is missed 1 time in 29
DRAWS = 300  # of a row in trouble: a 90 % interval then holds 87 to 93 % of specimens at 2 sigma
LINEAR_DRAWS = 1000  # of a row whose slopes hold; no solve, only sums
NONLINEAR = 0.3  # share of the spread that slopes may leave unexplained
FLOOR = 0.003  # V, error not worth a look: a third of the last digit of a bench meter
SIDES = 0.05  # least share of draws that makes a second state worth telling
GAP = 4.0  # times the wider of two clusters' own spread that separates them
GAP_VOLTS = 0.2
SURE = 2.5  # standard errors below which a fitted slope is noise
TOGETHER = 16  # rows whose pilots are solved in one batch
STAND_INS = 3  # directions of common residual kept as moves of their own
BAND = (0.05, 0.95)


def draws(count: int, moves: int) -> Floats:
    """Seeded draws (count, moves) of unit variance, evenly filled (see parts.base.sigma).

    Each move has one draw in each of `count` equal strips of its band, in random order (M. D. McKay
    et al., Technometrics 21(2), 1979): the ends of an interval then hang far less on chance.
    """
    random, edge = np.random.default_rng(SEED), 3.0**0.5
    strips = random.permuted(np.tile(np.arange(count)[:, None], (1, moves)), axis=0)
    found: Floats = (2.0 * (strips + random.random((count, moves))) / count - 1.0) * edge
    return found


def reach(topology: Topology, moves: Sequence[Move], z: Floats) -> Floats:
    """How far each draw takes a move, in units of its one-sigma step (S, K).

    A gain spread by a factor goes further up than down; with that told apart from the circuit's
    own bend, slopes serve many more rows.
    """
    far = z.copy()
    for k, move in enumerate(moves):
        for key, target in move.changes.items():
            old = topology.base[topology.slot[key]]
            ratio = 1.0 + target if move.relative else target / old if old else 0.0
            if ratio > 0.0 and abs(ratio - 1.0) > 1e-9:
                far[:, k] = (ratio ** z[:, k] - 1.0) / (ratio - 1.0)
            break  # the values of one move go together
    return far


class Shaker:
    """Rows of parameters with every uncertainty moved at once by given draws (S, K).

    A value moves by its one-sigma ratio to the power of the draw, so resistances and saturation
    currents never change sign; a value that is zero, or would change sign, moves by differences.
    A parameter a row has overridden keeps its value, as in `circuit.sensitivity`.
    """

    def __init__(self, topology: Topology, moves: Sequence[Move], z: Floats) -> None:
        self.base = topology.base
        keys = dict.fromkeys(topology.slot[k] for m in moves for k in m.changes)
        self.slots = np.array(list(keys), dtype=np.int64)
        at = {slot: i for i, slot in enumerate(keys)}
        power, always, plus = (np.zeros((len(moves), len(at))) for _ in range(3))
        for k, move in enumerate(moves):
            for key, target in move.changes.items():
                slot = topology.slot[key]
                old, i = self.base[slot], at[slot]
                if move.relative:
                    always[k, i] = np.log1p(target)
                elif old * target > 0:
                    power[k, i] = np.log(target / old)
                else:
                    plus[k, i] = target - old
        self.power, self.always, self.plus = np.exp(z @ power), np.exp(z @ always), z @ plus

    def rows(self, row: Floats) -> Floats:
        """One row (P) as each specimen has it (S, P)."""
        own = row[self.slots]
        same = own == self.base[self.slots]
        moved = own * self.always * np.where(same, self.power, 1.0) + np.where(same, self.plus, 0.0)
        found = np.tile(row, (len(moved), 1))
        found[:, self.slots] = moved
        return found


@dataclass(frozen=True)
class Spread:
    """How readings of H rows differ between good specimens; K moves, N nets.

    Attributes
    ----------
    centre: mean over specimens less the marked reading [V] (H, N).
    slopes: change at one sigma of each move [V] (H, K, N).
    loose: what no move explains, at one sigma [V] (H, N).
    band: 5 % and 95 % of specimens read below this, less the marked reading [V] (H, 2, N).
    share: part of the specimens in the first of two states, NaN where there is one (H).
    levels: reading in each of the two states, less the marked reading [V] (H, 2, N).
    sampled: whether a row was drawn rather than taken by its slopes (H).
    """

    centre: Floats
    slopes: Floats
    loose: Floats
    band: Floats
    share: Floats
    levels: Floats
    sampled: Bools


def spread_of(
    topology: Topology,
    rows: Floats,
    at: Floats,
    latched: npt.NDArray[np.int8],
    slopes: Floats,
    moves: Sequence[Move],
    heed: Bools,
    *,
    progress: Progress | None = None,
) -> Spread:
    """Spread of each row: by its slopes where they hold, by draws where they do not.

    Parameters
    ----------
    rows, at, latched: solved rows (B, P), (B, N), (B, E); a row of NaN is left alone.
    slopes: first-order spread of the moves [V] (B, K, N); the last `STAND_INS` are free for use.
    heed: nets whose reading matters (B, N): not those adrift or inside a part.
    """
    count, n = at.shape
    slopes = slopes.copy()
    many = reach(topology, moves, draws(LINEAR_DRAWS, len(moves)))
    found = Spread(
        many.mean(axis=0) @ slopes,
        slopes,
        np.zeros((count, n)),
        np.zeros((count, 2, n)),
        np.full(count, np.nan),
        np.full((count, 2, n), np.nan),
        np.zeros(count, dtype=bool),
    )
    usable = np.flatnonzero(np.isfinite(at).all(axis=1))
    z = draws(DRAWS, len(moves))
    far = reach(topology, moves, z)
    known = z[:, :-STAND_INS]
    around = known - known.mean(axis=0)
    # The draws are independent and twice as many as the moves, so the normal equations are tame.
    inverse = np.linalg.solve(around.T @ around + 1e-9 * np.eye(len(around.T)), around.T)
    pilot, shaker = Shaker(topology, moves, z[:PILOT]), Shaker(topology, moves, z[PILOT:])
    for block in np.array_split(usable, max(len(usable) // TOGETHER, 1)):
        if not len(block):
            continue
        shaken = np.concatenate([pilot.rows(rows[i]) for i in block])
        # Newton starts where the slopes point, which saves it half its steps where they hold.
        begin = np.concatenate([at[i] + far[:PILOT] @ slopes[i] for i in block])
        solved = operating_point(topology, shaken, begin)
        for k, i in enumerate(block):
            one = slice(k * PILOT, (k + 1) * PILOT)
            first = solved.mean[one]
            switched = bool((solved.latched[one] != latched[i]).any())
            if switched or _bent(first - at[i], far[:PILOT] @ slopes[i], heed[i]):
                begin = at[i] + far[PILOT:] @ slopes[i]
                rest = operating_point(topology, shaker.rows(rows[i]), begin).mean
                moved, by_slopes = np.vstack([first, rest]) - at[i], far @ slopes[i]
                wide = np.quantile(many @ slopes[i], BAND, axis=0, method="weibull")
                _take(found, i, z, moved, heed[i], inverse)
                _steady(found, i, moved, by_slopes, wide)
        if progress:
            progress(int(block[-1]) + 1, count)
    for i in np.flatnonzero(~found.sampled):
        found.band[i] = np.quantile(many @ slopes[i], BAND, axis=0, method="weibull")
    return found


def _bent(moved: Floats, expected: Floats, heed: Bools) -> bool:
    """Whether slopes leave too much of the pilot draws (S, N) unexplained at any net heeded."""
    if np.isnan(moved).any():
        return True
    left = np.sqrt(np.mean((moved - expected) ** 2, axis=0))
    whole = np.sqrt(np.maximum(np.mean(moved**2, axis=0), np.mean(expected**2, axis=0)))
    return bool((heed & (left > NONLINEAR * whole) & (left > FLOOR)).any())


def _take(found: Spread, i: int, z: Floats, moved: Floats, heed: Bools, inverse: Floats) -> None:
    """Put what the draws of row `i` show (S, N) into the result."""
    good = np.isfinite(moved).all(axis=1)
    if good.sum() < len(moved) // 2:
        return  # most specimens did not solve: nothing is known that slopes would not say better
    z, moved = z[good], moved[good]
    found.sampled[i] = True
    found.centre[i] = moved.mean(axis=0)
    found.band[i] = np.quantile(moved, BAND, axis=0, method="weibull")
    away = moved - found.centre[i]
    fitted = z[:, :-STAND_INS]
    around = fitted - fitted.mean(axis=0)
    coefficients = (inverse if good.all() else np.linalg.pinv(around)) @ away
    free = max(len(z) - fitted.shape[1] - 1, 1)
    error = np.sqrt(((away - around @ coefficients) ** 2).sum(axis=0) / free / len(z))
    coefficients[np.abs(coefficients) < SURE * error] = 0.0
    left = away - around @ coefficients
    left -= left.mean(axis=0)
    common = _common(left.T @ left / len(z))
    found.slopes[i, :-STAND_INS] = coefficients
    found.slopes[i, -STAND_INS:] = common
    rest = np.maximum((left**2).mean(axis=0) - (common**2).sum(axis=0), 0.0)
    found.loose[i] = np.sqrt(rest)
    _split(found, i, moved, heed)


def _steady(found: Spread, i: int, moved: Floats, by_slopes: Floats, wide: Floats) -> None:
    """Where slopes do hold, take chance out of the band: a control variate.

    `wide` is the band by slopes from many draws (2, N); what these few draws show beyond their own
    band by slopes is added to it.
    """
    if not found.sampled[i] or np.isnan(moved).any():
        return
    left = np.sqrt(np.mean((moved - by_slopes) ** 2, axis=0))
    holds = left < NONLINEAR * moved.std(axis=0)
    few = np.quantile(by_slopes, BAND, axis=0, method="weibull")
    found.band[i] += np.where(holds, wide - few, 0.0)


def _common(shared: Floats) -> Floats:
    """The strongest `STAND_INS` joint movements [V] (STAND_INS, N) in a covariance [V²] (N, N).

    Each follows the net that moves most of what is left: a pivoted Cholesky factor, cut short.
    """
    left = shared.copy()
    found = np.zeros((STAND_INS, len(left)))
    for k in range(STAND_INS):
        net = int(np.argmax(np.diag(left)))
        if left[net, net] > FLOOR**2:
            found[k] = left[net] / np.sqrt(left[net, net])
            left -= np.outer(found[k], found[k])
    return found


def _split(found: Spread, i: int, moved: Floats, heed: Bools) -> None:
    """Note two states where the draws of row `i` fall into two clusters with nothing between."""
    best = 0.0
    count = len(moved)
    least = max(int(SIDES * count), 2)
    for net in np.flatnonzero(heed):
        order = np.argsort(moved[:, net])
        ranked = moved[order, net]
        steps = np.diff(ranked)[least - 1 : count - least]
        cut = int(np.argmax(steps)) + least
        gap = float(ranked[cut] - ranked[cut - 1])
        own = max(float(ranked[:cut].std()), float(ranked[cut:].std()))
        if gap > max(GAP_VOLTS, best) and gap > GAP * own:
            best = gap
            first = np.zeros(count, dtype=bool)
            # The state of the marked values comes first; its reading moved is about zero.
            near_low = abs(ranked[:cut].mean()) <= abs(ranked[cut:].mean())
            first[order[:cut] if near_low else order[cut:]] = True
            found.share[i] = first.mean()
            found.levels[i, 0], found.levels[i, 1] = moved[first].mean(0), moved[~first].mean(0)
