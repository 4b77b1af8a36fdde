"""Every pair of faults in one condition, means only: enough to see which pairs are worth a look.

Where the machine stands still each pair is solved. Behind a mains rectifier each rectified net is
held at the level the two faults give it one by one, added up; where it keeps time by itself the
effects of the two are simply added. What looks promising is then solved for what it is.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.threads import Progress
from halfsplit.faults.dictionary import DictionaryCache, held_rows
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.mains_beat import keeps_time
from halfsplit.faults.predictions import UNCLAIMED, Floats, Predictions
from halfsplit.faults.store import cache_folder, load_arrays, store_arrays

CHUNK = 4096
# Pairs above which not all are solved: half a minute of one core or so for a supply of 60 parts.
MOST_PAIRS = 200_000


@dataclass(frozen=True)
class PairMeans:
    """Readings of P pairs; columns as in the table of singles.

    Attributes
    ----------
    first, second: rows of the two in the table of singles (P).
    mean, ripple: [V] (P, N+1), single precision.
    ok: whether the pair solved (P).
    """

    first: npt.NDArray[np.int64]
    second: npt.NDArray[np.int64]
    mean: npt.NDArray[np.float32]
    ripple: npt.NDArray[np.float32]
    ok: npt.NDArray[np.bool_]


def pair_rows(
    singles: Sequence[Hypothesis], start: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Rows of every two faults of different parts; of too many the likeliest are kept."""
    index = np.arange(start, len(singles))
    a, b = np.triu_indices(len(index), 1)
    first, second = index[a], index[b]
    parts = np.array([h.parts[0] if h.parts else "" for h in singles])
    other = parts[first] != parts[second]
    first, second = first[other], second[other]
    if len(first) > MOST_PAIRS:
        prior = np.array([h.prior for h in singles])
        order = np.argsort(-(prior[first] * prior[second]), kind="stable")[:MOST_PAIRS]
        order.sort()
        first, second = first[order], second[order]
    return first, second


def pair_means(
    dictionary: DictionaryCache,
    singles: Sequence[Hypothesis],
    condition: Condition,
    progress: Progress | None = None,
) -> PairMeans:
    """Means of every pair of single faults (rows of `singles` from the third), kept on disk."""
    table = dictionary.get(condition, progress)
    first, second = pair_rows(singles, 2)
    machine = dictionary.machine
    if keeps_time(machine, condition):
        return _added(table, first, second)
    digest = hashlib.sha256(f"{dictionary.folder(condition).name} pairs".encode())
    digest.update(first.tobytes() + second.tobytes())
    path = cache_folder() / "pairs" / f"{digest.hexdigest()[:32]}.npz"
    stored = load_arrays(path)
    if stored is not None and {"mean", "ripple", "ok"} <= set(stored):
        return PairMeans(first, second, stored["mean"], stored["ripple"], stored["ok"])
    made = _solved(dictionary, condition, table, first, second, progress)
    store_arrays(path, {"mean": made.mean, "ripple": made.ripple, "ok": made.ok})
    return made


def _added(
    table: Predictions, first: npt.NDArray[np.int64], second: npt.NDArray[np.int64]
) -> PairMeans:
    mean = table.mean[first] + table.mean[second] - table.mean[0]
    ripple = np.maximum(table.ripple[first] + table.ripple[second] - table.ripple[0], 0.0)
    claimed = ~np.isin(table.status, UNCLAIMED)
    ok = claimed[first] & claimed[second] & np.isfinite(mean).all(axis=1)
    return PairMeans(
        first,
        second,
        np.nan_to_num(mean).astype(np.float32),
        np.nan_to_num(ripple).astype(np.float32),
        ok,
    )


def _solved(
    dictionary: DictionaryCache,
    condition: Condition,
    table: Predictions,
    first: npt.NDArray[np.int64],
    second: npt.NDArray[np.int64],
    progress: Progress | None,
) -> PairMeans:
    topology, state = dictionary.machine.topology, dictionary.machine.values(condition)
    alone = topology.rows([{**f, **state} for f in dictionary.faults])
    made = []
    for begin in range(0, len(first), CHUNK):
        part = slice(begin, begin + CHUNK)
        one, two = alone[first[part]], alone[second[part]]
        rows = np.where(two != alone[0], two, one)
        made.append(_means(dictionary, condition, table, rows, first[part], second[part]))
        if progress:
            progress(min(begin + CHUNK, len(first)), len(first))
    whole = {n: np.concatenate([getattr(m, n) for m in made]) for n in ("mean", "ripple", "ok")}
    return PairMeans(first, second, **whole)


def _means(
    dictionary: DictionaryCache,
    condition: Condition,
    table: Predictions,
    rows: Floats,
    first: npt.NDArray[np.int64],
    second: npt.NDArray[np.int64],
) -> PairMeans:
    """Solve rows that hold two faults of the table each (or one twice), from the first's levels."""
    machine = dictionary.machine
    topology = machine.topology
    at = [topology.net_index[n] for n in table.nets]
    levels = np.nan_to_num(table.mean)
    both = (first != second)[:, None]
    start = np.zeros((len(rows), topology.arrays.n))
    start[:, at] = levels[first, :-1]
    if machine.alternating(condition) is not None:
        held = start.copy()
        held[:, at] += np.where(both, levels[second, :-1] - levels[0, :-1], 0.0)
        rows = held_rows(machine, rows, held, sags=False)
    found = operating_point(topology, rows, start)
    mean = np.zeros((len(rows), len(table.nets) + 1), dtype=np.float32)
    mean[:, :-1] = np.nan_to_num(found.mean[:, at])
    added = np.where(both, table.ripple[second] - table.ripple[0], 0.0)
    ripple = np.maximum(np.nan_to_num(table.ripple[first] + added), 0.0).astype(np.float32)
    return PairMeans(first, second, mean, ripple, ~np.isin(found.status, UNCLAIMED))


def size_means(
    dictionary: DictionaryCache, singles: Sequence[Hypothesis], condition: Condition
) -> tuple[list[tuple[int, float]], PairMeans] | None:
    """Means of every single fault at other sizes, as (row, scale) and what they read.

    Not for a circuit that keeps time by itself, where each would have to be followed.
    """
    machine = dictionary.machine
    if keeps_time(machine, condition):
        return None
    which = [
        (i, scale)
        for i, h in enumerate(singles)
        if len(h.faults) == 1 and h.sizes
        for scale in h.faults[0].scales
    ]
    table = dictionary.get(condition)
    row = np.array([i for i, _ in which], dtype=np.int64)
    state = machine.values(condition)
    changes = [{**singles[i].faults[0].at(scale).changes, **state} for i, scale in which]
    made = _means(dictionary, condition, table, machine.topology.rows(changes), row, row)
    return which, made
