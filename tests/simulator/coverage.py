"""How often the 90 % interval of a reading holds what good specimens of the demo tray read.

The specimens are drawn here, part by part, with their own seed, and solved from dead; nothing of
`faults.sampling` is used. What is checked is the spread, not the solver: that is `test_tray`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import predict, uncertainties
from halfsplit.faults.predictions import ADRIFT, Predictions
from halfsplit.faults.spreads import Spreads
from tests.simulator import tray

# A reading whose specimens differ by less is the same to any bench meter [V, one sigma].
SAME = 0.010
GOOD = (0.85, 0.95)
NORMAL_90 = 1.6449  # half-width of the middle 90 % of a Gaussian, in sigmas


@dataclass
class Count:
    """Readings and rows whose interval covers between 85 and 95 % of the specimens."""

    readings: int = 0
    good: int = 0
    narrow: int = 0
    rails: int = 0
    rails_good: int = 0
    rows: int = 0
    rows_good: int = 0
    unsolved: int = 0
    solves: int = 0

    def __str__(self) -> str:
        return (
            f"readings {self.good}/{self.readings} = {self.good / max(self.readings, 1):.1%} "
            f"(too narrow {self.narrow}); "
            f"rails {self.rails_good}/{self.rails} = {self.rails_good / max(self.rails, 1):.1%}; "
            f"rows with every reading right {self.rows_good}/{self.rows} = "
            f"{self.rows_good / max(self.rows, 1):.1%}; unsolved {self.unsolved} of {self.solves}"
        )


def specimens(count: int, seed: int) -> list[Overrides]:
    """Every uncertain value of the tray and of its raw sources drawn once for each specimen."""
    machine = tray.tray()
    top = machine.topology
    base = {key: top.base[slot] for key, slot in top.slot.items()}
    random = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        values: Overrides = {}
        for part in machine.assembly.parts.values():
            for wander in part.wanders():
                z = random.uniform(-(3**0.5), 3**0.5)
                for key, at_sigma in wander.changes.items():
                    old = values.get(key, base[key])
                    ratio = at_sigma / base[key] if base[key] else 0.0
                    values[key] = old * ratio**z if ratio > 0 else old
        for net in sorted(machine.assembly.feeds["raws"].nets):
            values[f"feed:{net}", "dc"] = 1.0 + 0.01 * random.uniform(-(3**0.5), 3**0.5)
        found.append(values)
    return found


def read(
    drawn: Sequence[Overrides], faults: Overrides, condition: Condition, shared: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Voltages (S, N) and status (S) of every specimen with one fault, solved from dead."""
    machine = tray.tray()
    top = machine.topology
    rows = shared.copy()
    state = machine.values(condition)
    for key, value in {**faults, **state}.items():
        slot = top.slot[key]
        part, _, _ = key[0].partition(":")
        rows[:, slot] = value * shared[:, slot] if part == "feed" and key[1] == "dc" else value
    solved = operating_point(top, rows)
    return solved.mean, solved.status


def intervals(table: Predictions, spreads: Spreads | None) -> tuple[np.ndarray, np.ndarray]:
    """Low and high ends [V] (H, N+1): as told, or of bare first-order slopes."""
    if spreads is not None:
        ends = np.array([spreads.band(table, i) for i in range(len(table.status))])
        return table.mean + ends[:, 0], table.mean + ends[:, 1]
    half = NORMAL_90 * np.sqrt((table.spread**2).sum(axis=1))
    return table.mean - half, table.mean + half


def coverage(
    load: str, faults: Sequence[Overrides], count: int, seed: int
) -> tuple[Count, Count, int]:
    """Before (slopes alone) and after, over faults of one load, and how many rows were drawn."""
    machine, condition = tray.tray(), Condition("raws", load)
    moves = uncertainties(machine)
    before = predict(machine, condition, faults, moves=moves)
    spreads = Spreads(machine, moves)
    rows = range(len(faults))
    asked = [n for n in before.nets if n not in machine.alternating_nets() | machine.mains_nets()]
    after = before.with_draws(spreads.drawn(condition, faults, before, rows, asked), before.nets)
    told = intervals(before, None), intervals(after, spreads)
    drawn = specimens(count, seed)
    shared = machine.topology.rows(drawn)
    skip = machine.alternating_nets() | machine.mains_nets()
    column = [i for i, n in enumerate(after.nets) if n not in skip]
    at = [machine.topology.net_index[after.nets[i]] for i in column]
    rails = [column.index(after.column(r.net)) for r in machine.assembly.rails.values()]
    counts = Count(), Count()
    for row, fault in enumerate(faults):
        volts, status = read(drawn, fault, condition, shared)
        solid = after.ohms[row, column] < ADRIFT / 20
        solved = status != Status.UNSOLVED
        volts = volts[solved][:, at]
        heeded = solid & (volts.std(axis=0) > SAME)
        for tally, both in zip(counts, told, strict=True):
            low, high = (ends[row, column] for ends in both)
            # An unsolved specimen counts as outside whatever was claimed.
            held = ((volts >= low) & (volts <= high)).sum(axis=0) / count
            fine = (held >= GOOD[0]) & (held <= GOOD[1])
            tally.readings += int(heeded.sum())
            tally.good += int((heeded & fine).sum())
            tally.narrow += int((heeded & (held < GOOD[0])).sum())
            tally.rails += int(heeded[rails].sum())
            tally.rails_good += int((heeded & fine)[rails].sum())
            tally.rows += 1
            tally.rows_good += bool((fine | ~heeded).all())
            tally.unsolved += int((~solved).sum())
            tally.solves += count
    return counts[0], counts[1], len(after.drawn)
