"""Fault dictionaries on disk, chunk by chunk, so that a run stopped halfway is not begun again."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from zipfile import BadZipFile

import numpy as np
import platformdirs

from halfsplit import __version__
from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import SOLVER_DIGEST
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.threads import Progress
from halfsplit.faults.dictionary import Predictions, predict, uncertainties

CHUNK = 24  # rows solved between two looks for Ctrl-C that keep their work: under a second's worth
SMALL = ("spread",)  # kept in single precision; the rest is the reading itself


def _own_digest() -> str:
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


FAULTS_DIGEST = _own_digest()


class DictionaryCache:
    """Predictions kept in memory, and on disk by content so that tomorrow's start is warm.

    Each chunk of rows is a file of its own, written as soon as it is solved. Rows do not depend on
    each other, so a dictionary is the same whether it was computed in one go or resumed.
    """

    def __init__(self, machine: Machine, faults: Sequence[Overrides]) -> None:
        self.machine = machine
        self.faults = list(faults)
        self.moves = uncertainties(machine)
        self._known: dict[Condition, Predictions] = {}

    def get(self, condition: Condition, progress: Progress | None = None) -> Predictions:
        """Predictions of every hypothesis in a condition, computed at most once.

        `progress(done, rows)` is called after each chunk that had to be solved. KeyboardInterrupt
        passes through; chunks finished by then are on disk.
        """
        if condition not in self._known:
            folder, count = self.folder(condition), len(self.faults)
            chunks = []
            for begin in range(0, count, CHUNK):
                path = folder / f"{begin:06d}.npz"
                faults = self.faults[begin : begin + CHUNK]
                found = _load(path, len(faults))
                if found is None:
                    found = predict(self.machine, condition, faults, moves=self.moves)
                    _store(path, found)
                    if progress:
                        progress(min(begin + CHUNK, count), count)
                chunks.append(found)
            if progress:
                progress(count, count)
            self._known[condition] = _joined(chunks)
        return self._known[condition]

    def folder(self, condition: Condition) -> Path:
        """Where the chunks of a condition are kept: a name made of everything they depend on."""
        topology = self.machine.topology
        digest = hashlib.sha256()
        digest.update(f"{__version__} {SOLVER_DIGEST} {FAULTS_DIGEST}".encode())
        digest.update(topology.base.tobytes())
        digest.update(repr(topology.nets).encode())
        digest.update(
            repr([(e.name, type(e).__name__, e.nets) for e in self.machine.netlist]).encode()
        )
        state = self.machine.values(condition)
        digest.update(repr(sorted(state.items())).encode())
        digest.update(repr(self.machine.alternating(condition)).encode())
        digest.update(repr([sorted(f.items()) for f in self.faults]).encode())
        digest.update(repr([(m.name, sorted(m.changes.items())) for m in self.moves]).encode())
        root = os.environ.get("HALFSPLIT_CACHE") or platformdirs.user_cache_dir("halfsplit")
        return Path(root) / "dictionary" / digest.hexdigest()[:32]


def _joined(chunks: Sequence[Predictions]) -> Predictions:
    if not chunks:
        raise ValueError("a dictionary of no hypotheses")
    names = [f.name for f in fields(Predictions) if f.name != "nets"]
    whole = {n: np.concatenate([getattr(c, n) for c in chunks]) for n in names}
    return Predictions(nets=chunks[0].nets, **whole)


def _load(path: Path, rows: int) -> Predictions | None:
    try:
        with np.load(path) as data:
            nets = tuple(json.loads(str(data["nets"])))
            names = [f.name for f in fields(Predictions) if f.name != "nets"]
            found = Predictions(nets=nets, **{n: data[n] for n in names})
    except (OSError, ValueError, KeyError, EOFError, BadZipFile):
        return None  # absent or damaged: it is only a cache, compute it again
    return found if len(found.status) == rows else None


def _store(path: Path, found: Predictions) -> None:
    """Write beside and rename, so that a killed run leaves no half file; failing is no loss."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        trial = path.with_name(f"{path.stem}.{os.getpid()}.part")
        values = {f.name: getattr(found, f.name) for f in fields(Predictions) if f.name != "nets"}
        for name in SMALL:
            values[name] = values[name].astype(np.float32)
        with trial.open("wb") as stream:
            np.savez(stream, nets=json.dumps(found.nets), **values)
        trial.replace(path)
    except OSError:
        return
