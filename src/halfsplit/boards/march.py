"""March tests of a memory, what each finds, by trying every single fault on a small memory.

A march test is a list of elements; each goes through all addresses upward or downward and does the
same few reads and writes at each. Fault classes after A. J. van de Goor, "Using march tests to test
SRAMs", IEEE Design & Test of Computers 10(1), 1993 (from memory, unconfirmed): stuck-at (SAF),
transition (TF), address decoder (AF), and inversion (CFin), idempotent (CFid) and state (CFst)
coupling between two cells.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Literal

Kind = Literal["SAF", "TF", "AF", "CFin", "CFid", "CFst"]
KINDS: tuple[Kind, ...] = ("SAF", "TF", "AF", "CFin", "CFid", "CFst")
MEANS: dict[Kind, str] = {
    "SAF": "cell stuck at 0 or 1",
    "TF": "cell that will not change one way",
    "AF": "address line or decoder",
    "CFin": "cell flipped by another's change",
    "CFid": "cell forced by another's change",
    "CFst": "cell held by another's state",
}
# Four cells show every relation of two cells, with one address below, between and above.
CELLS = 4


@dataclass(frozen=True)
class March:
    """A march test in the usual notation: ``^`` upward, ``v`` downward, ``*`` either way."""

    name: str
    text: str

    @property
    def elements(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """(direction, operations) of each element."""
        found = re.findall(r"([\^v*])\(([rw01,]+)\)", self.text)
        return tuple((way, tuple(ops.split(","))) for way, ops in found)

    @property
    def length(self) -> int:
        """Accesses to each address."""
        return sum(len(ops) for _, ops in self.elements)


TESTS: tuple[March, ...] = (
    March("zero-one scan", "*(w0) *(r0) *(w1) *(r1)"),
    March("MATS", "*(w0) *(r0,w1) *(r1)"),
    March("MATS+", "*(w0) ^(r0,w1) v(r1,w0)"),
    March("MATS++", "*(w0) ^(r0,w1) v(r1,w0,r0)"),
    March("March X", "*(w0) ^(r0,w1) v(r1,w0) *(r0)"),
    March("March Y", "*(w0) ^(r0,w1,r1) v(r1,w0,r0) *(r0)"),
    March("March C-", "*(w0) ^(r0,w1) ^(r1,w0) v(r0,w1) v(r1,w0) *(r0)"),
    March("March A", "*(w0) ^(r0,w1,w0,w1) ^(r1,w0,w1) v(r1,w0,w1,w0) v(r0,w1,w0)"),
    March("March B", "*(w0) ^(r0,w1,r1,w0,r0,w1) ^(r1,w0,w1) v(r1,w0,w1,w0) v(r0,w1,w0)"),
)
Fault = tuple[int, ...]


def faults(kind: Kind) -> list[Fault]:
    """Every single fault of a kind on CELLS cells.

    SAF (cell, stuck value). TF (cell, value it will not take). AF (form, x, y, wired): form 0,
    address x reaches y instead of x; 1, x reaches nothing and y reaches both; 2, x reaches both;
    wired 1 reads several cells as OR and none as 0, wired 0 as AND and 1. CFin (from, to, value
    the first changes to). CFid the same and the value forced. CFst (from, to, state, value held).
    """
    cells, both = range(CELLS), (0, 1)
    pairs = [(a, b) for a in cells for b in cells if a != b]
    if kind in ("SAF", "TF"):
        return list(product(cells, both))
    if kind == "AF":
        return [(form, x, y, wired) for form in range(3) for x, y in pairs for wired in both]
    if kind == "CFin":
        return [(a, b, change) for a, b in pairs for change in both]
    return [(a, b, change, value) for a, b in pairs for change in both for value in both]


def _reached(fault: Fault, address: int) -> tuple[int, ...]:
    """Cells an address reaches under a decoder fault."""
    form, x, y, _ = fault
    if address == x:
        return ((y,), (), (x, y))[form]
    return (x, y) if address == y and form == 1 else (address,)


def _read(kind: Kind, fault: Fault, cells: Sequence[int], address: int) -> int:
    if kind != "AF":
        return cells[address]
    values = [cells[c] for c in _reached(fault, address)]
    return max(values, default=0) if fault[3] else min(values, default=1)


def _hold(kind: Kind, fault: Fault, cells: list[int]) -> None:
    """Faults that hold a cell whatever is written."""
    if kind == "SAF":
        cells[fault[0]] = fault[1]
    elif kind == "CFst" and cells[fault[0]] == fault[2]:
        cells[fault[1]] = fault[3]


def _write(kind: Kind, fault: Fault, cells: list[int], address: int, value: int) -> None:
    for cell in _reached(fault, address) if kind == "AF" else (address,):
        old = cells[cell]
        if kind == "TF" and cell == fault[0] and value == fault[1] and old != value:
            continue
        cells[cell] = value
        if kind in ("CFin", "CFid") and cell == fault[0] and old != value == fault[2]:
            cells[fault[1]] = 1 - cells[fault[1]] if kind == "CFin" else fault[3]
    _hold(kind, fault, cells)


def found_by(
    elements: Sequence[tuple[str, Sequence[str]]], kind: Kind, fault: Fault, start: Sequence[int]
) -> bool:
    """Whether a test with settled directions reads something it did not expect."""
    cells = list(start)
    _hold(kind, fault, cells)
    for way, operations in elements:
        for address in range(CELLS) if way == "^" else reversed(range(CELLS)):
            for operation in operations:
                value = int(operation[1])
                if operation[0] == "w":
                    _write(kind, fault, cells, address, value)
                elif _read(kind, fault, cells, address) != value:
                    return True
    return False


def _settled(
    test: March, either: Literal["up", "any"]
) -> Iterator[list[tuple[str, tuple[str, ...]]]]:
    """The test with each ``*`` upward, or in every combination of directions."""
    free = [k for k, (way, _) in enumerate(test.elements) if way == "*"]
    for ways in product("^" if either == "up" else "^v", repeat=len(free)):
        chosen = dict(zip(free, ways, strict=True))
        yield [(chosen.get(k, way), ops) for k, (way, ops) in enumerate(test.elements)]


@lru_cache(maxsize=256)
def coverage(test: March, kind: Kind, either: Literal["up", "any"] = "any") -> tuple[int, int]:
    """Faults of a kind found whatever the memory held before, of how many.

    `either`: "up" runs elements that may go either way upward; "any" counts a fault only if every
    choice of direction finds it, which is what the notation promises.
    """
    all_faults = faults(kind)
    found = 0
    for fault in all_faults:
        found += all(
            found_by(elements, kind, fault, start)
            for elements in _settled(test, either)
            for start in product((0, 1), repeat=CELLS)
        )
    return found, len(all_faults)


def full(test: March) -> frozenset[Kind]:
    """Fault classes a test finds without exception."""
    return frozenset(k for k in KINDS if len(set(coverage(test, k))) == 1)


def shortest(wanted: Sequence[Kind]) -> March:
    """The shortest test that finds every fault of the classes wanted."""
    able = [t for t in TESTS if set(wanted) <= full(t)]
    return min(able, key=lambda t: t.length)


def seconds(test: March, words: int, access: float) -> float:
    """Running time [s] over `words` addresses at `access` seconds a read or write."""
    return test.length * words * access
