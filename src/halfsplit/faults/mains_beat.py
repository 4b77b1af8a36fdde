"""Whether a machine keeps time by itself as it is fed, and its rows on the mains if it does."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.solution import Floats
from halfsplit.circuit.threads import Progress
from halfsplit.circuit.topology import Topology
from halfsplit.faults.followed import followed
from halfsplit.faults.kept_under import table_folder
from halfsplit.faults.store import load_arrays, store_arrays
from halfsplit.faults.two_scales import (
    BEATING,
    SHAKE,
    Halves,
    TwoScales,
    halves,
    on_two_scales,
)


@dataclass(frozen=True)
class Good:
    """The good machine on the mains: mean volts of its reservoirs and what is drawn there [S] (R),
    what each net moves by when they all move by their whole volts [V] (N), and whether it beats."""

    level: Floats
    drawn: Floats
    through: Floats
    beats: bool


_PARTED: list[tuple[Topology, Halves | None]] = []  # of the machines last used, which are few
_GOOD: dict[str, Good] = {}  # by the folder it is kept in


def keeps_time(machine: Machine, condition: Condition) -> bool:
    """Whether rows of a condition are followed from switch-on, for they keep time by themselves.

    On the mains that is asked of the good machine, every part in its place: one with a filter
    choke and nothing that beats is solved over the mains cycle as a whole.
    """
    if not machine.self_oscillating:
        return False
    hertz = machine.alternating(condition)
    if not hertz:
        return True
    good = good_on_mains(machine, condition, hertz)
    return good is not None and good.beats


def solve_beating(
    machine: Machine,
    condition: Condition,
    rows: Floats,
    hertz: float,
    progress: Progress | None = None,
) -> TwoScales:
    """Rows (B, P) of a condition for which :func:`keeps_time` holds, fed by mains of `hertz` [Hz].

    Raises ValueError for a machine that cannot be parted at its reservoirs.
    """
    parts, good = parted(machine), good_on_mains(machine, condition, hertz)
    if parts is None or good is None:
        raise ValueError("not parted at its reservoirs")
    return on_two_scales(
        parts, rows, hertz, begin=(good.level, good.drawn), through=good.through, progress=progress
    )


def good_row(machine: Machine, condition: Condition) -> Floats:
    """The good machine's row (1, P) of a condition in which it keeps time; on the mains with its
    reservoirs held at their means."""
    row = machine.topology.rows([machine.values(condition)])
    hertz = machine.alternating(condition)
    parts = parted(machine)
    good = good_on_mains(machine, condition, hertz) if hertz else None
    if parts is None or good is None:
        return row
    return parts.held(row, good.level[None], good.drawn[None])


def good_on_mains(machine: Machine, condition: Condition, hertz: float) -> Good | None:
    """The good machine, every part in its place; None where it cannot be parted.

    One that could not be solved does not count as beating.
    """
    parts = parted(machine)
    if parts is None:
        return None
    whole = replace(condition, changes=())
    path = table_folder(machine, whole, [], "on two scales") / "good.npz"
    if path.as_posix() in _GOOD:
        return _GOOD[path.as_posix()]
    kept = load_arrays(path)
    if kept is None or kept.keys() != {"level", "drawn", "through", "beats"}:
        row = machine.topology.rows([machine.values(whole)])
        both = on_two_scales(parts, row, hertz)
        beats = int(both.solved.status[0]) in BEATING
        through = np.zeros(len(parts.whole.nets))
        if beats:
            shaken = np.vstack([both.level * (1.0 + SHAKE), both.level * (1.0 - SHAKE)])
            twice, drawn = (np.vstack([a, a]) for a in (row, both.drawn))
            moved = followed(parts.whole, parts.held(twice, shaken, drawn))[0]
            if all(int(s) in BEATING for s in moved.status):
                through = (moved.mean[0] - moved.mean[1]) / (2.0 * SHAKE)
        kept = {"level": both.level[0], "drawn": both.drawn[0], "through": through}
        kept["beats"] = np.array(beats)
        store_arrays(path, kept)
    good = Good(kept["level"], kept["drawn"], kept["through"], bool(kept["beats"]))
    _GOOD[path.as_posix()] = good
    return good


def parted(machine: Machine) -> Halves | None:
    """The machine's halves, made once; None where it cannot be parted at its reservoirs."""
    topology = machine.topology
    for known, parts in _PARTED:
        if known is topology:
            return parts
    parts = halves(machine)
    _PARTED.append((topology, parts))
    del _PARTED[:-6]
    return parts
