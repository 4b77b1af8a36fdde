"""A crowbar proved by injection: where it should fire, what ends the event, the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Rail
from halfsplit.bringup.solving import Bench, UnsolvedError
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status
from halfsplit.parts.kinds.supply import Supply
from halfsplit.quantity import Reading, show
from halfsplit.quantity.volts import volts

INJECTOR = "injector#"
SERIES, LIMIT = 10.0, 0.2  # ohm and A of the injecting supply; common practice
BISECTIONS = 24
PAST = 1.1  # times the top of its window at which raising stops; common practice
BEATS = (int(Status.OSCILLATING), int(Status.RESTARTING))
JOINS = frozenset({"wire", "fuse", "trace", "connector"})
# A fast fuse at 2.75 times its rating opens within 2 s, at 1.5 times it must hold an hour: IEC
# 60127-2 sheet 2 as a maker's sheet for such fuses prints it.
OPENS, HOLDS = 2.75, 1.5


@dataclass(frozen=True)
class Crowbar:
    """A thyristor across a rail, and what injection on that rail should show.

    Attributes
    ----------
    trip, low, high: rail volts at which it fires, and two sigma of its own parts to each side [V];
        None where it does not fire at all.
    on_volts: rail while it is fired [V]. stop: rail volts at which to stop raising [V].
    stored: energy the rail's own capacitors put through it [J].
    refused: why boards stay out, "" when the number itself gives no reason.
    """

    part: str
    rail: str
    trip: float | None
    low: float | None
    high: float | None
    on_volts: float
    inject_amps: float
    stop: float
    stop_reason: str
    stored: float
    refused: str
    window: tuple[float, float] | None
    absolute: float | None
    after: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {**asdict(self), "test": "crowbar"}


def _joined(machine: Machine, net: str) -> set[str]:
    """Nets in metallic contact with `net` through wires, fuses and the like."""
    found, grown = {net}, True
    while grown:
        grown = False
        for part in machine.assembly.parts.values():
            ends = set(part.terminals().values()) - {machine.assembly.common}
            if part.KIND in JOINS and ends & found and not ends <= found:
                found, grown = found | ends, True
    return found


def find(machine: Machine) -> list[tuple[str, str]]:
    """Every thyristor from a rail to common: (part, rail)."""
    found = []
    for label, rail in machine.assembly.rails.items():
        nets = _joined(machine, rail.net)
        for ref, part in machine.assembly.parts.items():
            ends = {part.__dict__.get("a"), part.__dict__.get("k")}
            if part.KIND == "scr" and ends & nets and machine.assembly.common in ends:
                found.append((ref, label))
    return found


def with_injector(machine: Machine, net: str) -> Machine:
    """The machine with a bench supply behind its series resistor left on one net."""
    supply = Supply(
        ref=INJECTOR,
        kind="supply",
        volts="1V",
        ohms=f"{SERIES}ohm",
        pos=net,
        neg=machine.assembly.common,
    )
    parts = {**machine.assembly.parts, INJECTOR: supply}
    return Machine(replace(machine.assembly, parts=parts))


def _moves(machine: Machine, ref: str, faults: Overrides) -> list[Overrides]:
    """One-sigma changes of the thyristor and of the parts on its gate, from values as they are."""
    gate = machine.assembly.parts[ref].terminals()["g"]
    found = []
    for other, part in machine.assembly.parts.items():
        near = gate in part.terminals().values() and gate != machine.assembly.common
        if other == ref or near:
            nominal = {
                (e.name, k): v
                for e in part.elements()
                for k, v in zip(e.PARAMS, e.vector(), strict=True)
            }
            for wander in part.wanders():
                moved = {
                    key: value / nominal[key] * faults.get(key, nominal[key])
                    for key, value in wander.changes.items()
                    if nominal[key]
                }
                found.append(moved)
    return found


def predict_trip(bench: Bench, ref: str, label: str, rail: Rail, *, ends: bool = True) -> Crowbar:
    """Raise a bench supply on the rail, everything else off, until the thyristor fires.

    With `ends`, also what ends the event on the machine's own feed.
    """
    machine = with_injector(bench.machine, rail.net)
    topology, sign = machine.topology, 1.0 if rail.limits.high > 0 else -1.0
    off = replace(bench.bare(), feed="off")
    state = machine.values(off)
    supply = {(INJECTOR, "g"): 1.0 / SERIES, (INJECTOR, "limit"): LIMIT}
    laid = [{}, *_moves(machine, ref, {**bench.faults, **state})]
    at, scr = topology.net_index[rail.net], topology.element_index[ref]

    def solve(level: np.ndarray[Any, Any]) -> tuple[Any, Any]:
        rows = topology.rows(
            [
                {**bench.faults, **state, **move, **supply, (INJECTOR, "dc"): sign * float(v)}
                for move, v in zip(laid, level, strict=True)
            ]
        )
        found = operating_point(topology, rows)
        return found.latched[:, scr] == 1, np.abs(found.mean[:, at])

    top = 3.0 * max(abs(rail.limits.low), abs(rail.limits.high))
    low, high = np.zeros(len(laid)), np.full(len(laid), top)
    fires, on = solve(high)
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        fired, _level = solve(middle)
        high, low = np.where(fired, middle, high), np.where(fired, low, middle)
    _, below = solve(low)
    if fires[0]:
        _, on = solve(high)
    if not (np.isfinite(below[0]) and np.isfinite(on[0])):
        raise UnsolvedError(f"{label}: the injection of {ref} was not solved, no trip is claimed")
    stored = 0.5 * _farads(bench.machine, rail.net) * (float(below[0]) if fires[0] else top) ** 2
    stop, why = _stop(bench.machine, rail, top)
    window = None
    if rail.over_voltage is not None:
        window = (
            min(abs(rail.over_voltage.low), abs(rail.over_voltage.high)),
            max(abs(rail.over_voltage.low), abs(rail.over_voltage.high)),
        )
    absolute = abs(rail.absolute) if rail.absolute is not None else None
    trip, spread = None, 0.0
    if fires[0]:
        trip = float(below[0])
        own = [float(v) - trip for v, f in zip(below[1:], fires[1:], strict=True) if f]
        spread = 2.0 * float(np.sqrt(np.sum(np.square(own)))) if own else 0.0
    return Crowbar(
        ref,
        label,
        trip,
        None if trip is None else trip - spread,
        None if trip is None else trip + spread,
        float(on[0]),
        float((low[0] - below[0]) / SERIES),
        stop,
        why,
        stored,
        judge(trip, window, absolute),
        window,
        absolute,
        tuple(_after(bench, ref, rail)) if ends and trip is not None else (),
    )


def judge(trip: float | None, window: tuple[float, float] | None, absolute: float | None) -> str:
    """Why boards stay out with a crowbar that fires at `trip` [V]; "" where nothing speaks so."""
    if trip is None:
        return "it does not fire at all: boards stay out"
    if absolute is not None and trip >= absolute:
        return (
            f"it fires at {volts(trip)}, above the {volts(absolute)} nothing on this rail may ever "
            "see: boards stay out until that is put right"
        )
    if window is not None and not window[0] <= trip <= window[1]:
        side = "below" if trip < window[0] else "above"
        return (
            f"it fires at {volts(trip)}, {side} its {volts(window[0])} to {volts(window[1])}: "
            "boards stay out until that is put right"
        )
    return ""


def _farads(machine: Machine, net: str) -> float:
    nets, common = _joined(machine, net), machine.assembly.common
    found = 0.0
    for part in machine.assembly.parts.values():
        ends = set(part.terminals().values())
        if part.KIND in ("electrolytic", "tantalum") or "capacitor" in part.KIND:
            found += float(part.__dict__["value"]) if ends & nets and common in ends else 0.0
    return found


def _stop(machine: Machine, rail: Rail, top: float) -> tuple[float, str]:
    """Rail volts at which raising stops, and why there."""
    nets, limits = _joined(machine, rail.net), [(top, "three times the rail")]
    if rail.absolute is not None:
        limits.append((abs(rail.absolute), "what nothing on this rail may ever see"))
    elif rail.over_voltage is not None:
        high = max(abs(rail.over_voltage.low), abs(rail.over_voltage.high))
        limits.append((PAST * high, "a tenth past where it must have fired"))
    for ref, part in machine.assembly.parts.items():
        fields, ends = part.__dict__, set(part.terminals().values())
        holds = part.KIND in ("electrolytic", "tantalum") or "capacitor" in part.KIND
        if holds and ends & nets and machine.assembly.common in ends and fields.get("volts"):
            limits.append((float(fields["volts"]), f"the rating of {ref}"))
    return min(limits)


def _after(bench: Bench, ref: str, rail: Rail) -> list[str]:
    """What ends the event once it has fired on the machine's own feed: fuse, limiter or nothing."""
    if not bench.condition.energised():
        return ["what ends the event was not solved: no feed is named"]
    held: Overrides = {(ref, "igt"): -1.0}
    worst, cause = _worst(bench, ref, rail)
    found = []
    for words, fault in (("all else good", {}), (f"{cause}, the worst of them", worst)):
        if words.startswith(","):
            continue
        laid = [{**fault, **held}]
        table = bench.solve(laid)
        if not bench.claimed(table, 0):
            found.append(f"fired with {words}: {table.told(0)}")
            continue
        found.append(f"fired with {words}: " + _ends(bench, table, ref, fault))
    return found


def _ends(bench: Bench, table: Any, ref: str, fault: Overrides) -> str:
    """Current through the fired thyristor and the fuse that carries it, in words."""
    machine = bench.machine
    part = machine.assembly.parts[ref]
    a, k = part.terminals()["a"], part.terminals()["k"]
    level = float(table.mean[0, table.column(a)] - table.mean[0, table.column(k)])
    (element,) = part.elements()
    amps = max(level - element.values["von"], 0.0) / element.values["ron"]
    if int(table.status[0]) in BEATS:
        return f"{table.told(0)}, {volts(abs(level))} mean across {ref}: it goes on until the plug"
    words = f"{show(amps, 'A', 2)} through {ref}"
    rated = part.__dict__.get("amps")
    if rated and amps > rated:
        words += f", above its {show(float(rated), 'A', 2)}"
    carried = []
    for name, other in machine.assembly.parts.items():
        if other.KIND == "fuse":
            p, n = (table.mean[0, table.column(t)] for t in other.terminals().values())
            (own,) = other.elements()
            g = {**bench.faults, **fault}.get((name, "g"), own.values["g"])
            size = bench.faults.get((name, "g"), own.values["g"]) / own.values["g"]
            limit = float(other.__dict__["amps"]) * size
            carried.append((abs(float(p - n)) * g / limit, name, limit))
    times, name, limit = max(carried, default=(0.0, "", 0.0))
    if not name:
        return f"{words}; no fuse is in its way: only the limiter or the plug ends it"
    fuse = f"{name} ({limit:g} A) carries {times:.1f} times its rating"
    if times >= OPENS:
        return f"{words}; {fuse}: a fast one opens within 2 s"
    if times <= HOLDS:
        return f"{words}; {fuse} and holds: nothing ends it but the plug, so watch for heat"
    return f"{words}; {fuse}: it opens in minutes to an hour, so watch for heat"


def _worst(bench: Bench, ref: str, rail: Rail) -> tuple[Overrides, str]:
    """The collector-emitter short that drives the rail highest with the crowbar out."""
    faults: list[Overrides] = []
    names = []
    for other, part in bench.machine.assembly.parts.items():
        for mode in part.modes() if part.KIND in ("npn", "pnp") else []:
            if mode.name == "c-e short":
                faults.append(dict(mode.changes))
                names.append(f"{other} {mode.name}")
    if not faults:
        return {}, ""
    table = bench.solve([{**f, (ref, "able"): 0.0} for f in faults])
    level = np.abs(table.mean[:, table.column(rail.net)])
    if not np.isfinite(level).any():
        return {}, ""
    row = int(np.nanargmax(level))
    return faults[row], f"{names[row]} ({volts(float(level[row]))} without it)"


def procedure(bar: Crowbar) -> list[str]:
    """The test, step by step, with its numbers."""
    steps = [
        "plug out, boards out, raw capacitors measured below 1 V; the pass stage has no feed",
        f"bench supply through {SERIES:g} ohm onto {bar.rail}, limited to "
        f"{show(LIMIT, 'A', 2)} ({show(LIMIT * bar.stop, 'W', 2)} at most); face out of line with "
        f"{bar.part}",
        f"raise it slowly; stop at {volts(bar.stop)} on the rail, {bar.stop_reason}",
    ]
    if bar.trip is not None and bar.trip < bar.stop:
        steps.append(
            f"expect it to fire at {volts(bar.trip)} ({volts(bar.low or 0.0)} to "
            f"{volts(bar.high or 0.0)}), the supply giving {show(bar.inject_amps, 'A', 2)}, "
            f"and the rail to fall to {volts(bar.on_volts)} and stay: it must latch"
        )
        steps.append("take the supply off, let it reset, and repeat twice: three times alike")
    elif bar.trip is not None:
        steps.append(
            f"as the circuit is it would fire at {volts(bar.trip)}, which the stop forbids: put "
            "the part right first, then test"
        )
    else:
        steps.append("as the circuit is it would not fire: find out why first")
    steps.append(
        f"the rail's own capacitors put {show(bar.stored, 'J', 2)} through {bar.part} each time; "
        "what it must carry on the machine's own feed is shown by rating, never tried"
    )
    return steps


def verdict(bar: Crowbar, read: Sequence[Reading], latched: bool) -> dict[str, Any]:
    """What trip volts measured say: `passed`, and why or why not."""
    values = [abs(r.value) for r in read]
    reasons = [why for v in values if (why := judge(v, bar.window, bar.absolute))]
    if not latched:
        reasons.append("it did not stay fired: it must latch")
    if len(values) > 1 and max(values) - min(values) > 0.02 * max(values):
        reasons.append(
            f"the trips lie {volts(max(values) - min(values))} apart: a dirty joint or a tired gate"
        )
    odd = [
        v
        for v in values
        if bar.low is not None and bar.high is not None and not bar.low <= v <= bar.high
    ]
    if odd:
        reasons.append(
            f"{volts(odd[0])} is not what these parts would do, {volts(bar.low or 0.0)} to "
            f"{volts(bar.high or 0.0)}: is what is fitted what the file says?"
        )
    if len(values) < 3:
        reasons.append(f"{len(values)} of 3 trips entered")
    return {"passed": not reasons, "volts": values, "reasons": reasons}
