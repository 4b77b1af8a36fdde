"""Where on disk what was solved is kept: under a name made of everything it depends on."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

from halfsplit import __version__
from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import SOLVER_DIGEST
from halfsplit.circuit.netlist import Overrides
from halfsplit.faults.store import cache_folder

TABLE_FORMAT = 5  # of what is kept on disk


def table_folder(
    machine: Machine, condition: Condition, faults: Sequence[Overrides], more: str = ""
) -> Path:
    """Folder for what follows from some faults: a name made of everything that depends on."""
    topology = machine.topology
    digest = hashlib.sha256()
    digest.update(f"{__version__} {SOLVER_DIGEST} {TABLE_FORMAT}".encode())
    digest.update(topology.base.tobytes())
    digest.update(repr(topology.nets).encode())
    digest.update(repr([(e.name, type(e).__name__, e.nets) for e in machine.netlist]).encode())
    digest.update(repr(sorted(machine.values(condition).items())).encode())
    digest.update(repr(machine.alternating(condition)).encode())
    digest.update(repr([sorted(f.items()) for f in faults]).encode())
    digest.update(more.encode())
    return cache_folder() / "dictionary" / digest.hexdigest()[:32]
