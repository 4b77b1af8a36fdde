"""Fuses that would open: which, in about what time, and the circuit again with them open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import predict
from halfsplit.faults.predictions import Predictions
from halfsplit.faults.stress import Stress, stresses
from halfsplit.parts.kinds.fuse import Fuse
from halfsplit.quantity import show

# Current ratings are not one thing: what a fuse must hold and what must open it, as times rated.
# IEC 60127-2 sheet 2, as printed in a maker's 617 series sheet; UL 248-14, in a maker's catalogue;
# sheet 3 from memory, unconfirmed.
HOLDS = {"IEC": 1.5, "UL": 1.0}
OPENS = {"IEC": 2.1, "UL": 1.35}
# Times rated: shortest and longest time to open [s]; no shortest one is printed where it is 0. Fast
# from IEC 60127-2 sheet 2 in a maker's 617 series sheet, time-lag from sheet 3 (from memory,
# unconfirmed), the other standard from UL 248-14 in a maker's catalogue, which goes no further.
FAST = ((2.1, 0.0, 1800.0), (2.75, 0.05, 2.0), (4.0, 0.01, 0.3), (10.0, 0.0, 0.02))
SLOW = ((2.1, 0.0, 120.0), (2.75, 0.6, 10.0), (4.0, 0.15, 3.0), (10.0, 0.02, 0.3))
UL = ((1.35, 0.0, 3600.0), (2.0, 0.0, 120.0))
# Times rated from which nothing but the fuse wire itself is heated, so that i2t tells the time.
# Common practice, no published source.
ADIABATIC = 4.0
ROUNDS = 3  # fuses of one row opened one after another; a fourth has not been seen to matter


@dataclass(frozen=True)
class Opening:
    """One fuse that opens.

    Attributes
    ----------
    amps: rms current through it [A]. rated: its rating [A]. times: the one over the other.
    least, most: time to open [s], by its standard; `least` 0 where none is printed.
    """

    part: str
    amps: float
    rated: float
    times: float
    least: float
    most: float
    label: str

    @property
    def words(self) -> str:
        """Such as "F2 (8 A F) at 28 A opens in 0.01 s to 0.3 s"."""
        return f"{self.part} ({self.label}) at {show(self.amps, 'A', 2)} opens {self.time}"

    @property
    def time(self) -> str:
        """The time to open, in words."""
        if self.least > 0.0:
            return f"in {lasting(self.least)} to {lasting(self.most)}"
        return f"within {lasting(self.most)}"


def lasting(seconds: float) -> str:
    """A time in words: minutes from two of them on."""
    return f"{seconds / 60.0:.0f} min" if seconds >= 120.0 else show(seconds, "s", 2)


@dataclass(frozen=True)
class Cleared:
    """A row once its fuses have opened: which, in order, and what every part then bears."""

    openings: tuple[Opening, ...]
    changes: Overrides
    stress: Stress
    row: int

    @property
    def most(self) -> float:
        """Longest time until the last has opened [s]."""
        return sum(o.most for o in self.openings)

    @property
    def names(self) -> str:
        """The fuses that are open, in words."""
        return " and ".join(o.part for o in self.openings)


def standard_of(fuse: Fuse) -> str:
    """IEC or UL; IEC where the entry does not say."""
    said = (fuse.standard or "").upper()
    return "UL" if "UL" in said or "CSA" in said else "IEC"


def melting_time(fuse: Fuse, times: float) -> tuple[float, float] | None:
    """Shortest and longest time [s] in which a fuse opens at so many times its rated current.

    None where nothing obliges it to. Between printed points straight on logarithmic scales; beyond
    the last its longest time. `i2t` of the entry tells the shortest where only the wire heats.
    """
    table: tuple[tuple[float, float, float], ...] = FAST if fuse.speed in ("FF", "F") else SLOW
    table = UL if standard_of(fuse) == "UL" else table
    at = np.array([t for t, _, _ in table])
    if times < at[0]:
        return None
    most = float(np.exp(np.interp(np.log(times), np.log(at), np.log([m for _, _, m in table]))))
    printed = [(t, low) for t, low, _ in table if low > 0.0]
    least = 0.0
    if printed and printed[0][0] <= times <= printed[-1][0]:
        x, y = np.log(np.array(printed)).T
        least = float(np.exp(np.interp(np.log(times), x, y)))
    if fuse.i2t and times >= ADIABATIC:
        least = min(max(least, fuse.i2t / (times * fuse.amps) ** 2), most)
    return least, most


def fuses_in(
    machine: Machine,
    condition: Condition,
    laid: Overrides,
    marked: Mapping[str, Fuse] | None = None,
) -> dict[str, Fuse]:
    """Fuses as they stand in a condition with `laid` over it.

    `marked` are those somebody read otherwise than drawn; else an oversize one is known by its
    resistance, which falls as the rating rises.
    """
    gone = {c.part for c in condition.changes if c.what in ("removed", "lifted", "bypassed")}
    found = {}
    for ref, drawn in machine.assembly.parts.items():
        if not isinstance(drawn, Fuse) or ref in gone:
            continue
        fuse = machine.fitted(drawn, condition)
        assert isinstance(fuse, Fuse)
        g = laid.get((ref, "g"))
        if marked and ref in marked and fuse is drawn:
            fuse = marked[ref]
        elif g is not None and fuse is drawn and g > 1.01 / drawn.ohms():
            fuse = fuse.model_copy(update={"amps": 0.1 * g, "cold_ohms": None})
        found[ref] = fuse
    return found


def first_to_open(fuses: Mapping[str, Fuse], amps: Mapping[str, float]) -> Opening | None:
    """The fuse that opens soonest at these rms currents; None when none must."""
    found = []
    for ref, fuse in fuses.items():
        times = amps.get(ref, 0.0) / fuse.amps
        told = melting_time(fuse, times) if np.isfinite(times) else None
        if told is not None:
            label = f"{show(fuse.amps, 'A', 2)} {fuse.speed}"
            found.append(Opening(ref, amps[ref], fuse.amps, times, *told, label))
    return min(found, key=lambda o: (o.most, -o.times), default=None)


def undecided(
    fuses: Mapping[str, Fuse], amps: Mapping[str, float]
) -> list[tuple[str, Fuse, float]]:
    """Fuses past what they must hold but short of what must open them: nobody can say."""
    found = []
    for ref, fuse in fuses.items():
        times, name = amps.get(ref, 0.0) / fuse.amps, standard_of(fuse)
        if HOLDS[name] < times < OPENS[name]:
            found.append((ref, fuse, times))
    return found


def fuse_amps(stress: Stress, row: int) -> dict[str, float]:
    """Rms current of every rated fuse in a row [A]."""
    return {
        limit.part: float(stress.values[row, k])
        for k, limit in enumerate(stress.limits)
        if limit.quantity == "amps" and limit.element == limit.part
    }


def cleared(
    machine: Machine,
    condition: Condition,
    faults: Sequence[Overrides],
    fresh: Sequence[Overrides],
    stress: Stress,
    fuses: Sequence[Mapping[str, Fuse]],
) -> dict[int, Cleared]:
    """Rows in which a fuse must open, solved again with it open, and again while others follow.

    `stress` are the rows as they were, `fuses` those of each row. A row that cannot be solved with
    its fuse open is left with NaN stress, which claims nothing.
    """
    found: dict[int, Cleared] = {}
    state = {r: (stress, r) for r in range(len(faults))}
    for _ in range(ROUNDS):
        due = []
        for r, (seen, at) in state.items():
            if seen.status[at] == Status.UNSOLVED:
                continue
            open_ = {o.part for o in found[r].openings} if r in found else set()
            left = {ref: f for ref, f in fuses[r].items() if ref not in open_}
            opening = first_to_open(left, fuse_amps(seen, at))
            if opening is not None:
                due.append((r, opening))
        if not due:
            break
        before = [found[r].openings if r in found else () for r, _ in due]
        openings = [(*was, o) for was, (_, o) in zip(before, due, strict=True)]
        opened: list[Overrides] = [{(o.part, "g"): el.OPEN for o in all_} for all_ in openings]
        rows = [r for r, _ in due]
        laid = [{**fresh[r], **more} for r, more in zip(rows, opened, strict=True)]
        after = stresses(machine, condition, [faults[r] for r in rows], fresh=laid)
        state = {}
        for k, r in enumerate(rows):
            found[r] = Cleared(openings[k], opened[k], after, k)
            state[r] = (after, k)
    return found


def blown(
    machine: Machine,
    condition: Condition,
    laid: Overrides,
    table: Predictions,
    marked: Mapping[str, Fuse] | None = None,
) -> tuple[tuple[Opening, ...], Predictions | None]:
    """Fuses that open in the first row of `table`, solved with `laid`, and readings once they have.

    Behind the mains the rms currents are solved for afresh; elsewhere they are read off the table.
    """
    fuses = fuses_in(machine, condition, laid, marked)
    openings: tuple[Opening, ...] = ()
    after: Predictions | None = None
    while fuses and len(openings) < ROUNDS:
        opened: Overrides = {(o.part, "g"): el.OPEN for o in openings}
        now = after or table
        if now.status[0] == Status.UNSOLVED:
            break
        if machine.alternating(condition):
            amps = fuse_amps(stresses(machine, condition, [laid], fresh=[opened]), 0)
        else:
            values = {**laid, **machine.values(condition)}
            amps = {ref: _through(machine, ref, values, now) for ref in fuses}
        opening = first_to_open(fuses, amps)
        if opening is None:
            break
        openings = (*openings, opening)
        fuses = {ref: f for ref, f in fuses.items() if ref != opening.part}
        opened[opening.part, "g"] = el.OPEN
        after = predict(machine, condition, [laid], fresh=[opened], moves=[])
    return openings, after


def _through(machine: Machine, ref: str, values: Overrides, table: Predictions) -> float:
    """Rms current of a fuse in the first row [A], by the volts across it."""
    part = machine.assembly.parts[ref]
    a, b = (table.column(n) for n in part.terminals().values())
    g = values.get((ref, "g"), machine.netlist.elements[ref].values["g"])
    return g * float(np.sqrt((table.instants(0, a, b) ** 2).mean()))
