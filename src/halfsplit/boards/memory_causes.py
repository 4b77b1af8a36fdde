"""What can be wrong with a memory board, and how probable each makes a failure that was printed.

Every hypothesis says how likely a failing word is to turn up at this address with this reading, so
that the tightest one that covers all failures wins: a row of a chip over the whole chip when all
failures lie in the row, a data line over a chip when both banks show the same bit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from halfsplit.boards.address_faults import Alias, Ints, aliases
from halfsplit.boards.memory_log import Kind, Run
from halfsplit.boards.memory_seen import OTHER, Flags, Floats, Seen
from halfsplit.boards.organisation import Memory

Class = Literal["hard", "small", "alias", "weak"]
# Chance that a test of a kind shows a fault of a class at all. Address tests write each address or
# its complement, data tests constant patterns, which address faults mostly pass.
# Common practice, no published source.
SHOWS: dict[Class, dict[Kind, float]] = {
    "hard": {"address": 0.97, "data": 0.995, "pause": 0.97},
    "small": {"address": 0.8, "data": 0.97, "pause": 0.8},
    "alias": {"address": 0.99, "data": 0.3, "pause": 0.3},
    "weak": {"address": 0.1, "data": 0.15, "pause": 0.97},
}
COLD_WEAK = 0.3  # a weak cell shows itself this much less on a cold machine
# Shares of causes before anything is printed; chips are many and die most.
# Common practice, no published source.
CHIPS, WITHIN = 0.5, {"whole": 0.45, "weak": 0.15, "row": 0.1, "column": 0.1, "cell": 0.2}
LINES, JOINED, BANK_BITS = 0.09, 0.03, 0.03
DATA_LINES, BUFFERS, BANKS, COMMON, COUNTER, REFRESH, NONE = 0.1, 0.04, 0.06, 0.06, 0.04, 0.03, 0.02
# Share of the addresses a fault can spoil that fail, see Hypothesis.dense.
BULK = (6.0, 1.0, 0.03)
LOST: dict[str, Any] = {"dense": (6.0, 1.0, 0.2), "shows": "alias"}
STRAY = 0.02  # share of printed failures that have another cause: noise, a slip in copying
# How dead words read: all ones, all zeros, or anything, and how often.
READS: tuple[tuple[int | None, float], ...] = ((1, 0.3), (0, 0.3), (None, 0.4))
FADES = (0.03, 0.2, 0.6, 0.95)


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """One fault. `cause` names what to blame, `form` the way it fails, `prior` its weight.

    `dense`: (a, b, broad) of the share of the addresses it can spoil that do fail: a beta law,
    and with weight `broad` any number of failures at all, for faults that come and go and for
    people who paste only the first lines.
    """

    cause: tuple[str, ...]
    form: str
    prior: float
    shows: Class = field(default="hard", kw_only=True)
    dense: tuple[float, float, float] = field(default=(1.5, 1.2, 0.3), kw_only=True)

    def read(self, s: Seen) -> Floats:
        """Chance of each failing word's reading if its address fails; 0 where it cannot fail."""
        return np.zeros(s.a.size)

    def size(self, s: Seen) -> int:
        """Addresses that can fail, counted once for each form of word in the run."""
        return s.at.size

    def pair(self, across: int) -> float:
        """Chance of a printed exclusive-or of two addresses."""
        return 0.0

    def shown(self, run: Run) -> float:
        """Chance that a test of this kind finds anything at all."""
        chance = SHOWS[self.shows][run.kind]
        if self.shows == "weak" and run.warm is not None:
            chance = max(chance, 0.8) if run.warm else chance * COLD_WEAK
        return chance


@dataclass(frozen=True, eq=False)
class Bit(Hypothesis):
    """One data bit wrong, in one bank or all, one row, column or cell of it, stuck or at random."""

    bit: int
    bank: int | None = None
    row: int | None = None
    column: int | None = None
    stuck: int | None = None

    def region(self, s: Seen, at: Ints) -> Flags:
        """Which of some addresses can fail."""
        inside = np.ones(at.size, dtype=bool)
        if self.bank is not None:
            inside &= s.bank(at) == self.bank
        if self.row is not None:
            inside &= s.row(at) == self.row
        if self.column is not None:
            inside &= s.column(at) == self.column
        return inside

    def read(self, s: Seen) -> Floats:
        """See Hypothesis."""
        ok = (s.single == self.bit) & self.region(s, s.a)
        if self.stuck is None:
            return np.where(ok, 0.5, 0.0)
        return np.where(ok & ((s.r >> self.bit & 1) == self.stuck), 1.0, 0.0)

    def size(self, s: Seen) -> int:
        """See Hypothesis. A stuck bit shows only where the other value was written."""
        where = (self.bank, self.row, self.column)
        count = s.tested(*where).size
        if self.stuck is None:
            return count * s.forms.size
        able = 0
        for form in map(int, s.forms):
            high = int(s.ones_tested(form, *where)[self.bit]) if form != OTHER else 0
            able += count if form == OTHER else count - high if self.stuck else high
        return able


@dataclass(frozen=True, eq=False)
class Words(Hypothesis):
    """Several bits wrong together: a buffer's, or all of a bank's or of the board's.

    `reads`: 1 all ones, 0 all zeros, None anything.
    """

    mask: int
    bank: int | None = None
    reads: int | None = None

    def read(self, s: Seen) -> Floats:
        """See Hypothesis."""
        ok = (s.x & ~self.mask) == 0
        if self.bank is not None:
            ok &= s.bank(s.a) == self.bank
        if self.reads is None:
            return np.where(ok, 0.5 ** self.mask.bit_count(), 0.0)
        return np.where(ok & ((s.r & self.mask) == self.mask * self.reads), 1.0, 0.0)

    def size(self, s: Seen) -> int:
        """See Hypothesis."""
        return s.tested(self.bank, None, None).size * s.forms.size


@dataclass(frozen=True, eq=False)
class Fading(Hypothesis):
    """Words that fade: no refresh, or none of the rows where one bit of the counter is stuck.

    `share`: of the bits that can fade in a word, how many do. A word fades one way, as the cells of
    a row are all stored true or all inverted.
    """

    share: float
    counter: int | None = None
    value: int = 0

    def read(self, s: Seen) -> Floats:
        """See Hypothesis."""
        chance = np.zeros(s.a.size)
        for able, changed, others in ((s.ones, s.fell, s.rose), (s.bits - s.ones, s.rose, s.fell)):
            law = self.share**changed * (1 - self.share) ** (able - changed)
            some = 1 - (1 - self.share) ** np.maximum(able, 1)
            chance += np.where(others == 0, 0.5 * law / some, 0)
        if self.counter is None:
            return chance
        return np.where((s.row(s.a) >> self.counter & 1) == self.value, chance, 0.0)

    def size(self, s: Seen) -> int:
        """See Hypothesis."""
        if self.counter is None:
            return s.at.size * s.forms.size
        return int(((s.row(s.at) >> self.counter & 1) == self.value).sum()) * s.forms.size


def _bits(mask: int) -> list[int]:
    return [b for b in range(mask.bit_length()) if mask >> b & 1]


@dataclass(frozen=True, eq=False)
class Aliased(Hypothesis):
    """Addresses that run together. `down`: the test went downward; `march`: it read and wrote at
    each address in turn; `wild`: the line floats, and any of the addresses may be reached."""

    alias: Alias
    down: int = 0
    march: bool = False
    wild: bool = False

    def region(self) -> Flags:
        """Which addresses can fail, from the first tested."""
        if self.wild:
            return np.ones(self.alias.owner.shape[1], dtype=bool)
        return self.alias.earlier[self.down] if self.march else self.alias.loses(self.down)

    def size(self, s: Seen) -> int:
        """See Hypothesis."""
        return int(self.region()[: s.at.size].sum()) * s.forms.size

    def read(self, s: Seen) -> Floats:
        """See Hypothesis."""
        if self.wild:
            return self._wild(s)
        index = s.a - self.alias.first
        ok = self.region()[index]
        if self.march:
            return np.where(ok & ((s.x & s.whole) == s.whole), 1.0, 0.0)
        owner = self.alias.owner[self.down][index]
        known = s.form != OTHER
        expected = np.zeros_like(owner)
        for f in s.forms:
            expected[s.form == f] = s.word(int(f), owner[s.form == f])
        read = (known & ((s.r & s.whole) == expected)).astype(float)
        rest = ~known & ok
        if rest.any():
            # What the other address holds is not known, but all that reach it read the same.
            pairs = owner[rest] << s.bits | (s.r[rest] & s.whole)
            _, firsts = np.unique(pairs, return_index=True)
            same = np.ones(pairs.size)
            same[firsts] = 0.5**s.bits
            # Where every address holds one word, reading another address shows nothing.
            read[rest] = np.where(s.filled[rest], 0.02 * 0.5**s.bits, same)
        return np.where(ok, read, 0.0)

    def _wild(self, s: Seen) -> Floats:
        mask = self.alias.mask
        known = s.form != OTHER
        # Without knowing what was written elsewhere, or where an old word was left, it reads
        # anything; where memory is filled with one word after another, mostly one of the others.
        chance = np.where(known, 0.02, np.where(s.filled, 0.5, 0.9)) * 0.5**s.bits
        left = s.filled & np.isin(s.r, s.patterns)
        chance[left & ~known] += 0.5 / max(s.patterns.size, 1)
        ways = [
            sum(1 << b for k, b in enumerate(_bits(mask)) if n >> k & 1)
            for n in range(1, 2 ** mask.bit_count())
        ]
        for way in ways:
            for f in s.forms:
                hit = known & (s.form == f) & ((s.r & s.whole) == s.word(int(f), s.a ^ way))
                chance[hit] = 1.0 / len(ways)
        return chance

    def pair(self, across: int) -> float:
        """See Hypothesis."""
        return self.alias.meets(across)


def hypotheses(memory: Memory, runs: Sequence[Seen], first: int, last: int) -> list[Hypothesis]:
    """Every hypothesis worth weighing against what was printed."""
    return [
        *_chips(memory, runs),
        *_shared(memory),
        *_addresses(memory, first, last),
        Hypothesis(("none",), "none", NONE),
    ]


def _chips(memory: Memory, runs: Sequence[Seen]) -> Iterator[Hypothesis]:
    bits = memory.data
    each = CHIPS / (memory.banks * bits)
    for bank in range(memory.banks):
        for bit in range(bits):
            cause = ("chip", str(bank), str(bit))
            for stuck, share in ((0, 0.35), (1, 0.35), (None, 0.3)):
                yield Bit(cause, "whole", each * WITHIN["whole"] * share, bit, bank, stuck=stuck)
            yield Bit(cause, "weak", each * WITHIN["weak"], bit, bank, shows="weak")
            yield from _pieces(memory, runs, cause, bank, bit, each)


def _pieces(
    memory: Memory, runs: Sequence[Seen], cause: tuple[str, ...], bank: int, bit: int, each: float
) -> Iterator[Hypothesis]:
    """Rows, columns and cells of one chip that failures point at."""
    mine = [s.a[(s.single == bit) & (s.bank(s.a) == bank)] for s in runs if s.a.size]
    at = np.concatenate(mine) if mine else np.zeros(0, dtype=np.int64)
    if not at.size:
        return
    one = runs[0]
    rows, columns = 1 << memory.lines.count, max(memory.words >> memory.lines.count, 1)
    for row in _common(one.row(at)):
        prior = each * WITHIN["row"] / rows
        yield Bit(cause, "row", prior, bit, bank, row=row, shows="small")
    for column in _common(one.column(at)):
        prior = each * WITHIN["column"] / columns
        yield Bit(cause, "column", prior, bit, bank, column=column, shows="small")
    for cell in _common(at):
        row, column = int(one.row(np.array([cell]))[0]), int(one.column(np.array([cell]))[0])
        prior = each * WITHIN["cell"] / memory.words
        yield Bit(cause, "cell", prior, bit, bank, row=row, column=column, shows="small")


def _common(values: Ints, most: int = 2) -> list[int]:
    found, counts = np.unique(values, return_counts=True)
    return [int(found[k]) for k in np.argsort(-counts, kind="stable")[:most]]


def _shared(memory: Memory) -> Iterator[Hypothesis]:
    bits, whole = memory.data, (1 << memory.data) - 1
    for bit in range(bits):
        for stuck, share in ((0, 0.35), (1, 0.35), (None, 0.3)):
            yield Bit(("data", str(bit)), "line", DATA_LINES / bits * share, bit, stuck=stuck)
    groups: list[tuple[tuple[str, ...], str, float, int, int | None]] = []
    for name, carried in memory.buffers.items():
        mask = sum(1 << b for b in carried if b < bits)
        groups.append((("buffer", name), "buffer", BUFFERS / len(memory.buffers), mask, None))
    for bank in range(memory.banks if memory.banks > 1 else 0):
        groups.append((("bank", str(bank)), "bank", BANKS / memory.banks, whole, bank))
    common = COMMON if memory.banks > 1 else COMMON + BANKS
    groups.append((("common",), "common", common, whole, None))
    for cause, form, prior, mask, bank_or_all in groups:
        for reads, share in READS:
            yield Words(cause, form, prior * share, mask, bank_or_all, reads, dense=BULK)
    if memory.refresh is None:
        return
    count = max(memory.refresh.rows.bit_length() - 1, 1)
    for fade in FADES:
        prior = REFRESH / len(FADES)
        yield Fading(("refresh",), "refresh", prior, fade, shows="weak")
        prior = COUNTER / len(FADES) / count / 2
        for k in range(count):
            for value in (0, 1):
                yield Fading(("counter", str(k)), "counter", prior, fade, k, value, shows="weak")


def _addresses(memory: Memory, first: int, last: int) -> Iterator[Hypothesis]:
    found = aliases(memory, first, last)
    for alias in found:
        word, _, number = alias.key.rpartition(" ")
        total = {"line": LINES, "lines": JOINED, "bank bit": BANK_BITS}[word]
        prior = total / sum(a.key.rpartition(" ")[0] == word for a in found)
        cause = (word, number)
        for down, share in ((0, 0.4), (1, 0.2)):
            yield Aliased(cause, "overwritten", prior * share, alias, down, **LOST)
            yield Aliased(cause, "march", prior * share / 3, alias, down, march=True, **LOST)
        if word != "lines":
            yield Aliased(cause, "wild", prior * 0.2, alias, wild=True, shows="alias")
