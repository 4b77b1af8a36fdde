"""Simulated memory boards with one fault each, and what a test program would print of them.

It shares no code with the ranker: here a board is an array of chips behind an address path, and
every access goes through it; there a hypothesis is a formula for the chance of a printed line. The
organisation is given in this file a second time for the same reason. Faults, their mixture and the
printing are invented; they include forms the ranker has no formula for (a dead quarter of a chip,
an open address pin of one chip, faults that come and go, stray errors, excerpts, cut prints).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Shape:
    """Organisation of a board: banks of 2**(2*lines) words of `bits`, `buffers` as bit ranges."""

    banks: int
    lines: int
    bits: int
    buffers: tuple[tuple[str, int, int], ...]

    @property
    def bank(self) -> int:
        return 1 << 2 * self.lines

    @property
    def size(self) -> int:
        return self.banks * self.bank


WIDE = Shape(2, 7, 16, (("U1", 0, 8), ("U2", 8, 16)))
NARROW = Shape(4, 6, 8, (("Z1", 0, 4), ("Z2", 4, 8)))

# Kind of fault -> share of the maps.
MIXTURE = {
    "chip whole": 18, "chip quarter": 4, "chip pin": 3, "chip weak": 8, "chip row": 6,
    "chip column": 6, "chip cell": 8, "line": 11, "lines": 5, "bank bit": 3, "data": 10,
    "buffer": 5, "bank": 5, "common": 3, "counter": 3, "refresh": 2,
}  # fmt: skip


@dataclass
class Fault:
    """One fault: `kind` of MIXTURE, what to blame (`key`), and numbers that say how it acts."""

    kind: str
    key: tuple[str, ...]
    how: str = ""
    n: dict[str, int] = field(default_factory=dict)
    p: float = 1.0


def draw(rng: np.random.Generator, shape: Shape) -> Fault:
    """A fault at random."""
    kinds = list(MIXTURE)
    weights = np.array([MIXTURE[k] for k in kinds], float)
    kind = str(rng.choice(kinds, p=weights / weights.sum()))
    bank, bit = int(rng.integers(shape.banks)), int(rng.integers(shape.bits))
    side = 1 << shape.lines
    n = {
        "bank": bank,
        "bit": bit,
        "row": int(rng.integers(side)),
        "column": int(rng.integers(side)),
        "line": int(rng.integers(shape.lines)),
        "value": int(rng.integers(2)),
    }
    come_and_go = rng.random() < 0.2
    p = float(rng.uniform(0.05, 0.5)) if come_and_go else 1.0
    if kind.startswith("chip"):
        how = str(rng.choice(["stuck", "stuck", "random"]))
        if kind == "chip weak":
            p = float(10 ** rng.uniform(-2.5, -0.3))
        return Fault(kind, ("chip", str(bank), str(bit)), how, n, p)
    if kind == "line":
        return Fault(
            kind, ("line", str(n["line"])), str(rng.choice(["stuck", "stuck", "floats"])), n
        )
    if kind == "lines":
        n["line"] = int(rng.integers(shape.lines - 1))
        key = ("lines", f"{n['line']}-{n['line'] + 1}")
        return Fault(kind, key, str(rng.choice(["and", "or"])), n)
    if kind == "bank bit":
        n["line"] = 2 * shape.lines + int(rng.integers(shape.banks.bit_length() - 1))
        return Fault(kind, ("bank bit", str(n["line"])), "stuck", n)
    if kind == "data":
        return Fault(kind, ("data", str(bit)), str(rng.choice(["stuck", "stuck", "random"])), n, p)
    if kind == "buffer":
        name = shape.buffers[int(rng.integers(len(shape.buffers)))][0]
        return Fault(kind, ("buffer", name), str(rng.choice(["stuck", "stuck", "random"])), n, p)
    if kind == "bank":
        return Fault(kind, ("bank", str(bank)), str(rng.choice(["stuck", "stuck", "random"])), n, p)
    if kind == "common":
        return Fault(kind, ("common",), str(rng.choice(["stuck", "random"])), n, p)
    p = float(rng.uniform(0.02, 1.0))
    return Fault(kind, ("counter", str(n["line"])) if kind == "counter" else ("refresh",), "", n, p)


class Board:
    """Chips behind an address path, with one fault."""

    def __init__(self, shape: Shape, fault: Fault, rng: np.random.Generator) -> None:
        self.shape, self.fault, self.rng = shape, fault, rng
        side = 1 << shape.lines
        # one byte a cell: bank, bit, row, column
        self.cells = rng.integers(0, 2, (shape.banks, shape.bits, side, side)).astype(np.uint8)
        # which value an uncharged cell reads as, by row, as in folded arrays
        self.rest = (
            rng.integers(0, 2, side)[None, None, :, None] * np.ones_like(self.cells)
        ).astype(np.uint8)
        self.weak = rng.random(self.cells.shape) < fault.p

    def _path(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Bank, row and column that reach the chips when the processor sends `at`."""
        s, f = self.shape, self.fault
        side = 1 << s.lines
        row, column, bank = at % side, at // side % side, at // s.bank
        if f.kind == "line":
            k, v = f.n["line"], f.n["value"]
            for half in (row, column):
                value = (
                    self.rng.integers(0, 2, at.size) if f.how == "floats" else np.full(at.size, v)
                )
                half[:] = (half & ~(1 << k)) | (value << k)
        elif f.kind == "lines":
            k = f.n["line"]
            for half in (row, column):
                one, two = half >> k & 1, half >> (k + 1) & 1
                both = np.minimum(one, two) if f.how == "and" else np.maximum(one, two)
                half[:] = (half & ~(3 << k)) | (both * 3 << k)
        elif f.kind == "bank bit":
            k = f.n["line"] - 2 * s.lines
            bank = (bank & ~(1 << k)) | (f.n["value"] << k)
        return bank, row, column

    def _pin(self, half: np.ndarray) -> np.ndarray:
        """An address input of one chip that floats to one level."""
        k = self.fault.n["line"]
        return (half & ~(1 << k)) | (self.fault.n["value"] << k)

    def write(self, at: np.ndarray, words: np.ndarray) -> None:
        """Write in the order given."""
        bank, row, column = self._path(at)
        f = self.fault
        for bit in range(self.shape.bits):
            value = (words >> bit & 1).astype(np.uint8)
            self.cells[bank, bit, row, column] = value
            if f.kind == "chip pin" and bit == f.n["bit"]:
                mine = bank == f.n["bank"]
                self.cells[bank[mine], bit, self._pin(row[mine]), self._pin(column[mine])] = value[
                    mine
                ]

    def wait(self) -> None:
        """A pause in which weak cells lose their charge."""
        f = self.fault
        lost = np.zeros(self.cells.shape, bool)
        if f.kind == "chip weak":
            lost[f.n["bank"], f.n["bit"]] = self.weak[f.n["bank"], f.n["bit"]]
        elif f.kind == "refresh":
            lost = self.weak
        elif f.kind == "counter":
            rows = np.arange(self.cells.shape[2]) >> f.n["line"] & 1 == f.n["value"]
            lost = self.weak & rows[None, None, :, None]
        self.cells = np.where(lost, self.rest, self.cells)

    def read(self, at: np.ndarray) -> np.ndarray:
        """Read in the order given."""
        s, f, rng = self.shape, self.fault, self.rng
        bank, row, column = self._path(at)
        out = np.zeros((s.bits, at.size), np.int64)
        for bit in range(s.bits):
            out[bit] = self.cells[bank, bit, row, column]
        now = rng.random(at.size) < f.p  # for faults that come and go
        stuck = np.full(at.size, f.n["value"])
        false = rng.integers(0, 2, at.size) if f.how == "random" else stuck
        b, k = f.n["bit"], f.n["bank"]
        if f.kind == "chip pin":
            mine = bank == k
            out[b, mine] = self.cells[k, b, self._pin(row[mine]), self._pin(column[mine])]
        elif f.kind.startswith("chip") and f.kind != "chip weak":
            side = 1 << s.lines
            where = {
                "chip whole": np.ones(at.size, bool),
                "chip quarter": (row >= side // 2) & (column >= side // 2),
                "chip row": row == f.n["row"],
                "chip column": column == f.n["column"],
                "chip cell": (row == f.n["row"]) & (column == f.n["column"]),
            }[f.kind]
            hit = (bank == k) & where & now
            out[b, hit] = false[hit]
        elif f.kind == "data":
            out[b, now] = false[now]
        elif f.kind in ("buffer", "bank", "common"):
            low, high = 0, s.bits
            if f.kind == "buffer":
                low, high = next((x, y) for name, x, y in s.buffers if name == f.key[1])
            hit = now & ((bank == k) if f.kind == "bank" else True)
            for bit in range(low, high):
                noise = rng.integers(0, 2, at.size) if f.how == "random" else stuck
                out[bit, hit] = noise[hit]
        return (out << np.arange(s.bits)[:, None]).sum(axis=0)


def passes(shape: Shape, rng: np.random.Generator) -> Iterator[tuple[str, np.ndarray]]:
    """(kind of test, word for each address) of a usual test program."""
    at = np.arange(shape.size)
    full = (1 << shape.bits) - 1
    yield "address", at & full
    yield "address", ~at & full
    if shape.size > full + 1:
        yield "address", at >> shape.bits
        yield "address", ~(at >> shape.bits) & full
    half = full // 3
    for word in (0, full, half, full - half):
        yield "data", np.full(shape.size, word)
    yield "data", rng.integers(0, full + 1, shape.size)
    yield "pause", np.full(shape.size, half)
    yield "pause", np.full(shape.size, full - half)


def printed(shape: Shape, fault: Fault, rng: np.random.Generator) -> tuple[str, str]:
    """The print of a whole test of a board, in hex, and how it was pasted; "" if nothing failed.

    Most is pasted whole; a quarter is an excerpt of 40 lines a test, one in seven is cut after 64
    failures of a pass. One in seven has a few stray errors.
    """
    board = Board(shape, fault, rng)
    at = np.arange(shape.size)
    how = str(rng.choice(["whole", "excerpt", "cut"], p=[0.61, 0.25, 0.14]))
    skip = str(rng.choice(["", "address", "pause"], p=[0.8, 0.1, 0.1]))
    found: dict[str, list[str]] = {}
    any_real = False
    cut = set()
    for kind, words in passes(shape, rng):
        if kind == skip:
            continue
        board.write(at, words)
        if kind == "pause":
            board.wait()
        read = board.read(at)
        bad = np.flatnonzero(read != words)
        any_real |= bad.size > 0
        if how == "cut" and bad.size > 64:
            bad = bad[:64]
            cut.add(kind)
        lines = found.setdefault(kind, [])
        lines += [f"{a:04X} {words[a]:04X} {read[a]:04X}" for a in bad]
        if rng.random() < 0.02:
            a, bit = int(rng.integers(shape.size)), int(rng.integers(shape.bits))
            lines.append(f"{a:04X} {words[a]:04X} {int(words[a]) ^ (1 << bit):04X}")
    if not any_real:
        return "", how
    out = []
    for kind, lines in found.items():
        if how == "excerpt" and len(lines) > 40:
            keep = sorted(rng.choice(len(lines), 40, replace=False))
            lines = [lines[k] for k in keep]
        out.append(f"{kind} test")
        out += lines
        out.append("ok" if not lines else "stopped" if kind in cut else "end")
    return "\n".join(out), how
