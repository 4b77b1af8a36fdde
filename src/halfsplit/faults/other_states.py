"""Other states a row could rest in: a crowbar fired or not, a relay in or out, a pair flipped over.

A solve reports one state. Whatever latches is tried the other way round, held there while the rest
of the circuit settles, then kept only if it would stay so when let go. On direct-current feeds the
solver is also started from elsewhere (rails at nought, each transistor hard on or off), and what it
finds is kept only if it is stable. Gas tubes are left out: which of them is lit is followed anyway.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.follow import follow
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.stability import can_rest
from halfsplit.faults.dictionary import predict
from halfsplit.faults.kept_under import table_folder
from halfsplit.faults.predictions import ADRIFT, UNCLAIMED, UNSOLVED, Predictions
from halfsplit.faults.store import load_arrays, store_arrays
from halfsplit.quantity.volts import volts

Floats = npt.NDArray[np.float64]

# Volts and share of a reading by which two states differ somewhere to be called two.
APART_VOLTS, APART_SHARE = 0.1, 0.02
CONDUCTS = 0.4  # base to emitter [V] above which a silicon or germanium transistor is called on
NEVER = 1e6  # a pull-in voltage [V] that stands for a coil without current
MARGIN = 1.05  # of its holding current or drop-out voltage that a latch must have to be claimed


@dataclass(frozen=True)
class OtherState:
    """A state a row could also rest in.

    Attributes
    ----------
    parts: what stands the other way round, such as ("SCR1 fired",).
    volts: net -> mean [V] there. moved: nets that differ from the state reported.
    at_switch_on: whether switching on leads to this one rather than to the one reported; None when
        following the circuit up did not settle it.
    """

    parts: tuple[str, ...]
    volts: Mapping[str, float]
    moved: frozenset[str]
    at_switch_on: bool | None

    def words(self, rails: Mapping[str, str]) -> str:
        """For people; `rails` is label -> net."""
        told = {label: net for label, net in rails.items() if net in self.moved}
        told = told or {n: n for n in sorted(self.moved)[:2]}
        read = ", ".join(f"{label} {volts(self.volts[net])}" for label, net in told.items())
        end = {
            True: "switching on leads to it",
            False: "cleared by switching off",
            None: "which of the two comes at switch-on is not known",
        }[self.at_switch_on]
        return f"also stable: {', '.join([*self.parts, read])}; {end}"


@dataclass(frozen=True)
class _Latch:
    """One thing that latches, and the values that hold it on or off."""

    ref: str
    element: el.Element
    on: Overrides
    off: Overrides

    def words(self, on: bool) -> str:
        if isinstance(self.element, el.Scr):
            return f"{self.ref} {'fired' if on else 'not fired'}"
        return f"{self.ref} contact {'closed' if on else 'open'}"


def _latches(machine: Machine) -> list[_Latch]:
    found = []
    for ref, part in machine.assembly.parts.items():
        for e in part.elements():
            if isinstance(e, el.Scr):  # below any gate current it fires, unable it never does
                on, off = {(e.name, "igt"): -1.0}, {(e.name, "able"): 0.0}
            elif isinstance(e, el.Contact):
                on, off = {(e.name, "force"): 1.0}, {(e.name, "force"): -1.0}
            else:
                continue
            (own,) = (x for x in machine.netlist if x.name == e.name)  # on nets of the machine
            found.append(_Latch(ref, own, on, off))
    return found


def other_states(
    machine: Machine, condition: Condition, faults: Sequence[Overrides]
) -> list[list[OtherState]]:
    """For each fault, the states it could rest in besides the one :func:`predict` reports.

    Each costs a few solves; ask only about rows that matter. A row that was not solved, and a state
    that was not, are left out.
    """
    # A circuit that beats costs seconds a try, and what fired on its way up its status says.
    ways = (True,) if machine.self_oscillating else (True, False)
    held = [(x, on) for x in _latches(machine) for on in ways]
    laid: list[Overrides] = [{}, *(x.on if on else x.off for x, on in held)]
    seats = machine.alternating(condition) is None and not machine.self_oscillating
    seats &= not any(isinstance(e, el.Gas) for e in machine.netlist)
    if not faults or (len(laid) == 1 and not seats):
        return [[] for _ in faults]
    wide = predict(machine, condition, [{**f, **v} for f in faults for v in laid], moves=[])
    skip = machine.alternating_nets()
    nets = [n for n in wide.nets if n not in skip]
    state = machine.values(condition)
    found: list[list[OtherState]] = []
    for k, fault in enumerate(faults):
        base = k * len(laid)
        if int(wide.status[base]) in UNCLAIMED:
            found.append([])
            continue
        here = _volts(wide, base, nets)
        values = machine.topology.rows([{**fault, **state}])
        states: list[tuple[tuple[str, ...], dict[str, float]]] = []
        rests = np.ones(len(laid), dtype=bool)  # what was followed in time does rest
        if seats:
            rows = machine.topology.rows([{**fault, **v, **state} for v in laid])
            solved = operating_point(machine.topology, rows, _begin(machine, here))
            rests = can_rest(machine.topology, rows, solved.mean, solved.latched)
        for i, (latch, on) in enumerate(held, start=base + 1):
            there = _volts(wide, i, nets)
            known = [here, *(v for _, v in states)]
            if int(wide.status[i]) in UNCLAIMED or not _all_new(there, known):
                continue
            if rests[i - base] and _stays(machine, latch, on, wide, i, values[0]):
                states.append(((latch.words(on),), there))
        if seats:
            states += _from_elsewhere(machine, values, here, [v for _, v in states], nets)
        firm = {n for n in nets if wide.ohms[base, wide.column(n)] < ADRIFT}
        found.append(_told(machine, values, here, states, seats, firm))
    return found


def known_states(
    machine: Machine, condition: Condition, faults: Sequence[Overrides]
) -> list[list[OtherState]]:
    """:func:`other_states`, kept on disk as the predictions are."""
    paths = [table_folder(machine, condition, [f]).with_suffix(".states.npz") for f in faults]
    kept = [load_arrays(p) for p in paths]
    new = [k for k, found in enumerate(kept) if not found or "states" not in found]
    fresh = dict(zip(new, other_states(machine, condition, [faults[k] for k in new]), strict=True))
    for k, states in fresh.items():
        plain = [(s.parts, dict(s.volts), sorted(s.moved), s.at_switch_on) for s in states]
        store_arrays(paths[k], {"states": json.dumps(plain)})
    return [fresh[k] if k in fresh else _restored(kept[k] or {}) for k in range(len(faults))]


def _restored(found: Mapping[str, npt.NDArray[Any]]) -> list[OtherState]:
    plain = json.loads(str(found["states"]))
    return [OtherState(tuple(parts), v, frozenset(moved), up) for parts, v, moved, up in plain]


def _volts(table: Predictions, row: int, nets: Sequence[str]) -> dict[str, float]:
    return {n: float(table.mean[row, table.column(n)]) for n in nets}


def _moved(a: Mapping[str, float], b: Mapping[str, float]) -> frozenset[str]:
    def apart(n: str) -> bool:
        return abs(a[n] - b[n]) > APART_VOLTS + APART_SHARE * max(abs(a[n]), abs(b[n]))

    return frozenset(n for n in a if apart(n))


def _all_new(volts_there: Mapping[str, float], known: Sequence[Mapping[str, float]]) -> bool:
    sound = all(np.isfinite(v) for v in volts_there.values())
    return sound and all(_moved(volts_there, k) for k in known)


def _begin(machine: Machine, here: Mapping[str, float]) -> Floats:
    return np.array([here.get(n, 0.0) for n in machine.topology.nets])


def _stays(
    machine: Machine, latch: _Latch, on: bool, table: Predictions, row: int, values: Floats
) -> bool:
    """Whether a latch held on or off would stay so by itself, over the whole cycle."""
    slot, e = machine.topology.slot, latch.element

    def p(name: str) -> float:
        return float(values[slot[e.name, name]])

    def across(plus: str, minus: str) -> Floats:
        return table.instants(row, table.column(plus), table.column(minus))

    if isinstance(e, el.Scr):
        anode, gate = across(e.nets[0], e.nets[1]), across(e.nets[2], e.nets[1])
        if on:
            return bool(((anode - p("von")) / p("ron")).min() > MARGIN * p("ih"))
        flows = p("isg") * np.expm1(np.minimum(gate / p("nvt"), 200.0))
        return bool((flows < p("igt")).all() or (anode <= p("von")).all() or p("able") < 0.5)
    if p("force") != 0.0:
        return False  # welded or stuck: it is not its coil that decides
    coil, pulled = np.abs(across(e.nets[2], e.nets[3])), on != (p("normally") > 0.5)
    if pulled and p("pull") >= NEVER:
        return False
    if pulled:
        return bool(coil.min() >= MARGIN * p("drop"))
    return bool(coil.max() * MARGIN < p("pull"))


def _transistors(machine: Machine) -> dict[str, tuple[str, str, str, float]]:
    """Collector, base and emitter nets of each, and 1 for npn, -1 for pnp."""
    parts = machine.assembly.parts.items()
    ends = {ref: part.terminals() for ref, part in parts if part.KIND in ("npn", "pnp")}
    sign = {ref: 1.0 if part.KIND == "npn" else -1.0 for ref, part in parts}
    return {ref: (t["c"], t["b"], t["e"], sign[ref]) for ref, t in ends.items()}


def _from_elsewhere(
    machine: Machine,
    values: Floats,
    here: Mapping[str, float],
    known: Sequence[Mapping[str, float]],
    nets: Sequence[str],
) -> list[tuple[tuple[str, ...], dict[str, float]]]:
    """Direct-current states reached from rails at nought and from each transistor on or off."""
    topology, devices = machine.topology, _transistors(machine)
    index = topology.net_index
    begin = _begin(machine, here)
    starts = [np.zeros_like(begin), begin]
    for c, b, e, sign in devices.values():
        level = here.get(e, 0.0)
        for net, value in ((c, level), (b, level), (b, level + 0.7 * sign)):
            if net in index:
                start = begin.copy()
                start[index[net]] = value
                starts.append(start)
    rows = np.repeat(values, len(starts), axis=0)
    solved = operating_point(topology, rows, np.array(starts))
    rests = can_rest(topology, rows, solved.mean, solved.latched)
    found: list[tuple[tuple[str, ...], dict[str, float]]] = []
    for mean, status, rest in zip(solved.mean, solved.status, rests, strict=True):
        there = {n: float(mean[index[n]]) for n in nets}
        new = _all_new(there, [here, *known, *(v for _, v in found)])
        if int(status) in UNCLAIMED or not new or not rest:
            continue
        turned = []
        for ref, (_, b, e, sign) in devices.items():
            was, now = (sign * (v.get(b, 0.0) - v.get(e, 0.0)) > CONDUCTS for v in (here, there))
            if was != now:
                turned.append(f"{ref} {'on' if now else 'off'}")
        found.append((tuple(turned), there))
    return found


def _told(
    machine: Machine,
    values: Floats,
    here: Mapping[str, float],
    states: Sequence[tuple[tuple[str, ...], dict[str, float]]],
    direct: bool,
    firm: set[str],
) -> list[OtherState]:
    """With the answer to which of them switching on leads to."""
    at_switch_on: int | None = -1  # the state reported: mains and choppers are followed up anyway
    if states and direct:
        solved, _ = follow(machine.topology, values, kick=False, stop=1e5, most=200_000)
        up = {n: float(solved.mean[0, machine.topology.net_index[n]]) for n in firm}
        sound = int(solved.status[0]) != UNSOLVED
        all_states = [here, *(v for _, v in states)]
        same = [i for i, v in enumerate(all_states) if sound and not _moved(up, v)]
        at_switch_on = same[0] - 1 if same else None
    return [
        OtherState(
            parts,
            there,
            _moved(here, there),
            None if at_switch_on is None else at_switch_on == i,
        )
        for i, (parts, there) in enumerate(states)
    ]
