"""Spreads drawn on demand: only rows somebody asks for, and only where slopes cannot be trusted.

A dictionary has hundreds of rows, and a first-order spread is right for most of their nets. A row
that carries weight is tried with a few draws; where the nets being read, or about to be, bend away
from their slopes, that row is drawn in full. Both are kept on disk beside the dictionary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move
from halfsplit.faults.dictionary import STAND_IN, held_rows
from halfsplit.faults.draws import Tail, with_inverse
from halfsplit.faults.mains_beat import keeps_time
from halfsplit.faults.predictions import ADRIFT, UNCLAIMED, Predictions
from halfsplit.faults.sampling import BAND, DRAWS, PILOT, SEED, Drawn, Row, Sampler
from halfsplit.faults.store import load_arrays, store_arrays

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

FORMAT = f"7-{SEED}-{PILOT}-{DRAWS}"  # of what is kept on disk
# How far a row solved again may lie from its table [V] and still be the same state: rounding, and
# behind a rectifier what holding the rail at its mean costs (as where slopes are taken).
SAME, SAME_HELD = 0.01, 3.0
NINETY = 1.645  # sigmas to either end of a 90 % interval of a Gaussian


@dataclass
class _Tried:
    """What is known of one row: nets that bend, and the draws if they were ever needed."""

    bent: Bools
    row: Row | None = None
    first: Floats | None = None
    drawn: Drawn | None = None
    done: bool = False


class Spreads:
    """Spreads of a machine's rows, drawn when asked for and at most once."""

    def __init__(self, machine: Machine, moves: Sequence[Move]) -> None:
        """`moves` as :func:`halfsplit.faults.dictionary.uncertainties` gives them."""
        self.machine, self.moves = machine, list(moves)
        self._tried: dict[tuple[Condition, str], _Tried] = {}

    @cached_property
    def sampler(self) -> Sampler:
        """Draws of this circuit."""
        return Sampler(self.machine.topology, self.moves)

    def possible(self, condition: Condition) -> bool:
        """Whether a specimen is one solution of the direct-current equations.

        Not so where the circuit keeps time by itself, and with gas tubes each draw would have to be
        followed from switch-on: bands there stay first-order.
        """
        gas = any(isinstance(e, el.Gas) for e in self.machine.netlist)
        # Without the free moves at the end of the list there is nowhere to put what draws show.
        asked = bool(self.moves) and self.moves[-1].name == STAND_IN
        return (
            condition.energised() and asked and not gas and not keeps_time(self.machine, condition)
        )

    def drawn(
        self,
        condition: Condition,
        faults: Sequence[Overrides],
        table: Predictions,
        rows: Sequence[int],
        nets: Sequence[str],
        folder: Path | None = None,
    ) -> dict[int, Drawn]:
        """Draws of those of `rows` whose reading at any of `nets` slopes do not tell.

        `table` has a row for each of `faults`; `folder` is where what was drawn is kept. The
        columns of what is returned are those of `table`, common left out.
        """
        if not self.possible(condition):
            return {}
        key = {r: (condition, repr(sorted(faults[r].items()))) for r in rows}
        paths = {r: folder / f"spread-{r:06d}-{FORMAT}.npz" if folder else None for r in rows}
        for r, path in paths.items():
            stored = _restored(path) if key[r] not in self._tried and path else None
            if stored is not None:
                self._tried[key[r]] = stored
        new = [r for r in rows if key[r] not in self._tried]
        self._try(condition, faults, table, new, key)
        columns = [table.column(n) for n in nets if n in table.nets]
        found = {}
        for r in rows:
            tried = self._tried[key[r]]
            if tried.bent[columns].any() and not tried.done:
                if tried.row is None or tried.first is None:  # from disk, where it was not needed
                    self._try(condition, faults, table, [r], key)
                    tried = self._tried[key[r]]
                if tried.row is not None and tried.first is not None:
                    drawn = self.sampler.draw(tried.row, tried.first)
                    keep = [self.machine.topology.net_index[n] for n in table.nets]
                    tried.drawn = drawn.only(keep) if drawn else None
                tried.done = True
                _keep(paths[r], tried)
            elif r in new:
                _keep(paths[r], tried)
            if tried.drawn is not None:
                found[r] = tried.drawn
        return found

    def band(self, table: Predictions, row: int) -> Floats:
        """5 % and 95 % of good specimens read below this, less the marked reading [V] (2, N+1)."""
        if row in table.drawn:
            return table.drawn[row].band
        return self.sampler.linear_band(table.spread[row])

    def between(self, table: Predictions, row: int, a: int, b: int) -> Floats:
        """The same of volts from net column `a` to `b` [V] (2): what moves both alike is taken off
        before anything is squared."""
        drawn = table.drawn.get(row)
        if drawn is None:
            return self._linear(table.spread[row, :, a] - table.spread[row, :, b])
        if drawn.specimens is not None:
            moved = drawn.specimens.read(a, b, 0.0, 1.0)
            return np.asarray(np.quantile(moved, BAND, method="weibull"))
        ends = self._linear(drawn.slopes[:, a] - drawn.slopes[:, b])
        loose = NINETY * float(np.hypot(drawn.loose[a], drawn.loose[b]))
        centre = float(drawn.centre[a] - drawn.centre[b])
        return np.asarray(centre + np.array([-1.0, 1.0]) * np.hypot(ends, loose))

    def _linear(self, slopes: Floats) -> Floats:
        """Band of one reading by its slopes [V] (K), less the marked one (2)."""
        return self.sampler.linear_band(slopes[:, None])[:, 0]

    def _try(
        self,
        condition: Condition,
        faults: Sequence[Overrides],
        table: Predictions,
        rows: Sequence[int],
        key: dict[int, tuple[Condition, str]],
    ) -> None:
        """The pilot draws of rows not met before."""
        if not rows:
            return
        solved = self._solved(condition, faults, table, rows)
        some = [r for r in rows if r in solved]
        moved = self.sampler.pilots([solved[r] for r in some])
        keep = [self.machine.topology.net_index[n] for n in table.nets]
        for r in rows:
            self._tried[key[r]] = _Tried(np.zeros(len(keep), dtype=bool), done=True)
        for r, first in zip(some, moved, strict=True):
            bent = self.sampler.bent(solved[r], first)
            self._tried[key[r]] = _Tried(bent[keep], solved[r], first)

    def _solved(
        self,
        condition: Condition,
        faults: Sequence[Overrides],
        table: Predictions,
        rows: Sequence[int],
    ) -> dict[int, Row]:
        """Rows as the solver has them, left out where that is not the state of the table."""
        machine, topology = self.machine, self.machine.topology
        state = machine.values(condition)
        values = topology.rows([{**faults[r], **state} for r in rows])
        index = [topology.net_index[n] for n in table.nets]
        mean = np.zeros((len(rows), len(topology.nets)))
        mean[:, index] = np.nan_to_num(table.mean[list(rows), :-1])
        hertz = machine.alternating(condition)
        if hertz:
            values, start = held_rows(machine, values, mean), mean
        else:
            start = np.nan_to_num(operating_point(topology, topology.rows([state])).mean[0])
        at = operating_point(topology, values, start).mean
        skip = machine.alternating_nets() | machine.mains_nets()
        steady = np.array([n not in skip for n in table.nets])
        found = {}
        for k, r in enumerate(rows):
            strays = np.abs(at[k, index] - mean[k, index])[steady].max(initial=0.0)
            if int(table.status[r]) in UNCLAIMED or not strays < (SAME_HELD if hertz else SAME):
                continue
            slopes = np.zeros((table.spread.shape[1], len(topology.nets)))
            slopes[:, index] = table.spread[r, :, :-1]
            heed = np.zeros(len(topology.nets), dtype=bool)
            heed[index] = steady & (table.ohms[r, :-1] < ADRIFT)
            found[r] = Row(values[k], at[k], slopes, heed)
        return found


def _restored(path: Path) -> _Tried | None:
    found = load_arrays(path)
    if found is None or "bent" not in found:
        return None
    if "centre" not in found:
        return _Tried(found["bent"], done=bool(found["done"]))
    named: dict[str, Any] = {
        k: found[k] for k in ("centre", "slopes", "loose", "band", "levels", "within")
    }
    odd = None
    if "moved" in found:
        odd = with_inverse(found["moved"].astype(float), found["design"].astype(float))
    tail = Tail(float(found["odd"]), found["reach"])
    drawn = Drawn(share=float(found["share"]), specimens=odd, tail=tail, **named)
    return _Tried(found["bent"], drawn=drawn, done=True)


def _keep(path: Path | None, tried: _Tried) -> None:
    if path is None:
        return
    arrays: dict[str, npt.ArrayLike] = {"bent": tried.bent, "done": tried.done}
    if tried.drawn is not None:
        arrays |= {k: getattr(tried.drawn, k) for k in ("centre", "slopes", "loose", "band")}
        arrays |= {k: getattr(tried.drawn, k) for k in ("levels", "within", "share")}
        if tried.drawn.tail is not None:
            arrays |= {"odd": tried.drawn.tail.share, "reach": tried.drawn.tail.reach}
        if tried.drawn.specimens is not None:
            few = tried.drawn.specimens
            arrays |= {"moved": few.moved.astype(np.float32), "design": few.design}
    store_arrays(path, arrays)
