"""One run of a memory test as arrays, with what can be read off the words it wrote."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from halfsplit.boards.address_faults import Ints
from halfsplit.boards.memory_log import Run
from halfsplit.boards.organisation import Memory

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
# A word written at this share of the failures is taken for a pattern that fills the memory.
PATTERN = 0.05
# Failures of one run that are weighed; of more, as many are drawn evenly.
MOST = 3000
# Forms of the word an address test writes: the address, its complement, and for words narrower than
# an address its high part and the complement of that. OTHER is none of these.
OTHER = 4


@dataclass(frozen=True, eq=False)
class Seen:
    """One run as arrays, with the addresses that were tested in it.

    Attributes
    ----------
    at: (N,) addresses tested. a, w, r: (F,) failing address, written, read.
    form: (F,) 0 when the word written is the address, 1 its complement, 2 neither.
    scale: printed failures for each kept one. spread: different ones for each different one kept,
    which is less where a test went round and printed the same words again.
    """

    memory: Memory
    run: Run
    at: Ints
    a: Ints
    w: Ints
    r: Ints
    form: Ints
    swapped: bool
    scale: float = 1.0
    spread: float = 1.0

    @cached_property
    def x(self) -> Ints:
        """Failing bits of each word."""
        return self.w ^ self.r

    @cached_property
    def single(self) -> Ints:
        """Number of the failing bit where it is only one, else -1."""
        powers = (self.x & (self.x - 1)) == 0
        return np.where(powers, np.round(np.log2(np.maximum(self.x, 1))).astype(np.int64), -1)

    @cached_property
    def ones(self) -> Floats:
        """Ones in each word written."""
        return _count(self.w & self.whole)

    @cached_property
    def fell(self) -> Floats:
        """Bits of each word that were written 1 and read 0."""
        return _count(self.w & ~self.r & self.whole)

    @cached_property
    def rose(self) -> Floats:
        """Bits of each word that were written 0 and read 1."""
        return _count(self.r & ~self.w & self.whole)

    @cached_property
    def patterns(self) -> Ints:
        """Words written again and again, as in a test that fills memory with one word."""
        words, counts = np.unique(self.w, return_counts=True)
        return words[counts >= max(PATTERN * self.w.size, 2)]

    @cached_property
    def filled(self) -> Flags:
        """Whether each word written is one of the patterns."""
        return np.isin(self.w, self.patterns)

    @cached_property
    def forms(self) -> Ints:
        """Which forms the words written have in this run."""
        return np.unique(self.form)

    @cached_property
    def item(self) -> Ints:
        """A number for each failing address and form; a repeat has the same."""
        return self.a * (OTHER + 1) + self.form

    def word(self, form: int, at: Ints) -> Ints:
        """The word a test of this form writes at each address."""
        high = at >> self.bits if form >= 2 else at
        return (~high if form % 2 else high) & self.whole

    @cached_property
    def _regions(self) -> dict[tuple[int | None, ...], Ints]:
        return {}

    def tested(self, bank: int | None, row: int | None, column: int | None) -> Ints:
        """Addresses tested that lie in a bank, row and column, where these are given."""
        key = (bank, row, column)
        if key not in self._regions:
            if bank is not None and (row, column) != (None, None):
                at = self.tested(bank, None, None)
            else:
                at = self.at
            inside = np.ones(at.size, dtype=bool)
            for value, of in ((bank, self.bank), (row, self.row), (column, self.column)):
                if value is not None:
                    inside &= of(at) == value
            self._regions[key] = at[inside]
        return self._regions[key]

    @cached_property
    def _ones(self) -> dict[tuple[int | None, ...], Ints]:
        return {}

    def ones_tested(self, form: int, bank: int | None, row: int | None, column: int | None) -> Ints:
        """How often each bit is 1 in the words of a form over `tested`."""
        key = (form, bank, row, column)
        if key not in self._ones:
            words = self.word(form, self.tested(bank, row, column))
            self._ones[key] = np.array([int((words >> b & 1).sum()) for b in range(self.bits)])
        return self._ones[key]

    def counted(self, mine: Flags) -> int:
        """Different addresses and forms among the failures `mine`, those not kept included."""
        kept = self.item[mine]
        return round(np.unique(kept).size * (self.spread if kept.size else 1.0))

    def bank(self, at: Ints) -> Ints:
        """Bank of each address."""
        swap = int(self.swapped and self.memory.banks > 1)
        return ((at >> self.memory.bank_from) % self.memory.banks) ^ swap

    def row(self, at: Ints) -> Ints:
        """Row of each address: the half of the multiplexed address that goes first."""
        return at & ((1 << self.memory.lines.count) - 1)

    def column(self, at: Ints) -> Ints:
        """Column of each address."""
        return (at & (self.memory.words - 1)) >> self.memory.lines.count

    @property
    def bits(self) -> int:
        """Bits a reading has."""
        return self.memory.data

    @property
    def whole(self) -> int:
        """A word of ones."""
        return (1 << self.bits) - 1

    def stray(self) -> Floats:
        """Chance of each failure if it had nothing to do with the fault."""
        one = np.where(self.single >= 0, 0.7 / self.bits, 0.0)
        return (one + 0.3 * 0.5**self.bits) / max(self.at.size, 1)


def _count(words: Ints) -> Floats:
    return np.bitwise_count(words.astype(np.uint64)).astype(float)


def seen(memory: Memory, run: Run, first: int, last: int, swapped: bool, most: int = MOST) -> Seen:
    """`run` as arrays, at most `most` failures of it; cut, it says nothing beyond its last."""
    fails = np.array(run.fails, dtype=np.int64).reshape(-1, 3)
    end = int(fails[:, 0].max()) if run.cut and fails.size else last
    at, form = np.arange(first, end + 1), np.full(len(fails), OTHER)
    every = Seen(memory, run, at, fails[:, 0], fails[:, 1], fails[:, 2], form, swapped)
    # The high part of the address is written only where the word cannot hold all of it.
    for k in reversed(range(4 if last >> memory.data else 2)):
        form[(every.w & every.whole) == every.word(k, every.a)] = k
    if len(fails) <= most:
        return every
    keep = np.sort(np.random.default_rng(0).choice(len(fails), most, replace=False))
    spread = np.unique(every.item).size / np.unique(every.item[keep]).size
    a, w, r = fails[keep].T
    return Seen(memory, run, at, a, w, r, form[keep], swapped, len(fails) / most, float(spread))
