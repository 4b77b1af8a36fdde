"""Rows a circuit is solved in to be held against its file, and solving variants in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.printed import Printed
from halfsplit.circuit import elements as el
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.heat import element_watts
from halfsplit.circuit.netlist import Netlist, Overrides
from halfsplit.circuit.rewire import Rewired, Variant, rewirable, solve_variants
from halfsplit.circuit.solution import Floats
from halfsplit.circuit.threads import Progress


@dataclass(frozen=True)
class Row:
    """One solved state and what the file claims of it.

    Attributes
    ----------
    says: the state in words.
    printed: entries of printed volts that hold here.
    rails: names of rails that must be within limits here.
    held: by choke, volts its rail is held at, without sign.
    switch: by choke, +1 where its switch must be on, -1 off; empty where nothing beats.
    fired: whether a thyristor must have fired (True), must not (False), or may (None).
    expected: by net, volts the feeds say and the share they may be off.
    ohms: path of the claim, net, ohms to common and the share it may be off, of a dead machine.
    rated: whether ratings are judged here.
    """

    says: str
    overrides: Overrides
    condition: Condition
    printed: tuple[tuple[str, Printed], ...] = ()
    rails: tuple[str, ...] = ()
    switch: Mapping[str, int] = field(default_factory=dict)
    held: Mapping[str, float] = field(default_factory=dict)
    fired: bool | None = None
    expected: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    ohms: tuple[str, str, float, float] | None = None
    rated: bool = False


@dataclass(frozen=True)
class View:
    """A netlist and the rows it is solved in."""

    kind: Literal["direct", "static", "mains"]
    netlist: Netlist
    rows: tuple[Row, ...]
    hertz: float = 0.0

    def nets(self) -> list[str]:
        """Its nets, in the solver's order."""
        return self.netlist.nets()

    def concerns(self, elements: Mapping[str, el.Element]) -> bool:
        """Whether all of these elements, and the nets they are on, have a place here."""
        there = {*self.nets(), self.netlist.common}
        return bool(elements) and all(
            n in self.netlist.elements and there.issuperset(e.nets) for n, e in elements.items()
        )


@dataclass(frozen=True)
class Solved:
    """Variants in the rows of a view: volts (V, C, N+1), common last; latched (V, C, E).

    `ripple` is from peak to peak [V] (V, C, N+1), nought where nothing alternates; `watts` of the
    elements asked about, by name [W] (V, C).
    """

    volts: Floats
    latched: Any
    names: tuple[str, ...]  # elements, in the order of `latched`
    ripple: Floats
    watts: Mapping[str, Floats] = field(default_factory=dict)


def solve(
    view: View,
    variants: Sequence[Variant],
    rows: Sequence[int],
    start: Floats | None,
    progress: Progress | None = None,
    *,
    thorough: bool = False,
    watts: Sequence[str] = (),
) -> Solved:
    """Solve variants in some rows of a view; those that move the same elements together.

    `start` [V] (C, N) are the volts each row begins at, none for zero; `watts` names the elements
    whose heat is wanted, which over a mains cycle is not told.
    """
    n = len(view.nets())
    conditions = [view.rows[i].overrides for i in rows]
    begin = np.zeros((len(rows), n)) if start is None else start
    made = _room(view.netlist)
    names = tuple(view.netlist.elements)
    volts = np.zeros((len(variants), len(rows), n))
    ripple = np.zeros_like(volts)
    if view.kind == "mains":
        latched = np.zeros((len(variants), len(rows), len(names)), dtype=np.int8)
        for i, variant in enumerate(variants):
            volts[i], ripple[i] = _cycle(made, variant, conditions, view.hertz)
            if progress:
                progress(i + 1, len(variants))
    else:
        volts, _, latched = solve_variants(
            made, variants, conditions, begin, progress, thorough=thorough
        )
    warm: dict[str, Floats] = {}
    if view.kind != "mains":
        there = [n for n in watts if n in made.topology.element_index]
        warm = _warmth(made, variants, conditions, volts, latched, there)
    pad = [(0, 0), (0, 0), (0, 1)]
    return Solved(np.pad(volts, pad), latched, names, np.pad(ripple, pad), warm)


def _warmth(
    made: Rewired,
    variants: Sequence[Variant],
    conditions: Sequence[Overrides],
    volts: Floats,
    latched: Any,
    names: Sequence[str],
) -> dict[str, Floats]:
    """Watts some elements turn into heat in solved rows, by name (V, C); NaN where unsolved."""
    if not names:
        return {}
    topology = made.topology
    at = [topology.element_index[n] for n in names]
    straight = topology.arrays.straight[np.isin(topology.arrays.straight, at)]
    curved = topology.arrays.curved[np.isin(topology.arrays.curved, at)]
    found = np.zeros((len(variants), len(conditions), len(names)))
    slots = [[(topology.slot[k], v) for k, v in c.items()] for c in conditions]
    for i, variant in enumerate(variants):
        arrays, base = made.arrays(variant)
        few = arrays._replace(straight=straight, curved=curved)
        rows = np.tile(base, (len(conditions), 1))
        for row, changes in zip(rows, slots, strict=True):
            for slot, value in changes:
                row[slot] = value
        made_so = replace(topology, arrays=few)
        found[i] = element_watts(made_so, rows, volts[i], latched[i])[:, at]
    return {n: found[:, :, k] for k, n in enumerate(names)}


_ROOMS: list[tuple[Netlist, Rewired]] = []  # of the netlists last used, which are few


def _room(netlist: Netlist) -> Rewired:
    for known, made in _ROOMS:
        if known is netlist:
            return made
    _ROOMS.append((netlist, rewirable(netlist)))
    del _ROOMS[:-6]
    return _ROOMS[-1][1]


def _cycle(
    made: Rewired, variant: Variant, conditions: Sequence[Overrides], hertz: float
) -> tuple[Floats, Floats]:
    """Mean of each net, and what it swings by."""
    arrays, base = made.arrays(variant)
    topology = replace(made.topology, arrays=arrays)
    rows = np.tile(base, (len(conditions), 1))
    for row, changes in zip(rows, conditions, strict=True):
        for key, value in changes.items():
            row[topology.slot[key]] = value
    found = mains_cycle(topology, rows, hertz, most=40)
    return found.mean, found.high - found.low
