"""Rows of a circuit that keeps time by itself, each followed once and kept on disk by content.

One takes seconds. Sets of faults come up again with every reading, in the next session, and for
another machine of the same file; what a row comes to depends on nothing but the circuit and itself.
Each is on disk as soon as it is finished: an interruption costs only those under way, one a core.
"""

from __future__ import annotations

import hashlib
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit import __version__
from halfsplit.circuit import SOLVER_DIGEST
from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Floats, Rhythm, Solution
from halfsplit.circuit.threads import Progress, asking, spread
from halfsplit.circuit.topology import Topology
from halfsplit.faults.store import cache_folder, load_arrays, store_arrays

Row = dict[str, npt.NDArray[Any]]
_SOLUTION, _RHYTHM = ([f.name for f in fields(kind)] for kind in (Solution, Rhythm))


def followed(
    topology: Topology, rows: Floats, progress: Progress | None = None
) -> tuple[Solution, Rhythm]:
    """What :func:`halfsplit.circuit.follow.follow` makes of these rows (B, P), from switch-on.

    KeyboardInterrupt passes through; every row finished by then is kept.
    """
    if not len(rows):
        return follow(topology, rows)
    paths = _paths(topology, rows)
    known = {p: found for p in dict.fromkeys(paths) if (found := _kept(p)) is not None}
    missing = [p for p in dict.fromkeys(paths) if p not in known]
    first = {p: paths.index(p) for p in missing}

    def work(part: slice) -> None:
        for path in missing[part]:
            # Whoever may stop this asks between rows, not between a row and its file.
            with asking(lambda: None):
                solution, rhythm = follow(topology, rows[[first[path]]])
            row = {n: getattr(solution, n)[0] for n in _SOLUTION}
            row |= {n: getattr(rhythm, n)[0] for n in _RHYTHM}
            store_arrays(path, row)
            known[path] = row

    told = _shifted(progress, len(rows) - len(missing), len(rows))
    spread(work, len(missing), chunk=1, progress=told)
    if progress:
        progress(len(rows), len(rows))
    whole = {n: np.stack([known[p][n] for p in paths]) for n in (*_SOLUTION, *_RHYTHM)}
    return Solution(**{n: whole[n] for n in _SOLUTION}), Rhythm(**{n: whole[n] for n in _RHYTHM})


def _shifted(progress: Progress | None, before: int, whole: int) -> Progress | None:
    """Progress of the missing rows as progress of all; the last is told by the caller."""
    if progress is None:
        return None
    told = progress
    return lambda done, _: told(min(before + done, whole - 1), whole)


def _paths(topology: Topology, rows: Floats) -> list[Path]:
    """Where each row is kept: a name made of everything it depends on."""
    circuit = hashlib.sha256(f"{__version__} {SOLVER_DIGEST} 1".encode())
    listed = [(e.name, type(e).__name__, e.nets) for e in topology.netlist]
    circuit.update(repr((topology.nets, listed)).encode())
    folder = cache_folder() / "followed" / circuit.hexdigest()[:32]
    return [folder / f"{hashlib.sha256(row.tobytes()).hexdigest()[:32]}.npz" for row in rows]


def _kept(path: Path) -> Row | None:
    found = load_arrays(path)
    return found if found is not None and found.keys() == {*_SOLUTION, *_RHYTHM} else None
