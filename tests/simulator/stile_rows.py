"""Rows of the switching demo where our own follower left them, taken on by ngspice.

ngspice begins in the state we say the supply ends in and must stay there: same means, ripple and
frequency. What restarts is left out: an attempt lasts a tenth of a second and more, too long here.
So is what ends with the crowbar fired: a thyristor of ngspice begins off and waits for its gate.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Rhythm, Solution, Status
from halfsplit.faults.hypotheses import Hypothesis, single_faults
from tests.simulator import deck, stile, tray
from tests.simulator.waves import transient

STEP = 2e-7  # s; halving it moves the frequency by under 1 %
LEAST, BEATS, MOST = 2e-3, 12, 0.12  # s or beats simulated; the second half is measured
SAID = ("out", "h12", "ref", "refn")  # nets whose means are compared
VOLTS, FLOOR = 0.01, 0.010
RIPPLE, RIPPLE_FLOOR, HERTZ = 0.10, 5e-3, 0.10


@dataclass
class Outcome:
    """How rows compare: lines that differ, faults ngspice gave up on, faults not compared."""

    wrong: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    unsettled: list[str] = field(default_factory=list)
    different: set[str] = field(default_factory=set)
    unbalanced: float = 0.0
    rows: int = 0

    def add(self, other: Outcome) -> None:
        """Take in what another holds."""
        self.wrong += other.wrong
        self.lost += other.lost
        self.left_out += other.left_out
        self.unsettled += other.unsettled
        self.different |= other.different
        self.unbalanced = max(self.unbalanced, other.unbalanced)
        self.rows += other.rows


def followed(
    load: str, names: Iterable[str] | None = None
) -> tuple[list[Hypothesis], Solution, Rhythm]:
    """Single faults at a load (all of the file, or those named) where ours ends up with them.

    "no fault" may be named too.
    """
    machine = stile.machine()
    wanted = None if names is None else set(names)
    known = single_faults(machine.assembly)
    faults = [h for h in known if h.name in wanted] if wanted else known[2:]
    state = machine.values(Condition("raw", load))
    rows = machine.topology.rows([{**h.changes, **state} for h in faults])
    solved, rhythm = follow(machine.topology, rows)
    return faults, solved, rhythm


def compare(load: str, names: Iterable[str] | None = None) -> Outcome:
    """Hold rows against ngspice; see the module for how."""
    found = Outcome()
    faults, solved, rhythm = followed(load, names)
    for r, h in enumerate(faults):
        found.rows += 1
        end = Status(int(solved.status[r]))
        if end in (Status.UNSOLVED, Status.NOT_SETTLED):
            found.unsettled.append(f"{load}: {h.name}: {end.sentence}")
            continue
        found.unbalanced = max(found.unbalanced, float(solved.residual[r]))
        if end is Status.RESTARTING:
            found.left_out.append(f"{load}: {h.name}: restarts each {rhythm.period[r]:.3f} s")
            continue
        if end is Status.LATCHED:
            found.left_out.append(f"{load}: {h.name}: latched")
            continue
        lines = _differences(h, load, r, solved, rhythm)
        if lines is None:
            found.lost.append(f"{load}: {h.name}")
        else:
            found.wrong += [f"{load}: {h.name}: {line}" for line in lines]
            found.different |= {h.name} if lines else set()
    return found


def _differences(
    h: Hypothesis, load: str, r: int, solved: Solution, rhythm: Rhythm
) -> list[str] | None:
    """What differs, in words; None when ngspice gave up."""
    machine = stile.machine()
    top = machine.topology
    at = {n: top.net_index[n] for n in top.nets if top.net_index[n] < solved.mean.shape[1]}
    beats = int(solved.status[r]) == Status.OSCILLATING
    first = solved.wave[r, :, 0] if np.isfinite(solved.wave[r]).all() else solved.mean[r]
    choke = top.element_index["L1"]
    low, high = rhythm.held_low[r, choke], rhythm.held_high[r, choke]
    # A beat is cut where the choke, which keeps time here, has risen a fifth of its swing.
    amps = float(low + 0.2 * (high - low))
    laid = {**h.changes, **machine.values(Condition("raw", load))}
    written = deck.write(
        top,
        laid,
        open_lead=tray.open_lead(h.name),
        transient=True,
        start={n: float(first[i]) for n, i in at.items()},
        amps={"L1": amps},
    )
    period = float(rhythm.period[r]) if beats else 0.0
    stop = min(max(LEAST, BEATS * period), MOST)
    waves = transient(written, stile.WATCHED, stop, STEP)
    if waves is None:
        return None
    late = waves.since(stop / 2)
    wrong = []
    for net in SAID:
        ours, theirs = float(solved.mean[r, at[net]]), late.mean(late.volts[net])
        if abs(ours - theirs) > VOLTS * abs(theirs) + FLOOR:
            wrong.append(f"{net} {ours:.3f} V, ngspice {theirs:.3f} V")
    if beats:
        ours = float(solved.high[r, at["out"]] - solved.low[r, at["out"]])
        theirs = float(np.ptp(late.volts["out"]))
        if abs(ours - theirs) > RIPPLE * theirs + RIPPLE_FLOOR:
            wrong.append(f"ripple {ours:.4f} V, ngspice {theirs:.4f} V")
        hertz = late.hertz(late.volts["sw"], *stile.SWING)
        if hertz and abs(period * hertz - 1.0) > HERTZ:
            wrong.append(f"{1 / period:.0f} Hz, ngspice {hertz:.0f} Hz")
    return wrong
