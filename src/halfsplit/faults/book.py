"""Predictions of any sets of faults in any condition, each solved at most once.

The single faults are a dictionary kept on disk. Sets found worth looking at are added row by row,
fully with their spreads, or lightly: solved alone, with the spreads of a set they contain, which is
enough to see whether they explain anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.threads import Progress
from halfsplit.faults.dead_table import DeadDictionary, DeadTable, Pair, dead_tables
from halfsplit.faults.dictionary import DictionaryCache, predict
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.ohmmeter import Ohmmeter
from halfsplit.faults.predictions import Predictions

Key = frozenset[str]
ARRAYS = ("mean", "ripple", "low", "spread", "ohms", "status", "period", "wave")
DEAD_ARRAYS = ("x", "over", "slope", "model", "range", "ok")


@dataclass
class _Shelf:
    """Rows of one condition beyond the dictionary: where each set's row is."""

    tables: list[Predictions] = field(default_factory=list)
    full: dict[Key, tuple[int, int]] = field(default_factory=dict)
    light: dict[Key, tuple[int, int, Hypothesis]] = field(default_factory=dict)


class Book:
    """Predictions for a machine: `standard` hypotheses first, any others on demand."""

    def __init__(self, machine: Machine, standard: Sequence[Hypothesis]) -> None:
        self.machine = machine
        self.standard = list(standard)
        self.dictionary = DictionaryCache(machine, standard)
        self.moves = self.dictionary.moves
        self.dead_circuit = DeadDictionary(machine, standard, self.moves)
        self._shelves: dict[Condition, _Shelf] = {}
        self._dead: dict[tuple[Pair, Condition, Ohmmeter], dict[Key, DeadTable]] = {}

    def table(
        self,
        condition: Condition,
        asked: Sequence[Hypothesis],
        progress: Progress | None = None,
        nets: Sequence[str] | None = None,
    ) -> Predictions:
        """Predictions of the hypotheses asked for, in their order; of all nets or a few."""
        base = self.dictionary.get(condition, progress)
        known = self._known(condition)
        shelf = self._shelves.setdefault(condition, _Shelf())
        keys = [h.left(condition) for h in asked]
        missing = {
            k: h
            for k, h in zip(keys, asked, strict=True)
            if k not in known and k not in shelf.full and k not in shelf.light
        }
        if missing:
            self._solve(condition, list(missing.values()), shelf, progress)
        if keys == [h.left(condition) for h in self.standard]:
            return base if nets is None else base.only(nets)
        where = [self._where(k, known, shelf) for k in keys]
        tables = [base, *shelf.tables]
        return _gather(tables, where, self._spreads(keys, known, shelf), nets)

    def exact(self, condition: Condition, one: Hypothesis) -> bool:
        """Whether a set has spreads of its own in a condition."""
        shelf = self._shelves.get(condition, _Shelf())
        return one.left(condition) in shelf.full or one.left(condition) in self._known(condition)

    def lightly(
        self,
        condition: Condition,
        asked: Sequence[Hypothesis],
        parents: Sequence[Hypothesis],
        progress: Progress | None = None,
    ) -> None:
        """Solve sets that are new in this condition without spreads, which come from `parents`."""
        known = self._known(condition)
        shelf = self._shelves.setdefault(condition, _Shelf())
        new: dict[Key, tuple[Hypothesis, Hypothesis]] = {}
        for h, parent in zip(asked, parents, strict=True):
            key = h.left(condition)
            if key not in known and key not in shelf.full and key not in shelf.light:
                new[key] = (h, parent)
        if not new:
            return
        listed = [h for h, _ in new.values()]
        made = predict(
            self.machine,
            condition,
            [h.changes for h in listed],
            fresh=[h.fresh for h in listed],
            moves=[],
            progress=progress,
        )
        shelf.tables.append(made)
        at = len(shelf.tables)
        shelf.light |= {k: (at, i, parent) for i, (k, (_, parent)) in enumerate(new.items())}

    def fully(self, condition: Condition, asked: Sequence[Hypothesis]) -> None:
        """Give sets solved lightly their own spreads."""
        known = self._known(condition)
        shelf = self._shelves.setdefault(condition, _Shelf())
        due = {h.left(condition): h for h in asked}
        listed = [h for k, h in due.items() if k not in known and k not in shelf.full]
        if listed:
            self._solve(condition, listed, shelf, None)

    def _solve(
        self,
        condition: Condition,
        listed: Sequence[Hypothesis],
        shelf: _Shelf,
        progress: Progress | None,
    ) -> None:
        changes, fresh = [h.changes for h in listed], [h.fresh for h in listed]
        made = predict(
            self.machine,
            condition,
            changes,
            fresh=fresh,
            sizes=[h.sizes for h in listed],
            moves=self.moves,
            progress=progress,
        )
        shelf.tables.append(made)
        at = len(shelf.tables)
        shelf.full |= {h.left(condition): (at, i) for i, h in enumerate(listed)}

    def _known(self, condition: Condition) -> dict[Key, int]:
        found: dict[Key, int] = {}
        for i, h in enumerate(self.standard):
            # The hypothesis of something unmodelled has no faults either; the first is the healthy.
            found.setdefault(h.left(condition), i)
        return found

    @staticmethod
    def _where(key: Key, known: dict[Key, int], shelf: _Shelf) -> tuple[int, int]:
        if key in known:
            return 0, known[key]
        return shelf.full[key] if key in shelf.full else shelf.light[key][:2]

    def _spreads(
        self, keys: Sequence[Key], known: dict[Key, int], shelf: _Shelf
    ) -> list[tuple[int, int]]:
        """Where the spreads of each are: its own, or of the set it was solved lightly after."""
        found = []
        for key in keys:
            seen = key
            while seen not in known and seen not in shelf.full:
                parent = shelf.light[seen][2]
                seen = next(
                    (k for k in (parent.key, parent.key & seen) if k in known or k in shelf.full),
                    frozenset(),
                )
            found.append(self._where(seen, known, shelf))
        return found

    def dead(
        self,
        pairs: Sequence[Pair],
        condition: Condition,
        meter: Ohmmeter,
        asked: Sequence[Hypothesis],
    ) -> dict[Pair, DeadTable]:
        """Dead tables of several pairs for the hypotheses asked for, in their order."""
        condition = replace(condition, feed="off")
        base = self.dead_circuit.many(pairs, condition, meter)
        known = self._known(condition)
        keys = [h.left(condition) for h in asked]
        if keys == [h.left(condition) for h in self.standard]:
            return base
        for pair in pairs:
            shelf = self._dead.setdefault((pair, condition, meter), {})
            due = {k: h for k, h in zip(keys, asked, strict=True) if k not in known}
            listed = [(k, h) for k, h in due.items() if k not in shelf]
            if listed:
                variants: list[tuple[Overrides, Overrides]] = [
                    (h.changes, h.fresh) for _, h in listed
                ]
                circuit, sizes = self.dead_circuit.circuit, [h.sizes for _, h in listed]
                made = dead_tables(circuit, [pair], condition, meter, variants, self.moves, sizes)[
                    pair
                ]
                for i, (k, _) in enumerate(listed):
                    shelf[k] = _one(made, i)
        found = {}
        for pair in pairs:
            shelf, whole = self._dead[pair, condition, meter], base[pair]
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
    first = tables[0]
    kept = first.nets if nets is None else tuple(dict.fromkeys(n for n in nets if n in first.nets))
    columns = [*(first.nets.index(n) for n in kept), len(first.nets)]
    arrays: dict[str, Any] = {}
    for name in ARRAYS:
        at = np.array(spread if name == "spread" else where, dtype=np.int64)
        source = [getattr(t, name) for t in tables]
        if source[0].ndim > 1 and nets is not None:
            source = [a[:, columns] if name == "wave" else a[..., columns] for a in source]
        made = np.empty((len(at), *source[0].shape[1:]), dtype=source[0].dtype)
        for k in np.unique(at[:, 0]):
            rows = np.flatnonzero(at[:, 0] == k)
            made[rows] = source[k][at[rows, 1]]
        arrays[name] = made
    return Predictions(kept, top=first.highest(), **arrays)


def _one(table: DeadTable, row: int) -> DeadTable:
    part: dict[str, Any] = {n: getattr(table, n)[row : row + 1] for n in DEAD_ARRAYS}
    return replace(table, **part)


def _joined(rows: Sequence[DeadTable]) -> DeadTable:
    arrays: dict[str, Any] = {n: np.concatenate([getattr(r, n) for r in rows]) for n in DEAD_ARRAYS}
    return replace(rows[0], **arrays)
