"""Predictions of any sets of faults in any condition, each solved at most once.

The single faults are a dictionary kept on disk. Sets found worth looking at are added row by row,
fully with their spreads, or lightly: solved alone, with the spreads of a set they contain, which is
enough to see whether they explain anything. What another size of their faults would change is
their own: a pair may read as neither of the two does, and then hang on sizes as neither does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.sensitivity import owners
from halfsplit.circuit.threads import Progress
from halfsplit.faults.dead_table import DeadDictionary, DeadTable, Pair, dead_tables
from halfsplit.faults.dictionary import SIZE_AT, DictionaryCache, predict
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.ohmmeter import Ohmmeter
from halfsplit.faults.predictions import KEPT, Predictions
from halfsplit.faults.sampling import STAND_INS

Key = frozenset[str]
Arrays = dict[str, npt.NDArray[Any]]
# Two sets within these of a third read as it does at a net.
ALIKE_VOLTS, ALIKE_SHARE = 0.05, 0.02
DEAD_ARRAYS = ("x", "over", "slope", "model", "range", "ok")


@dataclass
class _Shelf:
    """Rows of one condition beyond the dictionary: where each set's row is."""

    tables: list[Predictions] = field(default_factory=list)
    full: dict[Key, tuple[int, int]] = field(default_factory=dict)
    light: dict[Key, tuple[int, int, Key]] = field(default_factory=dict)
    sized: set[Key] = field(default_factory=set)  # of the light, those with spreads of sizes
    dictionary: Predictions | None = None  # of all single faults, once it was asked for


class Book:
    """Predictions for a machine: `standard` hypotheses first, any others on demand."""

    def __init__(self, machine: Machine, standard: Sequence[Hypothesis]) -> None:
        self.machine = machine
        self.standard = list(standard)
        self.dictionary = DictionaryCache(machine, standard)
        self.moves = self.dictionary.moves
        self.owners = owners(self.moves)
        self.dead_circuit = DeadDictionary(machine, standard, self.moves)
        self._shelves: dict[Condition, _Shelf] = {}
        self._dead: dict[tuple[Pair, Condition, Ohmmeter], dict[Key, DeadTable]] = {}

    def table(
        self,
        condition: Condition,
        asked: Sequence[Hypothesis],
        progress: Progress | None = None,
        nets: Sequence[str] | None = None,
        whole: bool = True,
    ) -> Predictions:
        """Predictions of the hypotheses asked for, in their order; of all nets or a few.

        A part fitted like for like changes nothing but the faults that are left, so conditions that
        differ in that alone share their rows. Unless `whole`, the dictionary of a condition met for
        the first time is not made, and only what is asked for is solved.
        """
        shelf = self._shelf(condition, progress, whole)
        keys = [h.left(condition) for h in asked]
        new = {k: h for k, h in zip(keys, asked, strict=True) if k not in shelf.full}
        missing = {k: h for k, h in new.items() if k not in shelf.light}
        if missing:
            self._solve(condition, missing, shelf, progress)
        if keys == self._order and shelf.dictionary is not None:
            return shelf.dictionary if nets is None else shelf.dictionary.only(nets)
        where = [self._where(k, shelf) for k in keys]
        spread = self._spreads(keys, shelf)
        made = _gather(shelf.tables, where, spread, nets)
        added = [
            (i, found) for i, k in enumerate(keys) if (found := self._added(k, shelf)) is not None
        ]
        if added:
            rows = [i for i, _ in added]
            first, second = [spread[i] for i in rows], [at for _, at in added]
            parent, other = (
                _arrays(("mean", "spread"), shelf.tables, at, at, nets) for at in (first, second)
            )
            made = _nearer(made, rows, parent, other)
        light = [i for i, k in enumerate(keys) if k in shelf.sized and k not in shelf.full]
        if not light:
            return made
        own = _arrays(("spread",), shelf.tables, [], [where[i] for i in light], nets)["spread"]
        return _of_own_sizes(made, light, own)

    @staticmethod
    def _added(key: Key, shelf: _Shelf) -> tuple[int, int] | None:
        """Where the fault is that a set solved lightly has beyond the one it was solved after."""
        if key in shelf.full:
            return None
        return shelf.full.get(key - shelf.light[key][2])

    def _shelf(self, condition: Condition, progress: Progress | None, whole: bool) -> _Shelf:
        at = condition.as_drawn()
        shelf = self._shelves.setdefault(at, _Shelf())
        if (whole or self.dictionary.ready(at)) and shelf.dictionary is None:
            shelf.dictionary = self.dictionary.get(at, progress)
            shelf.tables.append(shelf.dictionary)
            place = len(shelf.tables) - 1
            shelf.full |= {k: (place, i) for k, i in self.rows.items()}
        return shelf

    def trim(self) -> None:
        """Let go of everything but the dictionaries: other machines lead to other sets."""
        kept = {c: s.dictionary for c, s in self._shelves.items() if s.dictionary is not None}
        self._shelves, self._dead = {}, {}
        for condition, dictionary in kept.items():
            full = {k: (0, i) for k, i in self.rows.items()}
            self._shelves[condition] = _Shelf([dictionary], full, dictionary=dictionary)

    @cached_property
    def rows(self) -> dict[Key, int]:
        """Row of each standard set in the dictionary; of the two without faults the healthy one."""
        found: dict[Key, int] = {}
        for i, h in enumerate(self.standard):
            found.setdefault(h.key, i)
        return found

    @cached_property
    def _order(self) -> list[Key]:
        return [h.key for h in self.standard]

    def exact(self, condition: Condition, one: Hypothesis) -> bool:
        """Whether a set has spreads of its own in a condition."""
        return one.left(condition) in self._shelves.get(condition.as_drawn(), _Shelf()).full

    def lightly(
        self,
        condition: Condition,
        asked: Sequence[Hypothesis],
        parents: Sequence[Hypothesis],
        progress: Progress | None = None,
    ) -> None:
        """Solve sets that are new in this condition without spreads, which come from `parents` and
        from the fault that each has besides: see `_nearer`."""
        shelf = self._shelf(condition, progress, True)
        new: dict[Key, tuple[Hypothesis, Hypothesis]] = {}
        for h, parent in zip(asked, parents, strict=True):
            key = h.left(condition)
            if key not in shelf.full and key not in shelf.light:
                new[key] = (h, parent)
        if not new:
            return
        laid = [h.laid(condition) for h, _ in new.values()]
        made = predict(
            self.machine,
            condition.as_drawn(),
            laid,
            sizes=[h.sizes_left(condition) for h, _ in new.values()],
            moves=self.moves[SIZE_AT:],
            progress=progress,
        )
        shelf.tables.append(made)
        place = len(shelf.tables) - 1
        for i, (key, (_, parent)) in enumerate(new.items()):
            shelf.light[key] = (place, i, parent.left(condition))
            if made.spread[i, :-STAND_INS].any():  # not so where slopes could not be had
                shelf.sized.add(key)

    def fully(self, condition: Condition, asked: Sequence[Hypothesis]) -> None:
        """Give sets solved lightly their own spreads."""
        shelf = self._shelf(condition, None, True)
        due = {h.left(condition): h for h in asked}
        missing = {k: h for k, h in due.items() if k not in shelf.full}
        if missing:
            self._solve(condition, missing, shelf, None)

    def _solve(
        self,
        condition: Condition,
        missing: Mapping[Key, Hypothesis],
        shelf: _Shelf,
        progress: Progress | None,
    ) -> None:
        made = predict(
            self.machine,
            condition.as_drawn(),
            [h.laid(condition) for h in missing.values()],
            sizes=[h.sizes_left(condition) for h in missing.values()],
            moves=self.moves,
            progress=progress,
        )
        shelf.tables.append(self.dictionary.sloped(condition.as_drawn(), made, progress))
        place = len(shelf.tables) - 1
        shelf.full |= {k: (place, i) for i, k in enumerate(missing)}

    @staticmethod
    def _where(key: Key, shelf: _Shelf) -> tuple[int, int]:
        return shelf.full[key] if key in shelf.full else shelf.light[key][:2]

    def _spreads(self, keys: Sequence[Key], shelf: _Shelf) -> list[tuple[int, int]]:
        """Where the spreads of each are: its own, or of the set it was solved lightly after."""
        found = []
        for key in keys:
            seen = key
            while seen not in shelf.full:
                parent = shelf.light[seen][2] if seen in shelf.light else frozenset()
                seen = parent if len(parent) < len(seen) else frozenset()
            found.append(shelf.full[seen])
        return found

    def dead(
        self,
        pairs: Sequence[Pair],
        condition: Condition,
        meter: Ohmmeter,
        asked: Sequence[Hypothesis],
    ) -> dict[Pair, DeadTable]:
        """Dead tables of several pairs for the hypotheses asked for, in their order."""
        at = replace(condition, feed="off").as_drawn()
        base = self.dead_circuit.many(pairs, at, meter)
        keys = [h.left(condition) for h in asked]
        if keys == self._order:
            return base
        known = self.rows
        due = {k: h for k, h in zip(keys, asked, strict=True) if k not in known}
        for pair in pairs:
            shelf = self._dead.setdefault((pair, at, meter), {})
            listed = [(k, h) for k, h in due.items() if k not in shelf]
            if listed:
                made = dead_tables(
                    self.dead_circuit.circuit,
                    [pair],
                    at,
                    meter,
                    [(h.laid(condition), {}) for _, h in listed],
                    self.moves,
                    [h.sizes_left(condition) for _, h in listed],
                )[pair]
                for i, (k, _) in enumerate(listed):
                    shelf[k] = _one(made, i)
        found = {}
        for pair in pairs:
            shelf, whole = self._dead[pair, at, meter], base[pair]
            rows = [_one(whole, known[k]) if k in known else shelf[k] for k in keys]
            found[pair] = _joined(rows)
        return found


def _gather(
    tables: Sequence[Predictions],
    where: Sequence[tuple[int, int]],
    spread: Sequence[tuple[int, int]],
    nets: Sequence[str] | None,
) -> Predictions:
    """One table of rows taken from several, of all their nets or a few."""
    arrays: dict[str, Any] = _arrays(KEPT, tables, where, spread, nets)
    return Predictions(_kept(tables[0], nets), top=tables[0].highest(), **arrays)


def _kept(first: Predictions, nets: Sequence[str] | None) -> tuple[str, ...]:
    if nets is None:
        return first.nets
    return tuple(dict.fromkeys(n for n in nets if n in first.nets))


def _arrays(
    names: Sequence[str],
    tables: Sequence[Predictions],
    where: Sequence[tuple[int, int]],
    spread: Sequence[tuple[int, int]],
    nets: Sequence[str] | None,
) -> Arrays:
    first = tables[0]
    columns = np.array([*(first.nets.index(n) for n in _kept(first, nets)), len(first.nets)])
    arrays: Arrays = {}
    for name in names:
        # Spreads are kept net by net in memory, and are gathered so.
        by_net = name == "spread"
        at = np.array(spread if by_net else where, dtype=np.int64)
        found = []
        for k in np.unique(at[:, 0]):
            rows = np.flatnonzero(at[:, 0] == k)
            source, taken = getattr(tables[k], name), at[rows, 1]
            if by_net:
                source = source.transpose(2, 0, 1)
                source = source[:, taken] if nets is None else source[np.ix_(columns, taken)]
            elif source.ndim == 1 or nets is None:
                source = source[taken]
            else:
                source = source[np.ix_(taken, columns)]
            found.append((rows, source))
        made = found[0][1]
        if len(found) > 1:
            shape = list(made.shape)
            shape[1 if by_net else 0] = len(at)
            made = np.empty(shape, dtype=made.dtype)
            for rows, part in found:
                made[(slice(None), rows) if by_net else rows] = part
        arrays[name] = made.transpose(1, 2, 0) if by_net else made
    return arrays


def _nearer(made: Predictions, rows: Sequence[int], parent: Arrays, other: Arrays) -> Predictions:
    """A table some rows of which were solved lightly, with spreads at each net of whichever of the
    two sets they are made of reads there as they do: a rail one of the two holds down spreads as
    under that one, though the other alone explains more of the readings. Where both do, the one
    under which it is held more firmly counts.
    """
    at = np.array(rows, dtype=np.int64)
    mean = made.mean[at]
    off, near = np.abs(mean - other["mean"]), np.abs(mean - parent["mean"])
    alike = np.maximum(off, near) < ALIKE_VOLTS + ALIKE_SHARE * np.abs(mean)
    firmer = (other["spread"] ** 2).sum(axis=1) < (parent["spread"] ** 2).sum(axis=1)
    closer = np.where(alike, firmer, off < near)
    spread = made.spread.copy()
    spread[at] = np.where(closer[:, None, :], other["spread"], parent["spread"])
    return replace(made, spread=spread)


def _of_own_sizes(
    made: Predictions, rows: Sequence[int], own: npt.NDArray[np.float64]
) -> Predictions:
    """A table some rows of which were solved lightly, with what other sizes of their faults change:
    `own` (R, from :data:`SIZE_AT` on, N+1) [V]."""
    spread = made.spread.copy()
    spread[np.array(rows, dtype=np.int64), SIZE_AT:-STAND_INS] = own[:, :-STAND_INS]
    return replace(made, spread=spread)


def _one(table: DeadTable, row: int) -> DeadTable:
    part: dict[str, Any] = {n: getattr(table, n)[row : row + 1] for n in DEAD_ARRAYS}
    return replace(table, **part)


def _joined(rows: Sequence[DeadTable]) -> DeadTable:
    arrays: dict[str, Any] = {n: np.concatenate([getattr(r, n) for r in rows]) for n in DEAD_ARRAYS}
    return replace(rows[0], **arrays)
