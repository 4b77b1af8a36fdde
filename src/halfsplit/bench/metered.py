"""Predictions with the reading's own meter on, which pulls at what it touches."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.threads import Progress
from halfsplit.diagnosis.evidence import Evidence, Meter
from halfsplit.faults.book import Book
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.loaded import load
from halfsplit.faults.predictions import Predictions, joined

Touch = tuple[Condition, str, str, float]  # where the leads are and the meter's resistance [ohm]


class Gathered:
    """Rows of one list of sets at all nets read in a condition, gathered once for all readings."""

    def __init__(self, book: Book, read: Sequence[Evidence], progress: Progress | None) -> None:
        self.book, self.progress = book, progress
        self._nets: dict[Condition, list[str]] = {}
        for item in read:
            self._nets.setdefault(item.condition, []).extend((item.pos, item.neg))
        self._known: dict[Condition, Predictions] = {}

    def table(self, condition: Condition, listed: Sequence[Hypothesis]) -> Predictions:
        """Predictions of the sets, always the same ones, at the nets read in a condition."""
        if condition not in self._known:
            nets = self._nets[condition]
            self._known[condition] = self.book.table(condition, listed, self.progress, nets)
        return self._known[condition]


class Metered:
    """Rows of a book with a meter on, each solved once."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._standard: dict[Touch, Predictions] = {}
        self._sets: dict[Touch, dict[frozenset[str], Predictions]] = {}

    def trim(self) -> None:
        """Let go of sets beyond the standard hypotheses, as for another machine."""
        self._sets.clear()

    def table(
        self,
        item: Evidence,
        listed: Sequence[Hypothesis],
        progress: Progress | None,
        gathered: Gathered | None = None,
    ) -> Predictions:
        """Predictions of one reading of a powered machine under each of `listed`."""
        at, value = item.condition, item.value if item.quantity in ("volts", "ac") else 0.0
        first = self.standard(at.as_drawn(), item.pos, item.neg, item.meter, value, progress)
        first = self._left(first, at)
        if list(listed) == self.book.standard:
            return first
        known = self.book.rows
        inside = [i for i, h in enumerate(listed) if h.key in known]
        first = first.rows([known[listed[i].key] for i in inside])
        if len(inside) == len(listed):
            return first
        outside = [i for i, h in enumerate(listed) if h.key not in known]
        others = [listed[i] for i in outside]
        gathered = gathered or Gathered(self.book, [item], progress)
        rest = gathered.table(at, others).only([item.pos, item.neg])
        exact = [i for i, h in enumerate(others) if self.book.exact(at, h)]
        if first.loaded is not None and exact:
            few = [others[i] for i in exact]
            rest = rest.replaced(exact, self._exact(item, value, few, progress))
        order = np.argsort([*inside, *outside])
        return joined([first, rest]).rows([int(i) for i in order])

    def standard(
        self,
        condition: Condition,
        pos: str,
        neg: str,
        meter: Meter,
        value: float,
        progress: Progress | None,
    ) -> Predictions:
        """Predictions of the standard hypotheses for a meter that shows `value` [V] between two
        nets, its loading included."""
        ohms = meter.input_ohms(value)
        key = (condition, pos, neg, ohms)
        if key not in self._standard:
            known = self.book.dictionary
            table, faults = known.get(condition, progress), known.faults
            each, moves = np.full(len(faults), ohms), self.book.moves
            machine, sizes = self.book.machine, known.sizes
            made = load(machine, condition, faults, moves, table, pos, neg, each, sizes=sizes)
            self._standard[key] = made.only([pos, neg])
        return self._standard[key]

    def _exact(
        self,
        item: Evidence,
        value: float,
        listed: Sequence[Hypothesis],
        progress: Progress | None,
    ) -> Predictions:
        """The same of sets that have spreads of their own."""
        at, ohms = item.condition, item.meter.input_ohms(value)
        known = self._sets.setdefault((at.as_drawn(), item.pos, item.neg, ohms), {})
        new = list({k: h for h in listed if (k := h.left(at)) not in known}.values())
        if new:
            made = load(
                self.book.machine,
                at.as_drawn(),
                [h.laid(at) for h in new],
                self.book.moves,
                self.book.table(at, new, progress),
                item.pos,
                item.neg,
                np.full(len(new), ohms),
                sizes=[h.sizes_left(at) for h in new],
            ).only([item.pos, item.neg])
            known |= {h.left(at): made.rows([i]) for i, h in enumerate(new)}
        return joined([known[h.left(at)] for h in listed])

    def _left(self, table: Predictions, condition: Condition) -> Predictions:
        """Rows of the standard hypotheses once parts were fitted: of the faults still there."""
        if condition.as_drawn() == condition:
            return table
        known = self.book.rows
        return table.rows([known[h.left(condition)] for h in self.book.standard])
