"""Spreads drawn for a bench: of rows with weight, at the nets read or about to be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from halfsplit.assembly.condition import Condition
from halfsplit.diagnosis.order import heaviest
from halfsplit.diagnosis.posterior import Belief
from halfsplit.faults.book import Book
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.predictions import Predictions
from halfsplit.faults.sampling import Drawn
from halfsplit.faults.spreads import Spreads

# Standard rows whose spreads are drawn where slopes mislead: the heaviest few above a weight.
HEAVIEST, HEAVY = 6, 0.02


class Draws:
    """What was drawn so far of the standard rows of a book."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.spreads = Spreads(book.machine, book.moves)
        self._known: dict[Condition, dict[int, Drawn]] = {}
        self.version = 0  # goes up with every row drawn

    def trim(self) -> None:
        """Let go of which rows were drawn, as for another machine; what was solved is kept."""
        self._known, self.version = {}, self.version + 1

    def heavy(self, belief: Belief) -> list[int]:
        """The healthy row and the few standard ones that carry weight.

        Draws know nothing of the size of a fault, so rows with one keep their slopes.
        """
        weights, standard = belief.weights(), self.book.standard
        order = [int(i) for i in heaviest(weights)[:HEAVIEST] if weights[i] > HEAVY]
        known = [i for i in order if i != 1 and i < len(standard)]
        return list(dict.fromkeys([0, *(i for i in known if not standard[i].sizes)]))

    def draw(self, rows: Sequence[int], nets: Mapping[Condition, Sequence[str]]) -> None:
        """Draw what slopes do not tell of some standard rows at some nets."""
        dictionary = self.book.dictionary
        for condition, read in nets.items():
            table, folder = dictionary.get(condition), dictionary.folder(condition)
            known = self._known.setdefault(condition, {})
            faults = dictionary.faults
            found = self.spreads.drawn(condition, faults, table, rows, read, folder)
            self.version += len(found.keys() - known.keys())
            known |= found

    def laid(
        self, condition: Condition, table: Predictions, listed: Sequence[Hypothesis]
    ) -> Predictions:
        """A table of `listed` with what was drawn of those rows, and of any that read as they do: a
        fault that does not show in a condition spreads there as the machine without it."""
        at = condition.as_drawn()
        known = self._known.get(at)
        if not known:
            return table
        base, rows = self.book.dictionary.get(at), self.book.rows
        found: dict[int, Drawn] = {}
        for row, drawn in known.items():
            found |= dict.fromkeys(table.alike(base, row), drawn)
        for i, h in enumerate(listed):
            row = rows.get(h.left(condition), -1)
            if row in known:
                found[i] = known[row]
        return table.with_draws(found, base.nets)
