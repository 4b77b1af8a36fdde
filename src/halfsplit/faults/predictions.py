"""A table of predicted readings: what every net reads under every hypothesis in one condition."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.solution import Status, told
from halfsplit.faults.sampling import Drawn
from halfsplit.quantity.volts import volts

Floats = npt.NDArray[np.float64]

# Above this resistance to everything a 10 Mohm meter no longer reads the circuit but its leakage.
ADRIFT = 20e6
# first column of the sizes of a row's own faults
TWO_STATES = 0.1  # V between two states below which a net is said to read the same in both
# Within these two rows read alike: a fifth of a meter's last digit, and a share of reading and of
# spread that no reading could tell.
SAME_VOLTS, SAME_SHARE, SAME_SPREAD = 0.002, 0.0005, 0.05
# What is kept on disk of a table of predictions.
KEPT = ("mean", "ripple", "low", "spread", "ohms", "status", "period", "wave", "hum", "cycle")
STANDING = (int(Status.SOLVED), int(Status.POWERED_UP), int(Status.LATCHED))
UNSOLVED = int(Status.UNSOLVED)
# Rows whose readings are no prediction: nothing may be weighed by them.
UNCLAIMED = (UNSOLVED, int(Status.NOT_SETTLED))


@dataclass(frozen=True)
class Predictions:
    """Readings of H rows in one condition; N nets plus common as a last, zero column.

    Attributes
    ----------
    mean: direct voltage against common [V] (H, N+1).
    ripple: peak-to-peak over a mains cycle [V] (H, N+1).
    low: lowest instant of the cycle [V] (H, N+1).
    spread: change at one sigma of each of K uncertainties [V] (H, K, N+1).
    ohms: resistance seen into the net [ohm] (H, N+1).
    status: one solver status a row (H).
    period: seconds a beat of what oscillates or restarts by itself, or a mains cycle; else 0 (H).
    wave: voltage less its mean, evenly over that period [V] (H, N+1, K); K is 0 where all stand.
    loaded: rows solved with the meter in place (H), for one reading's table; None for none.
    top: largest voltage of the circuit [V], kept by a table of a few nets; None when all are here.
    shift: mean over good specimens less `mean` [V] (H, N+1); None where no row was drawn.
    loose: spread at one sigma that none of the uncertainties explains [V] (H, N+1); None likewise.
    hum: what each net swings by over a mains cycle beside its own beat, mean taken off [V]
        (H, N+1, K); K is 0 where one of the two is all there is.
    cycle: seconds of that mains cycle, 0 likewise (H).
    drawn: rows whose spread was drawn because slopes are no guide to it; see faults.spreads.
    """

    nets: tuple[str, ...]
    mean: Floats
    ripple: Floats
    low: Floats
    spread: Floats
    ohms: Floats
    status: npt.NDArray[np.int8]
    period: Floats
    wave: npt.NDArray[np.float16]
    loaded: npt.NDArray[np.bool_] | None = None
    top: float | None = None
    shift: Floats | None = None
    loose: Floats | None = None
    hum: npt.NDArray[np.float16] = field(default_factory=lambda: np.zeros((0, 0, 0), np.float16))
    cycle: Floats = field(default_factory=lambda: np.zeros(0))
    drawn: Mapping[int, Drawn] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if len(self.hum) != len(self.mean):  # not given
            object.__setattr__(self, "hum", np.zeros((*self.mean.shape, 0), np.float16))
        if len(self.cycle) != len(self.mean):
            object.__setattr__(self, "cycle", np.zeros(len(self.mean)))

    def told(self, row: int) -> str:
        """How a row ended, for people."""
        return told(Status(int(self.status[row])), float(self.period[row]))

    def highest(self) -> float:
        """Largest voltage anywhere under any hypothesis [V]; 10 V when nothing was solved."""
        if self.top is not None:
            return self.top
        return float(np.nanmax(np.abs(self.mean))) if np.isfinite(self.mean).any() else 10.0

    def only(self, nets: Sequence[str]) -> Predictions:
        """The table of a few nets, a small part of the whole."""
        kept = [n for n in dict.fromkeys(nets) if n in self.nets]
        at = [*(self.nets.index(n) for n in kept), len(self.nets)]
        return Predictions(
            tuple(kept),
            self.mean[:, at],
            self.ripple[:, at],
            self.low[:, at],
            self.spread[..., at],
            self.ohms[:, at],
            self.status,
            self.period,
            self.wave[:, at],
            self.loaded,
            self.highest(),
            hum=self.hum[:, at],
            cycle=self.cycle,
        )

    def by_net(self) -> Predictions:
        """The same table, spreads in memory net by net: quicker where nets are asked one by one."""
        spread = np.ascontiguousarray(self.spread.transpose(2, 0, 1)).transpose(1, 2, 0)
        return replace(self, spread=spread)

    def rows(self, order: Sequence[int]) -> Predictions:
        """Rows of the table in another order, some perhaps more than once."""
        at = np.array(order, dtype=np.int64)
        arrays: dict[str, Any] = {name: getattr(self, name)[at] for name in KEPT}
        for name in ("loaded", "shift", "loose"):
            have = getattr(self, name)
            arrays[name] = None if have is None else have[at]
        drawn = {i: self.drawn[k] for i, k in enumerate(order) if k in self.drawn}
        return replace(self, top=self.highest(), drawn=drawn, **arrays)

    def replaced(self, rows: Sequence[int], other: Predictions) -> Predictions:
        """The table with some rows taken from another of the same nets."""
        at = np.array(rows, dtype=np.int64)
        arrays: dict[str, Any] = {}
        for name in KEPT:
            arrays[name] = getattr(self, name).copy()
            arrays[name][at] = getattr(other, name)
        loaded = np.zeros(len(self.mean), dtype=bool) if self.loaded is None else self.loaded.copy()
        loaded[at] = False if other.loaded is None else other.loaded
        return replace(self, loaded=loaded, **arrays)

    def with_draws(self, drawn: Mapping[int, Drawn], nets: Sequence[str]) -> Predictions:
        """The table with some rows' spreads as drawn, of which `nets` are the columns."""
        if not drawn:
            return self
        at = [*(nets.index(n) for n in self.nets), len(nets)]
        spread, shift, loose = (
            self.spread.copy(),
            np.zeros_like(self.mean),
            np.zeros_like(self.mean),
        )
        each = {id(found): found.only(at) for found in drawn.values()}
        mine = {row: each[id(found)] for row, found in drawn.items()}
        for row, found in mine.items():
            spread[row], shift[row], loose[row] = found.slopes, found.centre, found.loose
        return replace(self, spread=spread, shift=shift, loose=loose, drawn=mine)

    def alike(self, other: Predictions, row: int) -> list[int]:
        """Rows that at every net of this table read, and lean on every uncertainty, as a row of
        another table of the same condition does."""
        at = [other.column(n) for n in self.nets]
        mean, spread = other.mean[row, at], other.spread[row][:, at]
        near = np.abs(self.mean[:, :-1] - mean) < SAME_VOLTS + SAME_SHARE * np.abs(mean)
        rows = np.flatnonzero(near.all(axis=1))
        off = np.sqrt(((self.spread[rows, :, :-1] - spread) ** 2).sum(axis=1))
        whole = np.sqrt((spread**2).sum(axis=0))
        same = off < SAME_VOLTS + SAME_SPREAD * whole
        return [int(i) for i in rows[same.all(axis=1)]]

    def bistable(self, row: int, net: str, against: str = "") -> str:
        """In words, the two readings tolerances decide between; "" where there is but one."""
        if row not in self.drawn or not np.isfinite(self.drawn[row].share):
            return ""
        i, j, found = self.column(net), self.column(against), self.drawn[row]
        reads = self.mean[row] + found.levels
        first, second = (float(reads[k, i] - reads[k, j]) for k in (0, 1))
        net = f"{net}:{against}" if against else net
        if abs(first - second) < TWO_STATES:
            return ""
        return (
            f"bistable: {net} reads about {volts(first)} in {100 * found.share:.0f} % of good "
            f"specimens, {volts(second)} otherwise"
        )

    def instants(self, row: int, a: int, b: int) -> Floats:
        """Volts from net column `a` to `b` at instants evenly over all a row goes through (M)."""
        level = self.mean[row, a] - self.mean[row, b]
        beat = self.wave[row, a].astype(float) - self.wave[row, b].astype(float)
        found = level + (beat if beat.size else np.zeros(1))
        if self.hum.shape[2]:
            hum = self.hum[row, a].astype(float) - self.hum[row, b].astype(float)
            found = (found[:, None] + hum).ravel()
        return np.asarray(found)

    def column(self, net: str) -> int:
        """Column of a net; common is the last."""
        return self.nets.index(net) if net in self.nets else len(self.nets)


def joined(tables: Sequence[Predictions]) -> Predictions:
    """Rows of several tables of the same nets, none with draws, one under the other."""
    arrays: dict[str, Any] = {n: np.concatenate([getattr(t, n) for t in tables]) for n in KEPT}
    marks = [np.zeros(len(t.mean), dtype=bool) if t.loaded is None else t.loaded for t in tables]
    loaded = np.concatenate(marks)
    return replace(tables[0], loaded=loaded if loaded.any() else None, **arrays)
