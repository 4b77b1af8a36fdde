"""Simulated specimens to practise on: faults, tolerances, meter error and slips, all drawn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from halfsplit.assembly.lower import Machine
from halfsplit.circuit.netlist import Overrides
from halfsplit.diagnosis import swing
from halfsplit.diagnosis.evidence import Meter
from halfsplit.diagnosis.meters import scope_error
from halfsplit.diagnosis.next_check import Candidate
from halfsplit.faults.dead import Ask, DeadCircuit
from halfsplit.faults.dictionary import predict
from halfsplit.faults.hypotheses import SIZED, Fault, Hypothesis
from halfsplit.faults.predictions import UNCLAIMED

EVEN = 3.0**0.5  # half-width of an evenly filled band in sigmas


@dataclass(frozen=True)
class Case:
    """One specimen: what is wrong with it, and the seed of everything else about it."""

    kind: str
    faults: tuple[Fault, ...]
    seed: int

    @property
    def name(self) -> str:
        """Its faults, or "healthy"."""
        return " + ".join(f.name for f in self.faults) or "healthy"


class Bench(Protocol):
    """A specimen on a bench: what a drill needs of it. Tests put another engine behind this.

    `slipped` says whether it has given a mistyped reading.
    """

    slipped: bool

    def read(self, asked: Candidate, meter: Meter) -> str | None:
        """What the meter shows, as typed; None when no reading can be had."""

    def looks_right(self, ref: str) -> bool:
        """Whether a part is the one of the drawing, fitted as drawn."""


def drawn(machine: Machine, case: Case) -> Overrides:
    """Parameter values of the specimen: every tolerance and the size of every fault drawn once."""
    random = np.random.default_rng(case.seed)
    base = dict(zip(machine.topology.slot, machine.topology.base, strict=True))
    values: Overrides = {}
    for part in machine.assembly.parts.values():
        for wander in part.wanders():
            z = float(random.uniform(-EVEN, EVEN))
            for key, at_sigma in wander.changes.items():
                ratio = at_sigma / base[key] if base[key] else 0.0
                if ratio > 0.0:
                    values[key] = values.get(key, base[key]) * ratio**z
    for fault in case.faults:
        z = float(random.uniform(-EVEN, EVEN)) if fault.cause == "worn" else 0.0
        size = fault.size_known**z
        for (element, name), value in fault.changes.items():
            sized = name in SIZED and (element, name) in fault.resized
            values[element, name] = value * size if sized else value
    return values


class EngineBench:
    """A specimen solved by this package's own engine: for practice, not for proof."""

    def __init__(self, machine: Machine, case: Case, slips: float = 0.0) -> None:
        self.machine, self.case = machine, case
        self.values = drawn(machine, case)
        self.random = np.random.default_rng(case.seed + 1)
        self.slipping = bool(self.random.uniform() < slips)
        self.slipped = False
        self._dead = DeadCircuit(machine)

    def read(self, asked: Candidate, meter: Meter) -> str | None:
        """What the meter shows: solved, with the meter's own load and error, perhaps mistyped."""
        value = self._dead_value(asked) if asked.ohmmeter else self._live_value(asked, meter)
        if value is None or not np.isfinite(value):
            return "OL" if value is not None else None
        if asked.quantity == "frequency":
            return f"{value:.4g}Hz"
        digits = 3 if asked.quantity in ("ripple", "ac") else 2
        if asked.ohmmeter is not None:
            return f"{value:.4g}"
        return f"{self.slip(value):.{digits}f}"

    def slip(self, value: float) -> float:
        """The value, or once in a slipping case the value with its point one place off."""
        if self.slipping and not self.slipped and abs(value) > 0.1:
            self.slipped = True
            return value * (10.0 if self.random.uniform() < 0.5 else 0.1)
        return value

    def _live_value(self, asked: Candidate, meter: Meter) -> float | None:
        table = predict(self.machine, asked.condition, [self.values], moves=[])
        if int(table.status[0]) in UNCLAIMED:
            return None
        a, b = table.column(asked.net), table.column(asked.black)
        if asked.quantity == "ripple":
            true = float(swing.height(table, a, b)[0])
            return max(true + scope_error(true) * self.random.uniform(-1, 1), 0.0)
        if asked.quantity == "frequency":
            return float(swing.frequency(table, a, b)[0])
        if asked.quantity == "ac":
            true = float(swing.shown(table, meter, a, b)[0])
            error = 2.0 * meter.alternating_sigma(true, 0.001) * self.random.uniform(-1, 1)
            return max(true + error, 0.0)
        true = float(table.mean[0, a] - table.mean[0, b])
        ohms = meter.input_ohms(true)
        shown = true * ohms / (ohms + float(table.ohms[0, a] + table.ohms[0, b]))
        return shown + 2.0 * meter.sigma(shown, 0.01) * self.random.uniform(-1, 1)

    def _dead_value(self, asked: Candidate) -> float | None:
        assert asked.ohmmeter is not None
        black = asked.black or self.machine.assembly.common
        found = self._dead.read(
            [Ask(asked.net, black, self.values)], asked.condition, asked.ohmmeter
        )
        if not found.ok[0]:
            return None
        if found.over[0]:
            return float("inf")
        limit = float(asked.ohmmeter.limit(found.value, found.range, 0.0)[0])
        return max(float(found.value[0]) + limit * self.random.uniform(-1, 1), 0.0)

    def looks_right(self, ref: str) -> bool:
        """Whether a part is the one of the drawing."""
        return not any(f.part == ref and f.cause == "wrong" for f in self.case.faults)


def draw_cases(
    hypotheses: Sequence[Hypothesis],
    visible: Sequence[bool],
    kinds: Sequence[str],
    count: int,
    seed: int,
    follow: dict[str, list[tuple[Fault, float]]] | None = None,
    shows: Callable[[Case], bool] = lambda _: True,
) -> list[Case]:
    """`count` cases, their kinds in turn, faults drawn by odds among those that would show.

    `follow` gives, by fault, what it may take along and the chance: for cascades. `shows` tells
    whether a specimen as drawn differs anywhere from the same without its fault; one that does not
    is drawn again, as nobody would have brought it to a bench.
    """
    random = np.random.default_rng(seed)
    seen = [
        h.faults[0] for h, v in zip(hypotheses, visible, strict=True) if v and len(h.faults) == 1
    ]
    odds = np.array([f.odds for f in seen])
    first = [f for f in seen if follow and follow.get(f.name)]
    made: list[Case] = []
    tries = 0
    while len(made) < count:
        kind = kinds[len(made) % len(kinds)]
        faults: tuple[Fault, ...] = ()
        if kind == "single":
            faults = (seen[int(random.choice(len(seen), p=odds / odds.sum()))],)
        elif kind == "double":
            a, b = 0, 0
            while seen[a].part == seen[b].part:
                a, b = (int(random.choice(len(seen), p=odds / odds.sum())) for _ in range(2))
            faults = (seen[a], seen[b])
        elif kind == "cascade" and first and follow:
            weights = np.array([f.odds for f in first])
            cause = first[int(random.choice(len(first), p=weights / weights.sum()))]
            taken = follow[cause.name]
            chance = np.array([c for _, c in taken])
            effect = taken[int(random.choice(len(taken), p=chance / chance.sum()))][0]
            faults = (cause, effect)
        tries += 1
        number = seed * 100_003 + tries
        if all(shows(Case(kind, (f,), number)) for f in faults[:2]) or tries > 20 * count:
            made.append(Case(kind, faults, number))
    return made
