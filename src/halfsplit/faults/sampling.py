"""Where first-order slopes mislead: the uncertainties drawn all at once, and each draw solved.

A slope says what a small move of one part does. Near a gate or a pull-in threshold, in saturation,
or where a reading has two values, the band it gives is far too narrow. A few draws tell at which
nets slopes can be trusted; a row is drawn in full only where they cannot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move
from halfsplit.circuit.topology import Topology
from halfsplit.faults.draws import Specimens, Tail, specimens, straight, strays, tail_of
from halfsplit.faults.shapes import is_bell

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

STAND_INS = 3  # moves at the end of the list kept for what no single move explains
SEED = 20260101  # any number; the same draws for every row, so that a table never depends on chance
PILOT = 32  # draws that look for trouble: a state one specimen in ten is in is missed 1 time in 29
DRAWS = 300  # of a row in trouble: a 90 % interval then holds 87 to 93 % of specimens at 2 sigma
LINEAR_DRAWS = 1000  # where slopes hold; no solve, only sums
NONLINEAR = 0.3  # share of the spread that slopes may leave unexplained
FLOOR = 0.003  # V, error not worth a look: a third of the last digit of a bench meter
SIDES = 0.05  # least share of draws that makes a second state worth telling
GAP = 4.0  # times the wider of two clusters' own spread that separates them
GAP_VOLTS = 0.2
FEW = 4  # columns of a table kept for the next time it is asked for
BAND = (0.05, 0.95)


def draws(count: int, moves: int) -> Floats:
    """Seeded draws (count, moves) of unit variance, evenly filled (see parts.base.sigma).

    Each move has one draw in each of `count` equal strips of its band, in random order (M. D. McKay
    et al., Technometrics 21(2), 1979; from memory, unconfirmed): the ends of an interval then hang
    far less on chance.
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
class Drawn:
    """How readings of one row differ between good specimens; K moves, N nets.

    Attributes
    ----------
    centre: mean over specimens less the marked reading [V] (N).
    slopes: change at one sigma of each move [V] (K, N).
    loose: what no move explains, at one sigma [V] (N).
    band: 5 % and 95 % of specimens read below this, less the marked reading [V] (2, N).
    share: part of the specimens in the first of two states, NaN where there is one.
    levels: reading in each of the two states, less the marked reading [V] (2, N).
    within: spread at one sigma within each of the two states [V] (2, N).
    specimens: the draws themselves where those of some net form no bell, else None.
    tail: those that read as slopes do not tell; None where nobody looked.
    """

    centre: Floats
    slopes: Floats
    loose: Floats
    band: Floats
    share: float
    levels: Floats
    within: Floats
    specimens: Specimens | None = None
    tail: Tail | None = None
    # Of few nets, by columns: every reading weighed again asks for the same two.
    _few: dict[tuple[int, ...], Drawn] = field(default_factory=dict, compare=False, repr=False)

    def only(self, at: Sequence[int]) -> Drawn:
        """Some of the nets, by column; one past the last is common."""
        key = tuple(at)
        known = self._few.get(key)
        if known is not None:
            return known
        past = np.array(key) >= len(self.centre)
        inside = np.where(past, 0, key)

        def columns(values: Floats) -> Floats:
            taken = values[..., inside]
            taken[..., past] = 0.0
            return taken

        made = Drawn(
            columns(self.centre),
            columns(self.slopes),
            columns(self.loose),
            columns(self.band),
            self.share,
            columns(self.levels),
            columns(self.within),
            self.specimens.columns(key) if self.specimens else None,
            self.tail.columns(key) if self.tail else None,
        )
        if len(key) <= FEW:
            self._few[key] = made
        return made


@dataclass(frozen=True)
class Row:
    """One solved row: parameters (P), net voltages (N), slopes (K, N), nets that matter (N)."""

    values: Floats
    at: Floats
    slopes: Floats
    heed: Bools


class Sampler:
    """Draws of one circuit; everything that does not depend on the row is worked out once."""

    def __init__(self, topology: Topology, moves: Sequence[Move]) -> None:
        """The last `STAND_INS` of `moves` are free for what no single move explains."""
        self.topology = topology
        self.still = np.array([not m.changes for m in moves[:-STAND_INS]], dtype=bool)
        self.z = draws(DRAWS, len(moves))
        self.far = reach(topology, moves, self.z)
        self.many = reach(topology, moves, draws(LINEAR_DRAWS, len(moves)))
        self.pilot = Shaker(topology, moves, self.z[:PILOT])
        self.rest = Shaker(topology, moves, self.z[PILOT:])

    def pilots(self, rows: Sequence[Row]) -> Floats:
        """Readings [V] (B, PILOT, N) of a few specimens of each row, less the marked ones."""
        if not rows:
            return np.zeros((0, PILOT, len(self.topology.nets)))
        shaken = np.concatenate([self.pilot.rows(r.values) for r in rows])
        # Newton starts where the slopes point, which saves it half its steps where they hold.
        begin = np.concatenate([r.at + self.far[:PILOT] @ r.slopes for r in rows])
        solved = operating_point(self.topology, shaken, begin).mean
        found: Floats = (
            solved.reshape(len(rows), PILOT, -1) - np.array([r.at for r in rows])[:, None]
        )
        return found

    def bent(self, row: Row, moved: Floats) -> Bools:
        """Nets (N) where slopes leave too much of the pilot draws (PILOT, N) unexplained."""
        expected = self.far[:PILOT] @ row.slopes
        left = np.sqrt(np.mean((moved - expected) ** 2, axis=0))
        whole = np.sqrt(np.maximum(np.mean(moved**2, axis=0), np.mean(expected**2, axis=0)))
        wide = (left > NONLINEAR * whole) & (left > FLOOR)
        return np.asarray(row.heed & (wide | np.isnan(moved).any(axis=0)))

    def draw(self, row: Row, first: Floats) -> Drawn | None:
        """The row drawn in full, given its pilot draws; None when most specimens do not solve,
        as then nothing is known that slopes would not say better.
        """
        begin = row.at + self.far[PILOT:] @ row.slopes
        rest = operating_point(self.topology, self.rest.rows(row.values), begin).mean - row.at
        moved = np.vstack([first, rest])
        good = np.isfinite(moved).all(axis=1)
        if good.sum() < len(moved) // 2:
            return None
        moved = moved[good]
        z = self.z[good][:, :-STAND_INS].copy()
        z[:, self.still] = 0.0  # sizes of faults, which no draw moves
        bells = np.array([is_bell(column) for column in moved.T])
        usual = np.ones(len(moved), dtype=bool)
        _, _, left = straight(z, moved, usual)
        # Those that stray are no guide to the others: these are fitted again without them.
        far = strays(left, row.heed & bells)
        usual &= ~far.any(axis=1)
        centre, coefficients, left = straight(z, moved, usual)
        rest = left[usual]
        common = _common(rest.T @ rest / len(rest))
        loose = np.sqrt(np.maximum((rest**2).mean(axis=0) - (common**2).sum(axis=0), 0.0))
        share, levels, within = _split(moved, row.heed)
        return Drawn(
            centre,
            np.vstack([coefficients, common]),
            loose,
            self._band(row, moved, self.far[good] @ row.slopes),
            share,
            levels,
            within,
            specimens(moved, z - z.mean(axis=0), row.heed, STAND_INS),
            tail_of(left, far, STAND_INS),
        )

    def linear_band(self, slopes: Floats) -> Floats:
        """Band of a row by its slopes (K, N), less the marked reading [V] (2, N)."""
        return _ends(self.many @ slopes)

    def _band(self, row: Row, moved: Floats, by_slopes: Floats) -> Floats:
        """Ends of the draws; where slopes do hold, chance is taken out of them: a control variate.

        What these few draws show beyond their own band by slopes is added to the band by slopes
        from many.
        """
        left = np.sqrt(np.mean((moved - by_slopes) ** 2, axis=0))
        holds = left < NONLINEAR * moved.std(axis=0)
        better = self.linear_band(row.slopes) - _ends(by_slopes)
        found: Floats = _ends(moved) + np.where(holds, better, 0.0)
        return found


def _ends(moved: Floats) -> Floats:
    found: Floats = np.quantile(moved, BAND, axis=0, method="weibull")
    return found


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


def _split(moved: Floats, heed: Bools) -> tuple[float, Floats, Floats]:
    """Share of the first of two states, both levels and their own spreads (2, N).

    NaN unless the draws fall into two clusters with nothing between.
    """
    best, share = 0.0, np.nan
    count = len(moved)
    levels = np.full((2, moved.shape[1]), np.nan)
    within = levels.copy()
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
            share = float(first.mean())
            sides = moved[first], moved[~first]
            levels = np.array([side.mean(axis=0) for side in sides])
            within = np.array([side.std(axis=0) for side in sides])
    return share, levels, within
