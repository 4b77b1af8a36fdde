"""The dead dictionary: what one meter shows between two nets, machine off, under every hypothesis.

Apart from the powered dictionary (:mod:`halfsplit.faults.dictionary`) because a resistance depends
on the pair, the polarity and the meter, and because over-range is a reading too.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit import __version__
from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import SOLVER_DIGEST
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.sensitivity import Move
from halfsplit.faults.beats import UNKNOWN_SPREAD
from halfsplit.faults.dead import Ask, DeadCircuit, DeadReadings, meter_sigma
from halfsplit.faults.dictionary import SIZE_AT, STAND_IN
from halfsplit.faults.hypotheses import SIZES, Hypothesis
from halfsplit.faults.ohmmeter import FLOOR, Ohmmeter
from halfsplit.faults.store import cache_folder, load_arrays, store_arrays

Floats = npt.NDArray[np.float64]
Pair = tuple[str, str]  # red lead's net, black lead's net


WIDEST = 3.0  # sigmas on the logarithm of ohms that still say anything


def _between(a: Floats, b: Floats) -> Floats:
    """Logarithmic mean of positive values: their difference over that of their logarithms."""
    away = np.log(a / b)
    near = np.abs(away) < 1e-6
    return np.where(near, a, (a - b) / np.where(near, 1.0, away))


@dataclass(frozen=True)
class DeadTable:
    """One meter between one pair, H hypotheses, on the meter's scale (see Ohmmeter.scale).

    Attributes
    ----------
    x: predicted reading (H); `top`: where over-range begins, on the same scale.
    over: whether the meter would show OL (H).
    slope: change at one sigma of each of K uncertainties (H, K).
    model: one sigma of leads, dirt, models and test current (H).
    range: range the meter would be on (H); `ok`: whether the row solved (H).
    """

    x: Floats
    top: float
    over: npt.NDArray[np.bool_]
    slope: Floats
    model: Floats
    range: npt.NDArray[np.int64]
    ok: npt.NDArray[np.bool_]

    def sigma(self, meter: Ohmmeter, read: float | None = None, resolution: float = 0.0) -> Floats:
        """One sigma of a reading on its scale, apart from what is learnt about tolerances (H).

        The meter's own error goes by the prediction, and by what was `read` when something was. It
        is ohms, and nought shows as 0.5 on the scale: taken as a share of what was read, a short
        on a meter of coarse digits would fit whatever is predicted. So it is a share of the
        logarithmic mean of the two, which keeps how many sigmas they lie apart in ohms.
        """
        value = np.array([meter.unscale(v) for v in self.x])
        if read is None:
            return np.asarray(np.hypot(self.model, meter_sigma(meter, value, self.range)))
        taken = np.full_like(value, read)
        if read == 0.0 and meter.test == "diode":
            resolution = 0.0  # nought is typed as 0, whatever the digits shown
        claim = meter.limit(taken, self.range, resolution) / 2.0
        if meter.test == "ohms":
            claim = np.minimum(claim, meter.limit(value, self.range, resolution) / 2.0)
            claim = claim / _between(value + FLOOR, taken + FLOOR)
        return np.asarray(np.hypot(self.model, np.minimum(claim, WIDEST)))

    def shown(self, meter: Ohmmeter) -> tuple[Floats, Floats]:
        """What the meter shows, and one sigma of that apart from tolerances [ohm or V] (H); where
        it shows OL, the top of its range."""
        value = np.array([meter.unscale(float(v)) for v in np.minimum(self.x, self.top)])
        model = self.model * (value + FLOOR) if meter.test == "ohms" else self.model
        sigma = np.hypot(model, meter.limit(value, self.range) / 2.0)
        return value, np.where(self.over, 0.0, sigma)

    def bands(self, meter: Ohmmeter) -> tuple[Floats, Floats]:
        """What the meter may show with tolerances as marked, at two sigma [ohm or V] (H).

        Tolerances are shares of a reading and spread on the scale. The meter's own error near
        nought is counts, which are ohms however little is read: as a share it would have no bounds,
        and a short would reach up to any resistor.
        """
        value = np.array([meter.unscale(float(v)) for v in self.x])
        wide = 2.0 * np.hypot(self.model, np.sqrt((self.slope**2).sum(axis=1)))
        down, up = wide, wide
        if meter.test == "ohms":
            down, up = -(value + FLOOR) * np.expm1(-wide), (value + FLOOR) * np.expm1(wide)
        below, above = meter.reach(value, self.range)
        low = np.maximum(value - np.hypot(down, below), 0.0)
        return np.asarray(low), np.asarray(value + np.hypot(up, above))

    def apart(self, i: int, j: int, bands: tuple[Floats, Floats], top: float) -> bool:
        """Whether the meter tells variant i from j: their `bands` do not meet.

        Over-range begins at `top` [ohm or V].
        """
        low, high = bands
        if not (self.ok[i] and self.ok[j]) or (self.over[i] and self.over[j]):
            return False
        if self.over[i] or self.over[j]:
            return bool(high[j if self.over[i] else i] < top)
        return bool(low[i] > high[j] or low[j] > high[i])


def dead_tables(
    circuit: DeadCircuit,
    pairs: Sequence[Pair],
    condition: Condition,
    meter: Ohmmeter,
    variants: Sequence[tuple[Overrides, Overrides]],
    moves: Sequence[Move],
    sizes: Sequence[Sequence[Overrides]] | None = None,
) -> dict[Pair, DeadTable]:
    """Tables of several pairs over the same variants, solved as one batch.

    A variant is a fault, which the condition may undo, and changes laid over fault and condition;
    `sizes` what its faults change at another size.
    """
    asks = [Ask(red, black, fault, laid) for red, black in pairs for fault, laid in variants]
    found = circuit.read(asks, condition, meter)
    slope, current = circuit.slopes(asks, found, meter, moves)
    lost = np.asarray(np.isnan(slope).any(axis=1))
    slope = np.clip(np.nan_to_num(slope), -5.0, 5.0)
    current = np.clip(np.nan_to_num(current), -5.0, 5.0)
    if sizes is not None and moves and moves[-1].name == STAND_IN:
        _sized(circuit, pairs, condition, meter, variants, sizes, found, slope)
    tables = {}
    for k, pair in enumerate(pairs):
        at = slice(k * len(variants), (k + 1) * len(variants))
        model = circuit.model_sigma(pair, found.value[at], meter, current[at])
        model = np.where(lost[at], np.hypot(model, UNKNOWN_SPREAD), model)
        tables[pair] = DeadTable(
            meter.scale(np.nan_to_num(found.value[at])),
            float(meter.scale(np.array(meter.ranges[-1].top))),
            found.over[at],
            slope[at],
            model,
            found.range[at],
            found.ok[at],
        )
    return tables


def _sized(
    circuit: DeadCircuit,
    pairs: Sequence[Pair],
    condition: Condition,
    meter: Ohmmeter,
    variants: Sequence[tuple[Overrides, Overrides]],
    sizes: Sequence[Sequence[Overrides]],
    found: DeadReadings,
    slope: Floats,
) -> None:
    """Fill the columns of fault sizes (see the powered dictionary) of all pairs."""
    for k in range(SIZES):
        due = [i for i, listed in enumerate(sizes) if len(listed) > k]
        if not due:
            return
        asks = [
            Ask(red, black, {**variants[i][0], **sizes[i][k]}, variants[i][1])
            for red, black in pairs
            for i in due
        ]
        moved = circuit.read(asks, condition, meter)
        rows = [p * len(variants) + i for p in range(len(pairs)) for i in due]
        before = meter.scale(np.nan_to_num(found.value[rows]))
        change = meter.scale(np.nan_to_num(moved.value)) - before
        usable = moved.ok & found.ok[rows]
        slope[rows, SIZE_AT + k] = np.clip(np.where(usable, change, 0.0), -5.0, 5.0)


class DeadDictionary:
    """Dead tables kept in memory and on disk, keyed by pair, meter profile and condition."""

    def __init__(
        self, machine: Machine, hypotheses: Sequence[Hypothesis], moves: Sequence[Move]
    ) -> None:
        self.circuit = DeadCircuit(machine)
        self.faults, self.moves = [h.changes for h in hypotheses], list(moves)
        self.sizes = [h.sizes for h in hypotheses]
        self._known: dict[tuple[Pair, Condition, Ohmmeter], DeadTable] = {}

    def get(self, pair: Pair, condition: Condition, meter: Ohmmeter) -> DeadTable:
        """Predictions of every hypothesis, computed at most once."""
        return self.many([pair], condition, meter)[pair]

    def kept(self, pairs: Sequence[Pair], condition: Condition, meter: Ohmmeter) -> bool:
        """Whether the tables of these pairs are in memory or on disk."""
        at = replace(condition, feed="off")
        return all(
            (p, at, meter) in self._known or self._path(p, at, meter).exists() for p in pairs
        )

    def many(
        self, pairs: Sequence[Pair], condition: Condition, meter: Ohmmeter
    ) -> dict[Pair, DeadTable]:
        """Tables of several pairs; those not known yet are solved as one batch."""
        condition = replace(condition, feed="off")
        missing = []
        for pair in pairs:
            key = (pair, condition, meter)
            if key not in self._known:
                stored = _restored(load_arrays(self._path(*key)))
                if stored is None:
                    missing.append(pair)
                else:
                    self._known[key] = stored
        if missing:
            variants: list[tuple[Overrides, Overrides]] = [(f, {}) for f in self.faults]
            made = dead_tables(
                self.circuit, missing, condition, meter, variants, self.moves, self.sizes
            )
            for pair, table in made.items():
                self._known[pair, condition, meter] = table
                arrays = {name: getattr(table, name) for name in _FIELDS}
                store_arrays(self._path(pair, condition, meter), arrays)
        return {pair: self._known[pair, condition, meter] for pair in pairs}

    @cached_property
    def _machine(self) -> bytes:
        topology = self.circuit.topology
        digest = hashlib.sha256(f"dead 3 {__version__} {SOLVER_DIGEST}".encode())
        digest.update(topology.base.tobytes())
        listed = [(e.name, type(e).__name__, e.nets) for e in topology.netlist]
        digest.update(repr((topology.nets, listed)).encode())
        digest.update(repr([sorted(f.items()) for f in self.faults]).encode())
        digest.update(repr([[sorted(s.items()) for s in one] for one in self.sizes]).encode())
        digest.update(repr([(m.name, sorted(m.changes.items())) for m in self.moves]).encode())
        return digest.digest()

    def _path(self, pair: Pair, condition: Condition, meter: Ohmmeter) -> Path:
        digest = hashlib.sha256(self._machine)
        state = sorted(self.circuit.state(condition).items())
        digest.update(repr((pair, meter.as_dict(), state)).encode())
        return cache_folder() / "dead" / f"{digest.hexdigest()[:32]}.npz"


_FIELDS = [f.name for f in fields(DeadTable)]


def _restored(found: dict[str, npt.NDArray[Any]] | None) -> DeadTable | None:
    """A table from what was kept; None when that was nothing or not all."""
    if found is None or not set(_FIELDS) <= set(found):
        return None
    named: dict[str, Any] = {**found, "top": float(found["top"])}
    return DeadTable(**named)
