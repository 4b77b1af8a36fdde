"""Rows of the switching demo on its mains, where two scales left them, taken on by ngspice whole.

ngspice begins in the state we say the supply ends in, reservoir at its mean, and steps through
beat and mains cycles together. What it swings by in its last cycle, the means and the frequency
must be what we say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.mains_beat import solve_beating
from tests.simulator import deck, stile, tray
from tests.simulator.waves import transient

HERTZ = 50.0
STEP = 5e-7  # s; a beat of 45 us has ninety
CYCLES = 3  # simulated, the last measured
MEANS = ("rawc", "raw", "out", "h12", "ref")
VOLTS, FLOOR = 0.01, 0.010
RIPPLE, RIPPLE_FLOOR, BEAT = 0.10, 5e-3, 0.10


@dataclass(frozen=True)
class Row:
    """One fault at one load, ours and theirs, by quantity: `NET` [V], `NET ripple` [V], `hertz`."""

    fault: str
    load: str
    status: Status
    ours: dict[str, float]
    theirs: dict[str, float] | None

    def wrong(self) -> list[str]:
        """What differs, in words."""
        if self.theirs is None:
            return ["ngspice gave up"]
        said = []
        for name, theirs in self.theirs.items():
            ours = self.ours[name]
            near = VOLTS * abs(theirs) + FLOOR
            if name == "hertz":
                near = BEAT * theirs
            elif name.endswith("ripple"):
                near = RIPPLE * theirs + RIPPLE_FLOOR
            if not abs(ours - theirs) <= near:
                said.append(f"{name} {ours:.4g}, ngspice {theirs:.4g}")
        return said


def compare(load: str, names: list[str]) -> list[Row]:
    """Rows of single faults ("no fault" may be named too) at a load of the file."""
    machine, condition = stile.machine(), Condition("mains", load)
    top = machine.topology
    faults = [h for h in single_faults(machine.assembly) if h.name in names]
    state = machine.values(condition)
    rows = top.rows([{**h.changes, **state} for h in faults])
    both = solve_beating(machine, condition, rows, HERTZ)
    solved, rhythm = both.solved, both.rhythm
    choke = top.element_index["L1"]
    found = []
    for r, h in enumerate(faults):
        end = Status(int(solved.status[r]))
        ours = {n: float(solved.mean[r, top.net_index[n]]) for n in MEANS}
        for n in ("rawc", "out"):
            i = top.net_index[n]
            ours[f"{n} ripple"] = float(solved.high[r, i] - solved.low[r, i])
        beats = end is Status.OSCILLATING
        if beats:
            ours["hertz"] = 1.0 / float(rhythm.period[r])
        first = np.where(np.isfinite(solved.wave[r, :, 0]), solved.wave[r, :, 0], solved.mean[r])
        swinging = machine.alternating_nets()
        low, high = rhythm.held_low[r, choke], rhythm.held_high[r, choke]
        written = deck.write(
            top,
            {**h.changes, **state},
            open_lead=tray.open_lead(h.name),
            transient=True,
            start={n: float(first[i]) for n, i in top.net_index.items() if n not in swinging},
            amps={"L1": float(low + 0.2 * (high - low))},
        )
        stop = CYCLES / HERTZ
        waves = transient(written, [*stile.WATCHED, "rawc"], stop, STEP, keep=stop - 1.0 / HERTZ)
        theirs = None
        if waves is not None:
            theirs = {n: waves.mean(waves.volts[n]) for n in MEANS}
            theirs |= {f"{n} ripple": float(np.ptp(waves.volts[n])) for n in ("rawc", "out")}
            hertz = waves.hertz(waves.volts["sw"], *stile.SWING) if beats else None
            theirs |= {"hertz": hertz} if hertz else {}
        found.append(Row(h.name, load, end, ours, theirs))
    return found
