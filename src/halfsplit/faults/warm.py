"""Readings once the machine is warm: each part's watts, its junction, and thermal shutdown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.heat import element_watts, warmed
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import held_rows

Floats = npt.NDArray[np.float64]

PASSES = 20  # most; without thermal shutdown four or five are enough
SETTLED = 0.2  # K between two passes that counts as none
# A three-terminal regulator turns itself off about here [degC]: the largest junction temperature
# of MC7800/D Rev 27 and of the Motorola MCT7800 sheet, maximum ratings
# (the latter, and that shutdown lies there, from memory, unconfirmed).
SHUTDOWN = 150.0
HOTTEST = 400.0  # degC, where no junction is left and the sum is stopped


@dataclass(frozen=True)
class Warm:
    """H rows in one condition after warming up; N nets plus common last, M parts.

    Attributes
    ----------
    mean: direct voltage against common [V] (H, N+1).
    parts: reference designators, the columns of the next three.
    watts: power turned into heat [W] (H, M).
    junction: junction temperature [degC] (H, M); NaN where no thermal resistance is known.
    cycling: a regulator held by its thermal shutdown (H, M); mean output current is then what
        keeps the junction at `SHUTDOWN`.
    status: one solver status a row (H); NOT_SETTLED where temperatures run away.
    """

    nets: tuple[str, ...]
    mean: Floats
    parts: tuple[str, ...]
    watts: Floats
    junction: Floats
    cycling: npt.NDArray[np.bool_]
    status: npt.NDArray[np.int8]

    def column(self, net: str) -> int:
        """Column of a net; common is the last."""
        return self.nets.index(net) if net in self.nets else len(self.nets)


def warm(machine: Machine, condition: Condition, faults: Sequence[Overrides]) -> Warm:
    """Solve every fault in one condition with junctions at their own temperatures.

    Solve, take watts from the net voltages, warm the junctions, solve again until no junction
    moves. Behind a mains rectifier each rectified net is held at its mean, as for sensitivities, so
    watts of the rectifiers and the transformer are not given there (NaN).
    """
    topology = machine.topology
    state = machine.values(condition)
    changes = [{**fault, **state} for fault in faults]
    cold = topology.rows(changes)
    start = np.zeros((len(cold), topology.arrays.n))
    hertz = machine.alternating(condition)
    status = np.zeros(len(cold), dtype=np.int8)
    swinging: set[str] = set()
    if hertz:
        solved = mains_cycle(topology, cold, hertz)
        status = solved.status.copy()
        start = np.nan_to_num(solved.mean)
        cold = held_rows(machine, cold, solved.mean)
        swinging = machine.alternating_nets()
    heated = _Heated(machine, condition, swinging)
    rows = cold.copy()
    count, parts = len(rows), len(heated.parts)
    ambient = condition.ambient
    hot = np.full((count, parts), ambient)
    cycling = np.zeros((count, parts), dtype=bool)
    moved = np.full(count, np.inf)
    for _ in range(PASSES):
        found = operating_point(topology, rows, start)
        drawn = element_watts(topology, rows, found.mean, found.latched)
        watts = heated.watts(drawn)
        aim = np.clip(np.nan_to_num(ambient + watts * heated.to_air, nan=ambient), ambient, HOTTEST)
        aim, eased = _shut_down(heated, rows, found.mean, aim, cycling, cold, ambient)
        moved = np.maximum(np.abs(aim - hot).max(axis=1, initial=0.0), 100.0 * eased)
        hot = aim
        if moved.max(initial=0.0) < SETTLED:
            break
        heated.apply(rows, cold, hot, found.mean)
        start = np.where(np.isfinite(found.mean), found.mean, start)
    failed = found.status == Status.UNSOLVED
    status = np.where(failed, int(Status.UNSOLVED), np.maximum(status, found.status))
    status = np.where(~failed & (moved >= SETTLED), int(Status.NOT_SETTLED), status)
    known = np.isfinite(heated.to_air)[None, :] & ~failed[:, None] & np.isfinite(watts)
    keep = [i for i, n in enumerate(topology.nets) if "#" not in n]
    return Warm(
        tuple(topology.nets[i] for i in keep),
        np.pad(found.mean[:, keep], [(0, 0), (0, 1)]),
        tuple(heated.parts),
        watts,
        np.where(known, hot, np.nan),
        cycling,
        status.astype(np.int8),
    )


class _Heated:
    """Which elements belong to which part, and how warm each part gets a watt."""

    def __init__(self, machine: Machine, condition: Condition, swinging: set[str]) -> None:
        self.topology = machine.topology
        self.parts = list(machine.assembly.parts)
        index = self.topology.element_index
        owned = [p.elements() for p in machine.assembly.parts.values()]
        self.own = [[index[e.name] for e in es] for es in owned]
        self.elements = list(machine.netlist)
        said = [machine.fitted(p, condition).to_air() for p in machine.assembly.parts.values()]
        self.to_air = np.array([np.nan if t is None else t for t in said])
        self.blind = np.array([any(set(e.nets) & swinging for e in es) for es in owned], dtype=bool)
        regulating = [
            i for es in self.own for i in es if isinstance(self.elements[i], el.Regulator)
        ]
        part_of = {i: k for k, es in enumerate(self.own) for i in es}
        self.regulators = [(part_of[i], i) for i in regulating]

    def watts(self, drawn: Floats) -> Floats:
        """Watts of each part (H, M) from those of the elements; sources deliver, and count zero."""
        found = np.stack([drawn[:, es].sum(axis=1) for es in self.own], axis=1)
        found[:, self.blind] = np.nan
        return np.where(found < 0.0, 0.0, found)

    def apply(self, rows: Floats, cold: Floats, hot: Floats, volts: Floats) -> None:
        """Lay what the junction temperatures do over the cold rows, in place."""
        slot = self.topology.slot
        for k in np.flatnonzero(np.isfinite(self.to_air) & ~self.blind):
            for i in self.own[k]:
                element = self.elements[i]
                if not isinstance(element, (el.Diode, el.Bjt)):
                    continue
                for r in range(len(rows)):
                    own = {
                        (element.name, p): cold[r, slot[element.name, p]] for p in element.PARAMS
                    }
                    amps = self._collector(element, rows[r], volts[r])
                    for key, value in warmed(element, own, float(hot[r, k]), amps).items():
                        rows[r, slot[key]] = value

    def _collector(self, element: el.Element, row: Floats, volts: Floats) -> float:
        """Collector current [A] of a transistor by its base-emitter voltage; 0 for a diode."""
        if not isinstance(element, el.Bjt) or not np.isfinite(volts).all():
            return 0.0
        at = {n: float(volts[i]) for n, i in self.topology.net_index.items() if n in element.nets}
        c, b, e = (at.get(n, 0.0) for n in element.nets)
        pol, ist, afloat = (
            row[self.topology.slot[element.name, p]] for p in ("pol", "ist", "afloat")
        )
        if afloat:  # only its leakage
            return 0.0
        up = min(pol * (b - e) / el.THERMAL_VOLTAGE, 60.0)
        return float(ist * np.exp(up)) if pol * (c - e) > 0 else 0.0


def _shut_down(
    heated: _Heated,
    rows: Floats,
    volts: Floats,
    aim: Floats,
    cycling: npt.NDArray[np.bool_],
    cold: Floats,
    ambient: float,
) -> tuple[Floats, Floats]:
    """Hold every regulator that would pass `SHUTDOWN` at the mean current that keeps it there.

    Returns the junctions to aim at (H, M), and by what share the largest held current moved (H).
    """
    eased = np.zeros(len(rows))
    slot, net_index = heated.topology.slot, heated.topology.net_index
    for part, index in heated.regulators:
        theta, element = heated.to_air[part], heated.elements[index]
        if not np.isfinite(theta):
            continue
        inp, _, out = [net_index.get(n) for n in element.nets]
        limit = slot[element.name, "limit"]
        for r in range(len(rows)):
            across = abs(
                (volts[r, inp] if inp is not None else 0.0)
                - (volts[r, out] if out is not None else 0.0)
            )
            if not np.isfinite(across):
                continue
            if aim[r, part] > SHUTDOWN or cycling[r, part]:
                cycling[r, part] = True
                most = (SHUTDOWN - ambient) / (theta * max(across, 0.1))
                held = min(most, cold[r, limit])
                eased[r] = max(eased[r], abs(held / rows[r, limit] - 1.0))
                rows[r, limit] = held
                aim[r, part] = min(aim[r, part], SHUTDOWN)
    return aim, eased
