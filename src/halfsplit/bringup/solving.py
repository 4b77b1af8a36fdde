"""Rows of one machine in one condition, with watts: what every plan here asks the solver for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.heat import element_watts
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move
from halfsplit.circuit.threads import Progress
from halfsplit.faults.dictionary import held_rows, predict
from halfsplit.faults.kept_under import table_folder
from halfsplit.faults.predictions import KEPT, UNCLAIMED, Predictions
from halfsplit.faults.store import load_arrays, store_arrays
from halfsplit.problems import ExitCode, HalfsplitError

SHORTED = 100.0  # S, a short through an ammeter and its leads: 10 mohm


class UnsolvedError(HalfsplitError):
    """The circuit could not be solved as asked, so no plan is made of it."""

    exit_code = ExitCode.UNSOLVED


@dataclass(frozen=True)
class Bench:
    """A machine as it stands: condition, and what is known to be wrong with it.

    Loads of the condition are left out; each row lays its own. `progress` gets rows solved and rows
    in all, batch by batch, and may raise to stop.
    """

    machine: Machine
    condition: Condition
    faults: Overrides
    progress: Progress | None = None

    def bare(self) -> Condition:
        """The condition without loads."""
        return replace(self.condition, load="none", extra=())

    def solve(self, laid: Sequence[Overrides], moves: Sequence[Move] = ()) -> Predictions:
        """One row for each set of values laid over the rest.

        Raises UnsolvedError when nothing feeds the machine.
        """
        if not self.condition.energised():
            raise UnsolvedError("the machine is off; name what would feed it, as --feed mains")
        rows = [self.faults] * len(laid)
        if not self.machine.self_oscillating:
            return self._predict(rows, laid, moves)
        # A row followed from switch-on takes seconds, so these are kept on disk.
        more = repr(("bench", [sorted(new.items()) for new in laid], [m.name for m in moves]))
        path = table_folder(self.machine, self.bare(), rows, more) / "rows.npz"
        kept = load_arrays(path)
        if kept is None or not {*KEPT, "nets"} <= set(kept):
            table = self._predict(rows, laid, moves)
            kept = {n: getattr(table, n) for n in KEPT} | {"nets": np.array(table.nets)}
            store_arrays(path, kept)
        arrays: dict[str, Any] = {n: kept[n] for n in KEPT}
        return Predictions(nets=tuple(map(str, kept["nets"])), **arrays)

    def _predict(
        self, rows: Sequence[Overrides], laid: Sequence[Overrides], moves: Sequence[Move]
    ) -> Predictions:
        told = self.progress
        return predict(self.machine, self.bare(), rows, fresh=laid, moves=moves, progress=told)

    def watts(self, laid: Sequence[Overrides], table: Predictions) -> dict[str, list[float]]:
        """Mean heat in each part [W], row by row; NaN where it cannot be told.

        Behind a mains rectifier each rectified net is held at its cycle mean, so nothing is told of
        the rectifiers themselves.
        """
        topology, state = self.machine.topology, self.machine.values(self.bare())
        rows = topology.rows([{**self.faults, **state, **new} for new in laid])
        mean = np.full((len(laid), len(topology.nets)), np.nan)
        for net in table.nets:
            mean[:, topology.net_index[net]] = table.mean[:, table.column(net)]
        if self.machine.alternating(self.condition):
            rows = held_rows(self.machine, rows, mean)
        flat = operating_point(topology, rows, np.nan_to_num(mean))
        heat = element_watts(topology, rows, flat.mean, flat.latched)
        found = {}
        for ref, part in self.machine.assembly.parts.items():
            at = [topology.element_index[e.name] for e in part.elements()]
            found[ref] = [float(w) for w in heat[:, at].sum(axis=1)]
        return found

    def claimed(self, table: Predictions, row: int) -> bool:
        """Whether a row solved, so that its numbers may be shown."""
        return int(table.status[row]) not in UNCLAIMED and bool(np.isfinite(table.mean[row]).all())


def loaded(net: str, ohms: float) -> Overrides:
    """Values that put a resistor on a net; infinite ohms put none."""
    return {(f"load:{net}", "g"): 1.0 / ohms if np.isfinite(ohms) else 1e-12}
