"""Compile a netlist once into index arrays; every later solve changes only a row of values."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Netlist, Overrides
from halfsplit.circuit.sparse import Pattern, analyse

MAX_TERMINALS = 5
# A contact is straight in whichever state it is; a source is straight unless its limit is finite.
STRAIGHT = (el.RESISTOR, el.CAPACITOR, el.INDUCTOR, el.SOURCE, el.WINDING, el.CONTACT)
STORES = (el.CAPACITOR, el.INDUCTOR, el.DIODE, el.BJT)
Floats = npt.NDArray[np.float64]
# Unsigned, so that compiled code need not look for negative indices.
Ints = npt.NDArray[np.uint32]


class Arrays(NamedTuple):
    """What the compiled kernel sees. E elements, N unknown nets; index N is common."""

    code: Ints  # (E)
    nodes: Ints  # (E, 5)
    offset: Ints  # (E) first parameter
    jac: Ints  # (E, 5, 5) positions in the flat matrix
    lu: Pattern
    n: int
    self_pos: Ints  # (N) position of each net's own diagonal entry
    straight: Ints  # elements whose current is a straight line in the net voltages
    curved: Ints  # the others, which each Newton step must visit
    store: Ints  # elements that remember: capacitors, inductors, junctions with charge


@dataclass(frozen=True)
class Topology:
    """A compiled netlist.

    Attributes
    ----------
    nets: unknown nets in solver order; common is not among them.
    base: parameter vector of the healthy circuit (P).
    """

    netlist: Netlist
    nets: tuple[str, ...]
    arrays: Arrays
    base: Floats
    slot: Mapping[tuple[str, str], int]
    element_index: Mapping[str, int]
    net_index: Mapping[str, int]

    def rows(self, overrides: Iterable[Overrides]) -> Floats:
        """Parameter matrix (B, P): the base row with each set of changes laid over it.

        Raises KeyError when an override names an element or parameter that does not exist.
        """
        rows = list(overrides)
        values = np.tile(self.base, (len(rows), 1))
        for row, changes in zip(values, rows, strict=True):
            for key, value in changes.items():
                row[self.slot[key]] = value
        return values


def compile_netlist(netlist: Netlist) -> Topology:
    """Number nets and parameters, find the sparse pattern, and freeze both."""
    nets = netlist.nets()
    net_index = {net: i for i, net in enumerate(nets)}
    n = len(nets)
    net_index_all = {**net_index, netlist.common: n}
    elements = list(netlist)
    code = np.array([e.CODE for e in elements], dtype=np.uint32)
    nodes = np.full((len(elements), MAX_TERMINALS), n, dtype=np.uint32)
    offset = np.zeros(len(elements), dtype=np.uint32)
    base: list[float] = []
    slot: dict[tuple[str, str], int] = {}
    entries = {(i, i) for i in range(n)}
    for index, element in enumerate(elements):
        where = [net_index_all[net] for net in element.nets]
        nodes[index, : len(where)] = where
        offset[index] = len(base)
        for name, value in zip(element.PARAMS, element.vector(), strict=True):
            slot[element.name, name] = len(base)
            base.append(value)
        entries.update((i, j) for i in where for j in where if i < n and j < n)
    pattern, position = analyse(n, entries)
    jac = np.full((len(elements), MAX_TERMINALS, MAX_TERMINALS), pattern.nnz, dtype=np.uint32)
    for index, element in enumerate(elements):
        where = [net_index_all[net] for net in element.nets]
        for a, i in enumerate(where):
            for b, j in enumerate(where):
                if i < n and j < n:
                    jac[index, a, b] = position[i, j]
    self_pos = np.array([position[i, i] for i in range(n)], dtype=np.uint32)
    arrays = Arrays(
        code,
        nodes,
        offset,
        jac,
        pattern,
        n,
        self_pos,
        _choose(elements, lambda e: e.CODE in STRAIGHT),
        _choose(elements, lambda e: e.CODE not in STRAIGHT or isinstance(e, el.Source)),
        _choose(elements, lambda e: e.CODE in STORES),
    )
    return Topology(
        netlist,
        tuple(nets),
        arrays,
        np.array(base),
        slot,
        {e.name: i for i, e in enumerate(elements)},
        net_index,
    )


def _choose(elements: Sequence[el.Element], test: Callable[[el.Element], bool]) -> Ints:
    """Indices of the elements that pass, sorted by kind so that the compiled loop branches well."""
    found = [(e.CODE, i) for i, e in enumerate(elements) if test(e)]
    return np.array([i for _, i in sorted(found)], dtype=np.uint32)
