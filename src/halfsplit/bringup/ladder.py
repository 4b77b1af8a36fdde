"""A load ladder: resistors for each step, and what every rail should then read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from halfsplit.assembly.condition import BENCH
from halfsplit.assembly.model import Rail
from halfsplit.bringup.derating import STRESS, allowed, needed_watts
from halfsplit.bringup.solving import SHORTED, Bench, loaded
from halfsplit.bringup.stock import MOST_PIECES, Choice, Piece, choose, networks
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.faults.dictionary import uncertainties
from halfsplit.faults.predictions import Predictions
from halfsplit.problems import Problem, ProblemsError
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

STEPS = (0.0, 0.10, 0.25, 0.50, 0.75, 1.0)  # of full current; common practice
WITHIN = 0.05  # of the wanted resistance a network may differ; common practice
# A filament cold has about a tenth of its hot resistance, which rises about as the square root of
# its volts. Common practice, no published source.
COLD = 0.1
OWN = 1e-4  # A below which a resistor of the machine is not worth naming as its load
SLOW = ": it beats by itself; lamp and electronic load are not solved, use resistors"
POINTS = 12  # resistances between a cold and a hot lamp at which the rail is solved


@dataclass(frozen=True)
class Step:
    """One rung of one rail: what to connect, and what it takes."""

    rail: str
    share: float
    amps: float
    ohms: float
    choice: Choice
    watts: float
    rated_watts: float

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        network = self.choice.network
        return {
            "rail": self.rail,
            "share": self.share,
            "amps": self.amps,
            "ohms": self.ohms if np.isfinite(self.ohms) else None,
            "watts": self.watts,
            "rated_watts_needed": self.rated_watts,
            "network": network.words if network else None,
            "network_ohms": network.ohms if network else None,
            "pieces": [
                {
                    "piece": c.piece.label(),
                    "make": c.piece.make,
                    "watts": c.watts,
                    "share_of_derated": c.stress,
                    "body_degC": c.degc,
                }
                for c in self.choice.carried
            ],
            "refused": self.choice.reason,
        }


@dataclass(frozen=True)
class Expected:
    """What one rail reads at one step; `together` with every rail at that step, else alone."""

    rail: str
    share: float
    together: bool
    volts: float
    low: float
    high: float
    ripple: float
    valley: float
    amps: float
    regulation: float
    within: bool | None
    status: str


@dataclass(frozen=True)
class Ladder:
    """Everything a ladder says, ready to print."""

    steps: list[Step]
    expected: list[Expected]
    cross: list[dict[str, Any]]
    minimum: list[dict[str, Any]]
    cautions: list[str]
    condition: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``; what was not solved is null."""
        rows = [asdict(e) for e in self.expected]
        for row in rows:
            row.update({k: None for k, v in row.items() if isinstance(v, float) and v != v})
        return {
            "condition": self.condition,
            "steps": [s.as_dict() for s in self.steps],
            "expected": rows,
            "cross_regulation": self.cross,
            "minimum_load": self.minimum,
            "cautions": self.cautions,
        }


def full_amps(bench: Bench, label: str) -> float | None:
    """Full current of a rail [A]: as rated in the file, else its heaviest load there."""
    assembly = bench.machine.assembly
    rail = assembly.rails[label]
    if rail.rated:
        return float(rail.rated)
    nominal = abs(rail.limits.low + rail.limits.high) / 2
    loads = [load[rail.net] for load in assembly.loads.values() if rail.net in load]
    drawn = [nominal / v.ohms if v.ohms else float(v.amps or 0.0) for v in loads]
    return max(drawn, default=0.0) or None


def _rails(bench: Bench, asked: Sequence[str]) -> dict[str, tuple[Rail, float]]:
    """Rails to load with their full currents. Raises ProblemsError."""
    known, found = bench.machine.assembly.rails, {}
    problems = []
    for label in asked or [*known]:
        amps = full_amps(bench, label) if label in known else None
        if label not in known:
            wrong = "is no rail of this file"
            problems.append(Problem("", 0, 0, label, wrong, ", ".join(known) or "rails: in it"))
        elif amps:
            found[label] = (known[label], amps)
        elif asked:
            wrong = "has neither a rated current nor a load in the file"
            problems.append(Problem("", 0, 0, label, wrong, "rated: 5A beside its limits"))
    if not found and not problems:
        wrong = "no rail has a rated current or a load in the file"
        problems.append(Problem("", 0, 0, "rails", wrong, "rated: 5A beside its limits"))
    if problems:
        raise ProblemsError(problems)
    return found


def plan(
    bench: Bench,
    stock: Sequence[Piece],
    asked: Sequence[str] = (),
    *,
    ambient: float = BENCH,
    stress: float = STRESS,
    most: int = MOST_PIECES,
) -> Ladder:
    """The ladder of the rails `asked` (all rated ones when none is), in air at `ambient` [degC].

    Watts are taken at the rail's upper limit, so a rail that stands high does not surprise.
    Raises ProblemsError, or UnsolvedError when nothing feeds the machine.
    """
    rails = _rails(bench, asked)
    made = networks(stock, most)
    steps = []
    for label, (rail, full) in rails.items():
        nominal = abs(rail.limits.low + rail.limits.high) / 2
        top = max(abs(rail.limits.low), abs(rail.limits.high))
        for share in STEPS[1:]:
            ohms = nominal / (share * full)
            choice = choose(made, stock, ohms, top, celsius=ambient, stress=stress, within=WITHIN)
            real = choice.network.ohms if choice.network else ohms
            watts = top**2 / real
            rated = needed_watts(watts, ambient, stress)
            steps.append(Step(label, share, nominal / real, ohms, choice, watts, rated))
    expected, cross, bare = _expect(bench, rails, steps)
    minimum = _minimum(bench, rails, expected, bare)
    cautions = _cautions(bench, rails, steps, ambient)
    return Ladder(steps, expected, cross, minimum, cautions, bench.bare().words())


def _expect(
    bench: Bench, rails: dict[str, tuple[Rail, float]], steps: Sequence[Step]
) -> tuple[list[Expected], list[dict[str, Any]], dict[str, float]]:
    """What each rail reads at each step, how the others move it, and every net with all open."""
    real = {(s.rail, s.share): s.choice.network.ohms if s.choice.network else s.ohms for s in steps}
    asks: list[tuple[str, float]] = [("", s) for s in STEPS]
    if len(rails) > 1:
        asks += [(label, s) for label in rails for s in STEPS[1:]]
    laid = []
    for alone, share in asks:
        row: Overrides = {}
        for label, (rail, _) in rails.items():
            here = share > 0 and alone in ("", label)
            row |= loaded(rail.net, real[label, share] if here else np.inf)
        laid.append(row)
    table = bench.solve(laid, uncertainties(bench.machine))
    found = []
    empty = {label: float(table.mean[0, table.column(r.net)]) for label, (r, _) in rails.items()}
    for i, (alone, share) in enumerate(asks):
        for label, (rail, _) in rails.items():
            if alone in ("", label):
                ohms = real[label, share] if share else np.inf
                one = _line(bench, table, i, label, rail, ohms, empty[label])
                found.append(Expected(label, share, not alone, **one))
    cross = []
    for label, (rail, _) in rails.items():
        both = [e for e in found if e.rail == label and e.share == 1.0]
        if len(both) == 2:
            together = next(e for e in both if e.together).volts
            alone_volts = next(e for e in both if not e.together).volts
            room = rail.limits.high - rail.limits.low
            moved = together - alone_volts
            cross.append(
                {
                    "rail": label,
                    "alone": alone_volts if np.isfinite(alone_volts) else None,
                    "all_loaded": together if np.isfinite(together) else None,
                    "moves": moved if np.isfinite(moved) else None,
                    "room": room,
                }
            )
    return found, cross, {n: float(table.mean[0, table.column(n)]) for n in table.nets}


def _line(
    bench: Bench,
    table: Predictions,
    row: int,
    label: str,
    rail: Rail,
    ohms: float,
    empty: float,
) -> dict[str, Any]:
    i = table.column(rail.net)
    if not bench.claimed(table, row):
        none = dict.fromkeys(("volts", "low", "high", "ripple", "valley", "amps"), float("nan"))
        return {**none, "regulation": float("nan"), "within": None, "status": table.told(row)}
    mean, valley = float(table.mean[row, i]), float(table.low[row, i])
    sigma = float(np.sqrt((table.spread[row, :, i] ** 2).sum()))
    ripple = float(table.ripple[row, i])
    inside = rail.limits.low <= mean <= rail.limits.high
    inside &= rail.ripple is None or ripple <= rail.ripple
    return {
        "volts": mean,
        "low": mean - 2 * sigma,
        "high": mean + 2 * sigma,
        "ripple": ripple,
        "valley": valley,
        "amps": abs(mean) / ohms if np.isfinite(ohms) else 0.0,
        "regulation": (empty - mean) / mean if mean else float("nan"),
        "within": bool(inside),
        "status": table.told(row),
    }


def _minimum(
    bench: Bench,
    rails: dict[str, tuple[Rail, float]],
    expected: Sequence[Expected],
    unloaded: dict[str, float],
) -> list[dict[str, Any]]:
    """For each rail whether it needs a load to be in limits, how much, and why."""
    found = []
    for label, (rail, full) in rails.items():
        bare = next(e for e in expected if e.rail == label and e.share == 0.0)
        own = _own(bench, rail.net, unloaded) if bare.within is not None else []
        told = ", ".join(f"{ref} {show(a, 'A', 2)}" for ref, a in own[:4]) or "nothing"
        row: dict[str, Any] = {"rail": label, "needed": None, "amps": None, "own": dict(own)}
        if bare.within is None:
            row["why"] = f"not known: unloaded, the row is {bare.status}"
        elif bare.within:
            row |= {"needed": False, "amps": 0.0}
            row["why"] = (
                f"none needed: with every rail open it stands at {volts(bare.volts)}, within its "
                f"limits; inside the machine it feeds {told}"
            )
        else:
            amps = _least(bench, rail, full)
            row |= {"needed": True, "amps": amps}
            row["why"] = (
                f"with every rail open it stands at {volts(bare.volts)}, ripple "
                f"{volts(bare.ripple)}, out of limits; inside the machine it feeds {told}; "
                + (
                    f"from {show(amps, 'A', 2)} on it is within them"
                    if amps is not None
                    else "no load up to full current brings it within them: find the fault first"
                )
            )
        found.append(row)
    return found


def _own(bench: Bench, net: str, unloaded: dict[str, float]) -> list[tuple[str, float]]:
    """Resistors and coils of the machine that draw on an unloaded net [A], largest first."""
    at = unloaded | {bench.machine.assembly.common: 0.0}
    values = {**bench.faults, **bench.machine.values(bench.bare())}
    found = []
    for e in bench.machine.netlist:
        inside = e.name in bench.machine.assembly.parts
        if isinstance(e, el.Resistor) and inside and net in e.nets and set(e.nets) <= set(at):
            other = e.nets[1] if e.nets[0] == net else e.nets[0]
            g = values.get((e.name, "g"), e.values["g"])
            amps = (at[net] - at[other]) * g * (1.0 if at[net] > 0 else -1.0)
            if amps > OWN:
                found.append((e.name, float(amps)))
    return sorted(found, key=lambda item: -item[1])


def _least(bench: Bench, rail: Rail, full: float) -> float | None:
    """Least current [A] that brings the rail alone within limits, to 0.1 or 0.3 of a decade."""
    nominal = abs(rail.limits.low + rail.limits.high) / 2
    currents = full * np.logspace(-3, 0, 10 if bench.machine.self_oscillating else 31)
    table = bench.solve([loaded(rail.net, nominal / a) for a in currents])
    i = table.column(rail.net)
    for row, amps in enumerate(currents):
        level = float(table.mean[row, i])
        calm = rail.ripple is None or float(table.ripple[row, i]) <= rail.ripple
        if bench.claimed(table, row) and rail.limits.low <= level <= rail.limits.high and calm:
            return abs(level) * float(amps) / nominal
    return None


def _cautions(
    bench: Bench,
    rails: dict[str, tuple[Rail, float]],
    steps: Sequence[Step],
    ambient: float,
) -> list[str]:
    hottest = max(
        ((c.degc, s, c) for s in steps for c in s.choice.carried),
        key=lambda item: item[0],
        default=None,
    )
    share, source = allowed("wirewound", ambient)
    found = [
        f"in air at {ambient:g} °C a wirewound resistor may carry {100 * share:.0f} % of its "
        f"rating ({source}); load resistors go on a tile, guarded, clear of harnesses"
    ]
    if hottest is not None:
        degc, step, carried = hottest
        found.append(
            f"the hottest is {carried.piece.label()} at {100 * step.share:.0f} % of {step.rail}: "
            f"about {degc:.0f} °C by the slope of its derating line, an estimate"
        )
    for label, (rail, full) in rails.items():
        top = max(abs(rail.limits.low), abs(rail.limits.high))
        if top > 50.0:
            found.append(
                f"{label}: {top:.0f} V on the load resistors, which kills: connect and change them "
                "with the power off and the rail measured below 30 V, never live"
            )
        beats = bench.machine.self_oscillating
        found += [label + SLOW] if beats else _lamps(bench, label, rail, full)
    return found


def _lamps(bench: Bench, label: str, rail: Rail, full: float) -> list[str]:
    """What a lamp and an electronic load do to this rail at switch-on."""
    nominal = abs(rail.limits.low + rail.limits.high) / 2
    hot = nominal / full
    ladder = hot * np.logspace(np.log10(COLD), 0.0, POINTS)
    laid = [loaded(rail.net, r) for r in ladder]
    laid += [{(f"drain:{rail.net}", "amps"): full}, {(f"load:{rail.net}", "g"): SHORTED}]
    table = bench.solve(laid)
    i = table.column(rail.net)
    level = np.abs(table.mean[:, i])
    if not all(bench.claimed(table, row) for row in range(len(laid))):
        return [f"{label}: lamp and electronic load were not solved; use resistors"]
    cold = ohms = hot * COLD
    first = float(level[0]) / cold
    for _ in range(60):  # the filament warms to where its volts hold its resistance
        reached = float(np.interp(ohms, ladder, level[:POINTS]))
        ohms = hot * min(max(COLD, (reached / nominal) ** 0.5), 1.0)
    ends = float(np.interp(ohms, ladder, level[:POINTS]))
    lit = rail.limits.low <= np.copysign(ends, rail.limits.low) <= rail.limits.high
    lamp = (
        f"{label}: a lamp for {show(full, 'A', 2)} is {show(cold, 'ohm', 2)} cold, a tenth of "
        f"hot: switch-on gives {volts(float(level[0]))} at {show(first, 'A', 2)}, then "
    )
    lamp += (
        f"it warms up and the rail reaches {volts(ends)}"
        if lit
        else f"it sticks at {volts(ends)}: a good supply that will not start; use resistors first"
    )
    drawn, shorted = float(level[-2]), float(level[-1]) * SHORTED
    load = (
        f"{label}: an electronic load set to {show(full, 'A', 2)} constant current leaves "
        f"{volts(drawn)}"
    )
    down = drawn < min(abs(rail.limits.low), abs(rail.limits.high))
    load += ", held down from switch-on" if down else ""
    load += (
        f"; into a short this rail gives {show(shorted, 'A', 2)}, less than it asks: switched on "
        "under it the rail may stay down; use resistors, or set it after the rail is up"
        if shorted < full
        else f"; into a short this rail gives {show(shorted, 'A', 2)}, more than it asks"
    )
    return [lamp, load]
