"""The machine with everything off and one meter that drives a little current through it.

Two hub nets carry the meter; from each a lead that is nothing or a milliohm runs to every net. Any
pair of nets in either polarity, under any fault, is then only a row of values over one topology.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Netlist, Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move, sensitivities
from halfsplit.circuit.solution import Solution
from halfsplit.circuit.threads import Progress
from halfsplit.circuit.topology import Topology, compile_netlist
from halfsplit.faults.ohmmeter import FLOOR, LEADS, Ohmmeter
from halfsplit.parts.kinds.paper import PaperCapacitor

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

RED, BLACK, METER = "red#", "black#", "meter#"
LEAD = 1e3  # S, a meter lead where it touches; its milliohm is outside the reading
# Share of the test current that may be left unbalanced in a row that counts as solved.
BALANCE = 1e-3
# Dirt on a board stands across everything [ohm]; above about a tenth of it a reading is the dirt's.
# Common practice, no published source.
BOARD = 1e8
# What is left of the models themselves, as a share of the reading: see tests/simulator/test_dead.
MODEL = 0.01
# What an ohmmeter may show on a paper capacitor that leaks at its working volts [ohm].
# Common practice, no published source.
UNSTRESSED = 20e6
# What a part of unknown insides does to a reading taken at its pins, as logarithm or volts.
UNKNOWN = 0.7


@dataclass(frozen=True)
class Ask:
    """One reading: red lead on net `red`, black on `black`; `fault` as found, `laid` over all."""

    red: str
    black: str
    fault: Mapping[tuple[str, str], float] = field(default_factory=dict)
    laid: Mapping[tuple[str, str], float] = field(default_factory=dict)


@dataclass(frozen=True)
class DeadReadings:
    """What the meter shows in B rows.

    Attributes
    ----------
    value: ohms, or volts in a diode test (B); the quotient of volts and amps even when over.
    over: whether it shows OL (B).
    volts, amps: at the meter's terminals (B).
    range: index of the range used (B).
    ok: whether the row solved (B).
    """

    value: Floats
    over: npt.NDArray[np.bool_]
    volts: Floats
    amps: Floats
    range: Ints
    ok: npt.NDArray[np.bool_]
    rows: Floats
    solution: Solution


@dataclass(frozen=True)
class Charging:
    """A capacitor while the meter is on: final volts, ohms it charges through, R times C [s]."""

    name: str
    volts: float
    ohms: float
    seconds: float


class DeadCircuit:
    """A machine's dead circuit, compiled once."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine

    @cached_property
    def nets(self) -> list[str]:
        """Nets a lead can touch: those the parts name, and common."""
        return [*self.machine.assembly.nets(), self.machine.assembly.common]

    @cached_property
    def topology(self) -> Topology:
        """The machine's elements, the meter and its leads."""
        net = Netlist(self.machine.assembly.common)
        net.add(*(_dark(e) for e in self.machine.netlist))
        net.add(el.Source(METER, (RED, BLACK), {"g": 1e-12}))
        for name in self.nets:
            net.add(el.Resistor(f"{RED}{name}", (RED, name), {"g": 0.0}))
            net.add(el.Resistor(f"{BLACK}{name}", (BLACK, name), {"g": 0.0}))
        return compile_netlist(net)

    def moves(self, moves: Sequence[Move]) -> list[Move]:
        """The same moves as far as they matter while no gas tube is lit."""
        lit = self._lit
        return [
            replace(m, changes={k: v for k, v in m.changes.items() if k not in lit}) for m in moves
        ]

    @cached_property
    def _lit(self) -> frozenset[tuple[str, str]]:
        """Parameters of gas tubes that matter only once they are lit, as none is here."""
        tubes = [e for e in self.machine.netlist if isinstance(e, el.Gas)]
        return frozenset((e.name, p) for e in tubes for p in e.PARAMS if p != "g")

    def state(self, condition: Condition) -> Overrides:
        """Values of a condition with every feed off and the plug pulled.

        Heaters are cold: by the time a set is proved discharged no cathode emits. A transformer is
        copper only; amplifiers and regulators do nothing without supply (their own junctions are
        not modelled, see :meth:`unknown`); a constant-current load draws nothing.
        """
        changes = self.machine.values(replace(condition, feed="off", warm=0.0))
        for e in self.machine.netlist:
            if isinstance(e, el.Winding):
                changes[e.name, "turns"] = 0.0
            elif isinstance(e, el.Sink):
                changes[e.name, "amps"] = 0.0
            elif isinstance(e, el.Amplifier):
                changes |= {(e.name, "able"): 0.0, (e.name, "bias"): 0.0}
            elif isinstance(e, el.Regulator):
                changes |= {(e.name, "able"): 0.0, (e.name, "iq"): 0.0}
        for part in self.machine.assembly.parts.values():
            if part.KIND == "mains":
                changes |= {k: v for e in part.elements() for k, v in e.gone().items()}
        return changes

    def unknown(self, *nets: str) -> list[str]:
        """Parts with a pin on these nets whose insides are unknown while unpowered."""
        kinds = ("regulator", "opamp", "comparator")
        on = set(nets) - {self.machine.assembly.common}
        return [
            ref
            for ref, part in self.machine.assembly.parts.items()
            if part.KIND in kinds and on & set(part.terminals().values())
        ]

    def gone(self, *refs: str) -> Overrides:
        """Changes that take whole parts out."""
        parts = self.machine.assembly.parts
        return {k: v for r in refs for e in parts[r].elements() for k, v in e.gone().items()}

    def read(
        self,
        asks: Sequence[Ask],
        condition: Condition,
        meter: Ohmmeter,
        progress: Progress | None = None,
    ) -> DeadReadings:
        """Every ask with the meter's own ranging: the first range that can show it, else OL."""
        state = self.state(condition)
        base = [self._unstressed({**a.fault, **state, **a.laid}) for a in asks]
        kept: list[DeadReadings] = []
        todo = np.arange(len(asks))
        place = np.zeros((len(asks), 2), dtype=np.int64)
        for which in range(len(meter.ranges)):
            if not todo.size:
                break
            found = self._on_range(
                [base[int(i)] for i in todo], [asks[int(i)] for i in todo], meter, which
            )
            last = np.full(todo.size, which == len(meter.ranges) - 1)
            stays = ~found.over | last
            place[todo[stays]] = np.column_stack(
                [np.full(int(stays.sum()), len(kept)), np.flatnonzero(stays)]
            )
            kept.append(found)
            todo = todo[~stays]
            if progress:
                progress(len(asks) - todo.size, len(asks))
        return _pick(kept, place)

    def _unstressed(self, changes: Overrides) -> Overrides:
        """The changes with leaks that show only at working volts gone from paper capacitors."""
        for ref, part in self.machine.assembly.parts.items():
            if isinstance(part, PaperCapacitor) and (ref, "g") in changes:
                leak = 1.0 / part.leak()
                if 0.0 < changes[ref, "g"] <= 1.5 * leak:  # beyond, it is a short at any volts
                    changes[ref, "g"] = min(changes[ref, "g"], 1.0 / UNSTRESSED)
        return {k: v for k, v in changes.items() if k not in self._lit}

    def _on_range(
        self, base: Sequence[Overrides], asks: Sequence[Ask], meter: Ohmmeter, which: int
    ) -> DeadReadings:
        top, one = self.topology, meter.ranges[which]
        made = []
        for changes, ask in zip(base, asks, strict=True):
            plus, minus = (RED, BLACK) if meter.red == "positive" else (BLACK, RED)
            touch = {(f"{plus}{ask.red}", "g"): LEAD, (f"{minus}{ask.black}", "g"): LEAD}
            made.append({**changes, **touch, **{(METER, k): v for k, v in one.source().items()}})
        rows = top.rows(made)
        solved = operating_point(top, rows)
        sign = 1.0 if meter.red == "positive" else -1.0
        volts = sign * self.between(solved.mean, asks)
        hub = solved.mean[:, top.net_index[RED]] - solved.mean[:, top.net_index[BLACK]]
        amps = one.current(hub)
        with np.errstate(divide="ignore", invalid="ignore"):
            value = volts if meter.test == "diode" else volts / np.maximum(amps, 1e-15)
        driven = one.amps if one.amps is not None else one.volts / (one.inside or 1.0)
        ok = np.isfinite(volts) & (solved.residual < max(BALANCE * driven, 1e-12))
        over = ~(value <= one.top)
        at = np.full(len(asks), which)
        return DeadReadings(value, over, volts, amps, at, ok, rows, solved)

    def between(self, x: Floats, asks: Sequence[Ask]) -> Floats:
        """Columns of red less black of each row's own ask, over the last axis of x (B, ..., N)."""
        padded = np.concatenate([x, np.zeros((*x.shape[:-1], 1))], axis=-1)
        index = {**self.topology.net_index, self.machine.assembly.common: -1}
        b = np.arange(len(asks))
        red = padded[b, ..., [index[a.red] for a in asks]]
        return np.asarray(red - padded[b, ..., [index[a.black] for a in asks]])

    def slopes(
        self, asks: Sequence[Ask], found: DeadReadings, meter: Ohmmeter, moves: Sequence[Move]
    ) -> tuple[Floats, Floats]:
        """Change of each reading on the meter's scale at one sigma of each move (B, K), and the
        effect of the meter's own test current (B). NaN where slopes could not be had."""
        own = {(METER, k): meter.spread for k in ("limit", "dc")}
        if meter.ranges[0].amps is not None:
            own.pop((METER, "dc"))
        all_moves = [*self.moves(moves), Move("test current", own, relative=True)]
        latched = found.solution.latched
        spread, _ = sensitivities(
            self.topology, found.rows, found.solution.mean, latched, all_moves
        )
        sign = 1.0 if meter.red == "positive" else -1.0
        dv = sign * self.between(spread, asks)
        if meter.test == "diode":
            return dv[:, :-1], dv[:, -1]
        small = 1e-3
        di = np.zeros_like(dv)
        for which in np.unique(found.range):
            at = found.range == which
            one = meter.ranges[which]
            i0 = one.current(found.volts[at])
            i1 = one.current(found.volts[at][:, None] + small * dv[at])
            i1[:, -1] = one.current(found.volts[at] + small * dv[at, -1], small * meter.spread)
            di[at] = (i1 - i0[:, None]) / small
        amps = np.maximum(found.amps, 1e-15)[:, None]
        dr = dv / amps - found.volts[:, None] * di / amps**2
        dx = dr / (np.maximum(found.value, 0.0)[:, None] + FLOOR)
        return dx[:, :-1], dx[:, -1]

    def charging(self, ask: Ask, condition: Condition, meter: Ohmmeter) -> list[Charging]:
        """Every capacitor as the meter charges it, in the order of the netlist."""
        found = self.read([ask], condition, meter)
        parts = [
            e
            for e in self.machine.netlist
            if isinstance(e, el.Capacitor) and found.rows[0, self.topology.slot[e.name, "c"]] > 0.0
        ]
        if not found.ok[0] or not parts:
            return []
        # Each capacitor in turn drives a nanoampere into its own terminals; a thousandth of these
        # values is what the slopes are taken with.
        drives = [Move(e.name, {(e.name, "hold_g"): 1e-9, (e.name, "hold"): 1e6}) for e in parts]
        slope, _ = sensitivities(
            self.topology, found.rows, found.solution.mean, found.solution.latched, drives
        )
        listed = []
        for k, e in enumerate(parts):
            at = [Ask(e.nets[0], e.nets[1])]
            ohms = abs(float(self.between(slope[:, k], at)[0])) * 1e-3 / 1e-9
            volts = float(self.between(found.solution.mean, at)[0])
            farads = float(found.rows[0, self.topology.slot[e.name, "c"]])
            listed.append(Charging(e.name, volts, ohms, ohms * farads))
        return listed

    def model_sigma(
        self, pair: tuple[str, str], shown: Floats, meter: Ohmmeter, current: Floats
    ) -> Floats:
        """One sigma on the meter's scale (B) of all but tolerances and the meter's claimed error:
        leads, board dirt, the models, the true test current, parts of unknown insides."""
        value = np.maximum(np.nan_to_num(shown), 0.0)
        more = np.nan_to_num(current) ** 2 + (UNKNOWN if self.unknown(*pair) else 0.0) ** 2
        if meter.test == "diode":
            return np.asarray(np.sqrt((MODEL * value) ** 2 + 1e-6 + more))
        leads, dirt = LEADS / (value + FLOOR), np.minimum(value / BOARD, 1.0)
        return np.asarray(np.sqrt(leads**2 + dirt**2 + MODEL**2 + more))


def _dark(element: el.Element) -> el.Element:
    """A gas tube as an ohmmeter meets it, far below striking: a leak. Where one may light, every
    row would be followed from switch-on."""
    if not isinstance(element, el.Gas):
        return element
    return el.Resistor(
        element.name, element.nets, {"g": element.values.get("g", el.Gas.PARAMS["g"])}
    )


def meter_sigma(meter: Ohmmeter, value: Floats, which: Ints, resolution: float = 0.0) -> Floats:
    """One sigma of the meter's claimed error on its scale (B): half the limit it claims."""
    value = np.maximum(np.nan_to_num(value), 0.0)
    claim = meter.limit(value, which, resolution) / 2.0
    return claim if meter.test == "diode" else np.minimum(claim / (value + FLOOR), 3.0)


def _pick(kept: Sequence[DeadReadings], place: Ints) -> DeadReadings:
    """Row i of the result is row place[i, 1] of the range solved as number place[i, 0]."""

    def take(arrays: Sequence[npt.NDArray[Any]]) -> npt.NDArray[Any]:
        return np.array([arrays[k][r] for k, r in place])

    solved = [f.solution for f in kept]
    solution = Solution(*(take([getattr(s, f.name) for s in solved]) for f in fields(Solution)))
    return DeadReadings(
        take([f.value for f in kept]),
        take([f.over for f in kept]),
        take([f.volts for f in kept]),
        take([f.amps for f in kept]),
        take([f.range for f in kept]),
        take([f.ok for f in kept]),
        take([f.rows for f in kept]),
        solution,
    )
