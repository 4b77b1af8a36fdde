"""Solve a circuit again and again with an element or two at other nets or other values.

A fault changes values only and is a row of one compiled topology. A mistyped net changes the
pattern, so the pattern is laid out once with room for every place the moved elements may go, and
each variant then has index lists of its own over the same elimination.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from halfsplit.circuit.elements import Element
from halfsplit.circuit.netlist import Netlist, Overrides
from halfsplit.circuit.solution import Floats, Status
from halfsplit.circuit.sparse import analyse
from halfsplit.circuit.threads import Progress, spread
from halfsplit.circuit.topology import Arrays, Topology, compile_netlist

Variant = Mapping[str, Element]  # element name -> what stands there instead
_FAILED = int(Status.UNSOLVED)
CHUNK = 64  # variants solved between two looks at whether to go on


@dataclass(frozen=True)
class Rewired:
    """A compiled netlist with room for its variants."""

    topology: Topology
    position: Mapping[tuple[int, int], int]

    def arrays(self, variant: Variant) -> tuple[Arrays, Floats]:
        """Index lists and base row of a variant. Raises KeyError for an element or a net
        the netlist does not have."""
        ar, base = self.topology.arrays, self.topology.base.copy()
        nodes, jac = ar.nodes, ar.jac
        moved = [e for n, e in variant.items() if self.topology.netlist.elements[n].nets != e.nets]
        if moved:
            nodes, jac = nodes.copy(), jac.copy()
        for name, element in variant.items():
            begin = int(ar.offset[self.topology.element_index[name]])
            vector = element.vector()
            base[begin : begin + len(vector)] = vector
        for element in moved:
            index = self.topology.element_index[element.name]
            where = self.where(element.nets)
            nodes[index, : len(where)] = where
            for a, i in enumerate(where):
                for b, j in enumerate(where):
                    inside = i < ar.n and j < ar.n
                    jac[index, a, b] = self.position[i, j] if inside else ar.lu.nnz
        return ar._replace(nodes=nodes, jac=jac), base

    def where(self, nets: Iterable[str]) -> list[int]:
        """Unknown of each net; that of common is the number of unknowns."""
        common = self.topology.netlist.common
        index = self.topology.net_index
        return [self.topology.arrays.n if n == common else index[n] for n in nets]


def rewirable(netlist: Netlist) -> Rewired:
    """Compile a netlist so that any element may go to any of its nets.

    The pattern is full: for the few dozen nets of a supply an elimination takes some ten
    microseconds more than a sparse one, where a layout for each place takes tens of milliseconds.
    """
    plain = compile_netlist(netlist)
    n = plain.arrays.n
    index = {**plain.net_index, netlist.common: n}
    pairs = {(i, j) for i in range(n) for j in range(n)}
    pattern, position = analyse(n, pairs)
    ar = plain.arrays
    jac = np.full_like(ar.jac, pattern.nnz)
    for k, element in enumerate(netlist):
        where = [index[net] for net in element.nets]
        for a, i in enumerate(where):
            for b, j in enumerate(where):
                if i < n and j < n:
                    jac[k, a, b] = position[i, j]
    own = np.array([position[i, i] for i in range(n)], dtype=np.uint32)
    arrays = ar._replace(jac=jac, lu=pattern, self_pos=own)
    return Rewired(replace(plain, arrays=arrays), position)


def solve_variants(
    made: Rewired,
    variants: Sequence[Variant],
    conditions: Sequence[Overrides],
    start: Floats,
    progress: Progress | None = None,
    *,
    thorough: bool = False,
) -> tuple[Floats, np.ndarray, np.ndarray]:
    """Operating point of every variant in every condition.

    `start` [V] (C, N) is where each condition begins. Unless `thorough`, a row that does not come
    by a few tries is given up. Returns net voltages (V, C, N), NaN where a
    row was not solved, statuses (V, C) and elements that ended latched (V, C, E).
    """
    # These load the compiler: only when needed.
    from halfsplit.circuit.compiled_op import solve_rows
    from halfsplit.circuit.compiled_quick import try_rows
    from halfsplit.circuit.kernel import make_rest, make_work

    topology = made.topology
    count, states, n = len(variants), len(conditions), topology.arrays.n
    out = np.zeros((count, states, n))
    status = np.zeros((count, states), dtype=np.int8)
    latched = np.zeros((count, states, topology.arrays.code.size), dtype=np.int8)
    slots = [[(topology.slot[k], v) for k, v in c.items()] for c in conditions]
    begin = np.ascontiguousarray(np.nan_to_num(start))

    def work(part: slice) -> None:
        res = np.zeros(states)
        for i in range(part.start, part.stop):
            arrays, base = made.arrays(variants[i])
            rows = np.tile(base, (states, 1))
            for row, changes in zip(rows, slots, strict=True):
                for at, value in changes:
                    row[at] = value
            rest, room = make_rest(arrays), make_work(arrays)
            if thorough:
                solve_rows(arrays, rows, begin, 0, out[i], status[i], res, latched[i], rest, room)
            else:
                try_rows(arrays, rows, begin, out[i], status[i], latched[i], rest, room)

    spread(work, count, chunk=CHUNK, progress=progress)
    out[status == _FAILED] = np.nan
    return out, status, latched
