"""How a machine that beats by itself does so: its switch's duty and what its chokes peak at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Status
from halfsplit.faults.followed import followed
from halfsplit.faults.mains_beat import keeps_time, solve_beating
from halfsplit.quantity import show


@dataclass(frozen=True)
class Beat:
    """Share of each beat the switch is on, and by choke the largest current either way [A]."""

    duty: float
    peaks: tuple[tuple[str, float], ...]

    @property
    def words(self) -> str:
        """For people: what to look for on a scope with a current probe."""
        chokes = ", ".join(f"{ref} {show(amps, 'A', 3)}" for ref, amps in self.peaks)
        peak = f"; peak current {chokes}" if chokes else ""
        return f"its switch is on for {100.0 * self.duty:.0f} % of each beat{peak}"


def beat(machine: Machine, condition: Condition, faults: Overrides, predicted: int) -> Beat | None:
    """That of a machine with `faults` laid over it; None where it does not beat steadily, which
    `predicted`, the status of its readings, says.

    The row is the one its readings were predicted by, kept on disk since, so it is not followed
    again.
    """
    # Of one that restarts over and over the share would be of an attempt, which no scope shows.
    if predicted != Status.OSCILLATING or not keeps_time(machine, condition):
        return None
    rows = machine.topology.rows([{**faults, **machine.values(condition)}])
    hertz = machine.alternating(condition)
    if hertz:
        rhythm = solve_beating(machine, condition, rows, hertz).rhythm
    else:
        rhythm = followed(machine.topology, rows)[1]
    duty = float(rhythm.duty[0])
    if not np.isfinite(duty):
        return None
    peaks = []
    for e, element in enumerate(machine.netlist):
        low, high = float(rhythm.held_low[0, e]), float(rhythm.held_high[0, e])
        if isinstance(element, el.Inductor) and np.isfinite((low, high)).all():
            peaks.append((element.name, max(abs(low), abs(high))))
    return Beat(duty, tuple(peaks))
