"""Machines written after the solver: every single fault by us and by ngspice."""

from __future__ import annotations

import math
import subprocess
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Solution, Status
from halfsplit.faults.dictionary import predict
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.predictions import ADRIFT
from tests.simulator import deck, tray

FOLDER = Path(__file__).parent / "others"
NAMES = ("bench_supply", "logic_supply")
LOADS = ("none", "half", "full")
# Faults whose readings differ from ngspice's for a reason that is ours, and the reason.
KNOWN: dict[tuple[str, str], str] = {}


@cache
def machine(name: str) -> Machine:
    """One of the machines in the folder, compiled."""
    assembly, problems = load(FOLDER / f"{name}.yaml")
    assert assembly is not None, problems
    return Machine(assembly)


def allowed(name: str, net: str, value: float) -> float:
    """Rails 1 % + 10 mV, other nets 2 % + 30 mV."""
    rails = {r.net for r in machine(name).assembly.rails.values()}
    return 0.01 * abs(value) + 0.010 if net in rails else 0.02 * abs(value) + 0.030


def _values(element: el.Element, laid: Overrides) -> dict[str, float]:
    found = dict(zip(element.PARAMS, element.vector(), strict=True))
    return found | {key: v for (ref, key), v in laid.items() if ref == element.name}


def by_ngspice(
    name: str,
    fault: str,
    changes: Overrides,
    condition: Condition,
    nets: list[str],
    tolerance: str = deck.USUAL,
) -> dict[str, float] | None:
    """ngspice's operating point, its thyristors and relays switched as its own volts say.

    Solved with thyristors off and coils dead, then thyristors, then relays, until nothing moves.
    """
    made = machine(name)
    laid = {**changes, **made.values(condition)}
    latches = [e for e in made.netlist if isinstance(e, (el.Scr, el.Contact))]
    watched = sorted({*nets, *(n for e in latches for n in e.nets)} - {made.assembly.common})
    guess = _healthy(name, condition)
    fired: set[str] = set()
    pulled: set[str] = set()  # coils that hold their armature
    for _ in range(8):
        closed = set()
        for e in latches:
            if isinstance(e, el.Contact):
                v = _values(e, laid)
                shut = (e.name in pulled) != (v["normally"] > 0.5)
                if v["force"] > 0.5 or (shut and v["force"] > -0.5):
                    closed.add(e.name)
        written = deck.write(
            made.topology,
            laid,
            open_lead=tray.open_lead(fault),
            fired=frozenset(fired),
            closed=frozenset(closed),
        )
        found = _answer(written, watched, guess, tolerance)
        if found is None:
            return None
        now = set(fired)
        for e in latches:
            v, at = _values(e, laid), [found.get(n, 0.0) for n in e.nets]
            if isinstance(e, el.Scr):
                gate = v["isg"] * math.expm1(min((at[2] - at[1]) / v["nvt"], 80.0))
                fires = gate >= v["igt"] and v["able"] > 0.5
                anode = 0.03 * math.log1p(math.exp(min((at[0] - at[1] - v["von"]) / 0.03, 80.0)))
                if fires and at[0] - at[1] > v["von"]:
                    now.add(e.name)
                elif not fires and anode / v["ron"] < v["ih"]:
                    now.discard(e.name)
        if now != fired:
            fired = now
            continue
        held = set()
        for e in latches:
            if isinstance(e, el.Contact):
                v, at = _values(e, laid), [found.get(n, 0.0) for n in e.nets]
                if abs(at[2] - at[3]) >= (v["drop"] if e.name in pulled else v["pull"]):
                    held.add(e.name)
        if held == pulled:
            return {n: found[n] for n in nets}
        pulled = held
    return None


@cache
def _healthy(name: str, condition: Condition) -> dict[str, float]:
    """Our healthy volts of every net."""
    topology = machine(name).topology
    found = operating_point(topology, topology.rows([machine(name).values(condition)]))
    return dict(zip(topology.nets, found.mean[0].tolist(), strict=True))


def _answer(
    written: deck.Deck, nets: list[str], guess: dict[str, float], tolerance: str
) -> dict[str, float] | None:
    """ngspice's volts from nothing; where it finds none, from the healthy volts."""
    for start, seconds in ((None, 3.0), (guess, 20.0)):  # it answers in a tenth of one, or never
        with suppress(subprocess.TimeoutExpired):
            found = deck.operating_point(written, nets, start, seconds, tolerance)
            if found is not None:
                return found
    return None


@dataclass
class Outcome:
    """All single faults of a machine at one load.

    Attributes
    ----------
    rows: how many were asked. unsolved: ours without an answer.
    worst: largest unbalanced current [A] of the solved rows.
    wrong: readings on which ngspice differs; known: those that do for a reason in KNOWN.
    finer: readings on which it differed and at its finer tolerance does not.
    lost: faults ngspice had no operating point for.
    """

    rows: int
    unsolved: list[str]
    worst: float
    wrong: list[str]
    lost: list[str]
    known: list[str]
    finer: list[str]


def _apart(name: str, mine: dict[str, float], theirs: dict[str, float]) -> list[str]:
    """Nets that differ by more than is allowed."""
    return [n for n, v in mine.items() if abs(v - theirs[n]) > allowed(name, n, theirs[n])]


def solved(name: str, load: str, changes: list[Overrides]) -> Solution:
    """Our operating points of these faults, from the healthy volts."""
    topology, state = machine(name).topology, machine(name).values(Condition("raws", load))
    start = operating_point(topology, topology.rows([state])).mean[0]
    return operating_point(topology, topology.rows([{**c, **state} for c in changes]), start)


def compare(name: str, load: str, take: list[int] | None = None) -> Outcome:
    """Single faults (all, or these of the list) ours and by ngspice."""
    made, condition = machine(name), Condition("raws", load)
    faults = single_faults(made.assembly)[2:]
    chosen = [faults[i] for i in (range(len(faults)) if take is None else take)]
    changes = [h.changes for h in chosen]
    found = solved(name, load, changes)
    table = predict(made, condition, changes, moves=[])
    assert (table.status == found.status).all()
    good = found.status != Status.UNSOLVED
    out = Outcome(
        len(chosen),
        [h.name for h, ok in zip(chosen, good, strict=True) if not ok],
        float(found.residual[good].max()),
        [],
        [],
        [],
        [],
    )
    hanging = made.alternating_nets() | made.mains_nets()
    nets = [n for n in table.nets if n not in hanging]
    for row in np.flatnonzero(good):
        h = chosen[row]
        solid = [n for n in nets if table.ohms[row, table.column(n)] < ADRIFT / 20]
        reference = by_ngspice(name, h.name, h.changes, condition, solid)
        if reference is None:
            out.lost.append(h.name)
            continue
        mine = {n: float(table.mean[row, table.column(n)]) for n in solid}
        off = _apart(name, mine, reference)
        if not off:
            continue
        finer = by_ngspice(name, h.name, h.changes, condition, solid, deck.FINE) or reference
        still = _apart(name, mine, finer)
        for n in off:
            line = f"{h.name}: {n} ours {mine[n]:.3f} ngspice {reference[n]:.3f}"
            if n not in still:
                out.finer.append(line)
            else:
                (out.known if (name, h.name) in KNOWN else out.wrong).append(line)
    return out
