"""Reference numbers kept in YAML beside the tests, and the little it takes to run a circuit.

Every entry names its source and how the number was read; an entry that does not is refused here,
so no test can run on a number of unknown origin.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import LoadValue
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import predict
from halfsplit.faults.predictions import Predictions

HERE = Path(__file__).parent
READ = {"found", "second-hand", "re-computed", "from memory, unconfirmed"}


def entries(name: str) -> dict[str, dict[str, Any]]:
    """Entries of one YAML file. Raises ValueError when one does not say where it comes from."""
    found: dict[str, dict[str, Any]] = YAML(typ="safe").load((HERE / name).read_text("utf-8"))
    for key, entry in found.items():
        if not str(entry.get("source", "")).strip() or entry.get("read") not in READ:
            raise ValueError(f"{name}: {key}: give `source` and `read` (one of {sorted(READ)})")
    return found


def machine(text: str) -> Machine:
    """Circuit text in the assembly format as a machine; every problem fails the test."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "circuit.yaml"
        path.write_text(text, encoding="utf-8")
        assembly, problems = load(path)
    assert assembly is not None, "\n".join(str(p) for p in problems)
    return Machine(assembly)


def solve(circuit: Machine, **loads: LoadValue) -> Predictions:
    """Healthy readings with its first feed, loads given as net=LoadValue(...)."""
    feed = circuit.assembly.default_feed()
    condition = Condition(feed, extra=tuple(sorted(loads.items())))
    table = predict(circuit, condition, [{}], moves=[])
    assert Status(int(table.status[0])) is not Status.UNSOLVED
    return table


def volts(table: Predictions, net: str, other: str = "") -> float:
    """Reading at `net` against `other` (common when not given) [V]."""
    return float(table.mean[0, table.column(net)] - table.mean[0, table.column(other)])
