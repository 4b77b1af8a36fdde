"""How hard every part works in solved rows, held against its ratings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Rhythm, Solution, Status
from halfsplit.circuit.threads import Progress
from halfsplit.faults.dictionary import CHUNK, FEW
from halfsplit.faults.followed import followed
from halfsplit.faults.kept_under import table_folder
from halfsplit.faults.mains_beat import keeps_time, parted, solve_beating
from halfsplit.faults.ratings import Limit, limits_of, thermal_path
from halfsplit.faults.seen import Mains, Seen
from halfsplit.faults.store import load_arrays, store_arrays
from halfsplit.quantity import Unit, show
from halfsplit.quantity.volts import volts as volts_text

Floats = npt.NDArray[np.float64]

FORMAT = 5  # of what is kept on disk
UNITS: dict[str, Unit] = {
    "watts": "W",
    "amps": "A",
    "ripple": "A",
    "volts": "V",
    "reverse": "V",
    "degC": "degC",
}


@dataclass(frozen=True)
class Over:
    """One part in one row against one of its limits: `ratio` is value over limit, for a junction
    rise over the rise allowed."""

    part: str
    quantity: str
    value: float
    limit: float
    ratio: float
    element: str
    words: str


@dataclass(frozen=True)
class Stress:
    """H rows in one condition. M parts, L limits.

    Attributes
    ----------
    watts: power turned into heat [W] (H, M), a source that delivers as zero.
    amps: largest current into any terminal, at its peak [A] (H, M).
    volts: largest voltage between two terminals of one of its elements, at its peak [V] (H, M).
    junction: junction temperature [degC] (H, M), NaN where no thermal resistance is known.
    ripple: alternating current of a capacitor, rms [A] (H, M); NaN for all else, and where the
        waveform of a beat is not kept.
    levels: mean volts of each rail [V] (H, R).
    values: each limit's quantity, reduced as its basis says (H, L).
    status: one solver status a row (H); an unsolved row has NaN throughout.
    """

    parts: tuple[str, ...]
    limits: tuple[Limit, ...]
    ambient: float
    watts: Floats
    amps: Floats
    volts: Floats
    junction: Floats
    ripple: Floats
    levels: Floats
    values: Floats
    status: npt.NDArray[np.int8]

    @property
    def ratios(self) -> Floats:
        """Values over limits (H, L); of junctions, the rise over the rise allowed."""
        base = np.array([self.ambient if x.quantity == "degC" else 0.0 for x in self.limits])
        most = np.array([x.limit for x in self.limits])
        found: Floats = (self.values - base) / np.maximum(most - base, 1e-12)
        return found

    def over(self, row: int, least: float = 1.0) -> list[Over]:
        """Parts at or above `least` times a limit, worst first, each with its worst limit."""
        best: dict[str, Over] = {}
        for k, ratio in enumerate(self.ratios[row]):
            limit = self.limits[k]
            if not ratio >= least or (limit.part in best and best[limit.part].ratio >= ratio):
                continue
            value = float(self.values[row, k])
            words = overstress_words(limit, value, float(ratio))
            best[limit.part] = Over(
                limit.part,
                limit.quantity,
                value,
                limit.limit,
                float(ratio),
                limit.element,
                words,
            )
        return sorted(best.values(), key=lambda o: -o.ratio)


def overstress_words(limit: Limit, value: float, ratio: float) -> str:
    """Such as "0.56 ohm 5 W resistor R3 takes 17 W: 3.4 times its 5 W"."""
    name = f"{limit.label} {limit.part}"
    unit = UNITS[limit.quantity]
    if unit == "V":
        shown, allowed = volts_text(value), volts_text(limit.limit)
    else:
        shown, allowed = show(value, unit, 2), show(limit.limit, unit, 2)
    if limit.quantity == "degC":
        return f"junction of {name} at {value:.0f} °C, {limit.limit:.0f} °C allowed"
    times = f"{ratio:.2g} times" if ratio < 10 else f"{ratio:.0f} times"
    if limit.quantity == "ripple":
        return f"{name} carries {shown} of ripple: {times} its {allowed}"
    if limit.quantity == "reverse":
        return f"{name} has {shown} the wrong way round: {times} the {allowed} it stands"
    verb = {"watts": "takes", "amps": "carries", "volts": "has"}[limit.quantity]
    across = " across it" if limit.quantity == "volts" else ""
    return f"{name} {verb} {shown}{across}: {times} its {allowed}"


def stresses(
    machine: Machine,
    condition: Condition,
    faults: Sequence[Overrides],
    *,
    fresh: Sequence[Overrides] | None = None,
    progress: Progress | None = None,
) -> Stress:
    """Solve every fault in one condition and hold every part against its ratings.

    Over a mains cycle or a switching beat the element equations are taken at each sample kept of
    the waves, so a rectifier's or a fuse's current follows from the same voltages a scope sees, and
    so does what a capacitor takes in passing, through its series resistance. Kept on disk.
    """
    step = FEW if machine.self_oscillating else CHUNK
    laid = list(fresh) if fresh is not None else [{} for _ in faults]
    limits = limits_of(machine, condition)
    air = [thermal_path(machine.fitted(p, condition)) for p in machine.assembly.parts.values()]
    more = repr((FORMAT, limits, condition.ambient, air, [sorted(f.items()) for f in laid]))
    folder = table_folder(machine, condition, faults, "stress " + more)
    found: list[Stress] = []
    for begin in range(0, len(faults), step):
        path = folder / f"s{begin:06d}.npz"
        part = faults[begin : begin + step]
        kept = _restored(machine, condition, limits, load_arrays(path), len(part))
        if kept is None:
            kept = _solve(machine, condition, limits, part, laid[begin : begin + step])
            store_arrays(path, {n: getattr(kept, n) for n in ARRAYS} | {"n": len(limits)})
        found.append(kept)
        if progress:
            progress(min(begin + step, len(faults)), len(faults))
    return _joined(found)


ARRAYS = ("watts", "amps", "volts", "junction", "ripple", "levels", "values", "status")


def _restored(
    machine: Machine,
    condition: Condition,
    limits: Sequence[Limit],
    found: dict[str, npt.NDArray[Any]] | None,
    rows: int,
) -> Stress | None:
    if found is None or not set(ARRAYS) <= set(found) or len(found["status"]) != rows:
        return None
    named: dict[str, Any] = {n: found[n] for n in ARRAYS}
    return Stress(tuple(machine.assembly.parts), tuple(limits), condition.ambient, **named)


def _joined(parts: Sequence[Stress]) -> Stress:
    first = parts[0]
    whole: dict[str, Any] = {n: np.concatenate([getattr(p, n) for p in parts]) for n in ARRAYS}
    return Stress(first.parts, first.limits, first.ambient, **whole)


def _solve(
    machine: Machine,
    condition: Condition,
    limits: Sequence[Limit],
    faults: Sequence[Overrides],
    fresh: Sequence[Overrides],
) -> Stress:
    topology, state = machine.topology, machine.values(condition)
    rows = topology.rows([{**f, **state, **new} for f, new in zip(faults, fresh, strict=True)])
    hertz = machine.alternating(condition)
    rhythm: Rhythm | None = None
    if hertz and keeps_time(machine, condition):
        both, parts = solve_beating(machine, condition, rows, hertz), parted(machine)
        before = parts.before if parts else frozenset()
        mains = Mains(both.by_mains(), rows, hertz, before, both.hum)
        beat, rhythm = both.by_beat(), both.rhythm
        return measure(machine, condition, limits, both.held, beat, rhythm, mains=mains)
    if hertz:
        solved = mains_cycle(topology, rows, hertz)
    elif machine.self_oscillating:
        solved, rhythm = followed(topology, rows)
    else:
        start = np.nan_to_num(operating_point(topology, topology.rows([state])).mean[0])
        solved = operating_point(topology, rows, start)
    return measure(machine, condition, limits, rows, solved, rhythm, hertz)


def measure(
    machine: Machine,
    condition: Condition,
    limits: Sequence[Limit],
    rows: Floats,
    solved: Solution,
    rhythm: Rhythm | None = None,
    hertz: float | None = None,
    mains: Mains | None = None,
) -> Stress:
    """Stress of rows already solved: a :class:`Solution` of `rows` (H, P) of the machine."""
    parts = list(machine.assembly.parts.values())
    index = machine.topology.element_index
    count = len(rows)
    watts, amps, volts, ripple = (np.full((count, len(parts)), np.nan) for _ in range(4))
    rails = [machine.topology.net_index.get(r.net) for r in machine.assembly.rails.values()]
    levels = np.full((count, len(rails)), np.nan)
    values = np.full((count, len(limits)), np.nan)
    elements_of = list(machine.netlist)
    own = [[index[e.name] for e in p.elements()] for p in parts]
    for r in range(count):
        if solved.status[r] == Status.UNSOLVED:
            continue
        seen = Seen(machine, rows, solved, rhythm, r, hertz, mains)
        levels[r] = [0.0 if i is None else solved.mean[r, i] for i in rails]
        for k, elements in enumerate(own):
            watts[r, k] = max(sum(seen.by(e).watts(e) for e in elements), 0.0)
            amps[r, k] = max((seen.by(e).amps(e, "peak") for e in elements), default=0.0)
            volts[r, k] = max((seen.by(e).across(e) for e in elements), default=0.0)
            if isinstance(elements_of[elements[0]], el.Capacitor):
                ripple[r, k] = seen.ripple(elements[0])
        for k, limit in enumerate(limits):
            e = index[limit.element]
            if limit.quantity == "watts":
                values[r, k] = max(seen.by(e).watts(e), 0.0)
            elif limit.quantity == "amps":
                values[r, k] = seen.by(e).amps(e, limit.basis)
            elif limit.quantity == "ripple":
                values[r, k] = seen.ripple(e)
            elif limit.quantity in ("volts", "reverse"):
                values[r, k] = seen.by(e).rated_volts(e, limit.quantity == "reverse")
    air = [thermal_path(machine.fitted(p, condition)) for p in parts]
    to_air = np.array([np.nan if t is None else t for t in air])
    junction = condition.ambient + watts * to_air
    where = {p.ref: k for k, p in enumerate(parts)}
    for k, limit in enumerate(limits):
        if limit.quantity == "degC":
            values[:, k] = junction[:, where[limit.part]]
    return Stress(
        tuple(machine.assembly.parts),
        tuple(limits),
        condition.ambient,
        watts,
        amps,
        volts,
        junction,
        ripple,
        levels,
        values,
        solved.status.astype(np.int8),
    )
