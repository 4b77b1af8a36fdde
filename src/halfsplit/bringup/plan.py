"""The bring-up plan: every step with what to expect and where to stop, written before power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from halfsplit.assembly.condition import BENCH, Condition
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.leans import LeansMap
from halfsplit.bringup.lightest import Proposal, supply_on
from halfsplit.bringup.power import feed_words
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import predict
from halfsplit.faults.melting import fuse_amps
from halfsplit.faults.predictions import Predictions
from halfsplit.faults.ratings import junction_limit, thermal_path
from halfsplit.faults.stress import Stress, stresses
from halfsplit.parts.capacitance import Capacitance
from halfsplit.parts.kinds.fuse import Fuse
from halfsplit.parts.valve import Valve
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# What a step may be off its expectation before one stops: half as much again in amperes, a tenth in
# volts where the file has no limits; a minute to look, listen and smell at each step, ten at load.
# Common practice, no published source.
AMPS, VOLTS, LOOK, SOAK = 1.5, 0.1, 60.0, 600.0
SHOCK = 60.0  # V direct that may be touched, IEC 61010-1
WARM = 3.0  # times the slowest warm-up after which valves are read; common practice
HAND = 60.0  # degC a finger bears for a second or two; common practice


@dataclass(frozen=True)
class Point:
    """One reading of a step: net, what it should be and the limits at which to stop [V]."""

    net: str
    label: str
    expected: float
    low: float
    high: float


@dataclass(frozen=True)
class Step:
    """One step.

    Attributes
    ----------
    key: short and lasting, so that a plan taken up again finds its ticks.
    condition: the state readings of this step are taken in; None for dead and manual steps.
    amps: current limit or abort current [A], 0 where none applies. seconds, celsius: as long and as
        hot as it may go.
    before: cautions of this step, with their numbers.
    """

    key: str
    title: str
    do: str
    points: tuple[Point, ...] = ()
    condition: Condition | None = None
    amps: float = 0.0
    seconds: float = 0.0
    celsius: float = 0.0
    before: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """For the journal and ``--json``."""
        data = asdict(self)
        data["condition"] = None if self.condition is None else self.condition.as_dict()
        return data


@dataclass(frozen=True)
class Plan:
    """Steps in order, and what could not be worked out."""

    steps: tuple[Step, ...]
    unsolved: tuple[str, ...] = field(default=())


def plan(
    machine: Machine,
    leans: LeansMap,
    lightest: Sequence[Proposal],
    now: Condition,
    cautions: Sequence[str] = (),
    live: Sequence[str] = (),
    ohms: Sequence[str] = (),
) -> Plan:
    """The plan of a machine as it stands: dead checks, fuses, reforming, each raw rail alone in the
    order things lean, then the mains behind a lamp, loads, protection, boards last.

    `cautions` go before hands go in, `live` before the mains goes on; `ohms` is what each rail
    should show to common, in words.
    """
    steps: list[Step] = []
    unsolved: list[str] = []
    steps += _dead(machine, cautions, ohms)
    for label in leans.order():
        if leans.kinds[label] == "raw":
            made = _raw(machine, leans, now, label, lightest)
            if made is None:
                unsolved.append(f"{label} alone")
            else:
                steps.append(made)
    steps += _rails(machine, leans, now, unsolved)
    steps += _trips(machine)  # before the mains, which would pay for a trip that fails
    steps += _mains(machine, leans, now, lightest, live, unsolved)
    do = "one board at a time, least dear first; what still refuses them: `halfsplit gate FILE`"
    steps.append(Step("boards", "Boards", do, needs=("gate",)))
    return Plan(tuple(steps), tuple(unsolved))


def _dead(machine: Machine, cautions: Sequence[str], ohms: Sequence[str]) -> list[Step]:
    """Looks and dead checks: fuses against the drawing, rails to common, reservoirs."""
    assembly = machine.assembly
    found = []
    fuses = [p for p in assembly.parts.values() if isinstance(p, Fuse)]
    if fuses:
        listed = ", ".join(f"{p.ref} {show(p.amps, 'A', 2)} {p.speed}" for p in fuses)
        do = (
            f"read every fuse against the drawing: {listed}; each that is right is entered: "
            f"`halfsplit observe FILE --part {fuses[0].ref} --sign as-drawn`"
        )
        found.append(Step("fuses", "Fuses to drawing", do, before=tuple(cautions)))
    rails = ", ".join(assembly.rails)
    if rails:
        do = (
            f"ohms from {rails} to common, both ways round, everything off and discharged; more "
            f"of any: `halfsplit ohms FILE {next(iter(assembly.rails))} {assembly.common}`"
        )
        do = "; ".join([do, *ohms])
        found.append(Step("ohms", "Rails to common, dead", do, before=tuple(cautions)))
    wet = [p.ref for p in assembly.parts.values() if p.KIND == "electrolytic"]
    if wet:
        do = (
            f"reform {', '.join(wet)}, one at a time; the published rules disagree and you pick: "
            f"`halfsplit reform FILE {wet[0]}`"
        )
        found.append(Step("reform", "Electrolytics that stood for years", do))
    return found


def _raw(
    machine: Machine,
    leans: LeansMap,
    now: Condition,
    label: str,
    lightest: Sequence[Proposal],
) -> Step | None:
    """A current-limited bench supply on one raw rail, all else off."""
    net = leans.nets[label]
    chosen = next((p for p in lightest if p.net == net), None)
    if chosen is None:
        return None
    off = Condition("off", "none", now.changes, ambient=now.ambient)
    laid = supply_on(machine, net, chosen.volts, chosen.amps)
    table = predict(machine, off, [laid], moves=[])
    if table.status[0] == Status.UNSOLVED:
        return None
    points = []
    for other, at in leans.nets.items():
        level = float(table.mean[0, table.column(at)])
        if abs(level) > 0.2 and leans.kinds[other] != "signal":
            points.append(_point(machine, at, other, level, strict=False))
    do = (
        f"mains unplugged, no load; bench supply set to {volts(abs(chosen.volts))} and limited to "
        f"{show(chosen.amps, 'A', 2)}, {_joined(machine, net, chosen.volts)}"
    )
    if chosen.out:
        do += f"; take out {', '.join(chosen.out)}"
    return Step(
        f"raw-{net}",
        f"{label} alone from a bench supply",
        do,
        tuple(points),
        None,
        chosen.amps,
        LOOK,
        HAND,
        (),
        ("fuses", "ohms"),
    )


def _joined(machine: Machine, net: str, level: float) -> str:
    """Which lead of a bench supply goes where, by a part with a lead on the net."""
    common = machine.assembly.common
    parts = machine.assembly.parts.items()
    there = [r for r, p in parts if isinstance(p, Capacitance) and {*p.plates()} == {net, common}]
    there += [r for r, p in parts if net in p.terminals().values()]
    way = ("plus", "minus") if level > 0.0 else ("minus", "plus")
    return f"then its {way[0]} to {net} (a lead of {there[0]}), its {way[1]} to {common}"


def _rails(machine: Machine, leans: LeansMap, now: Condition, unsolved: list[str]) -> list[Step]:
    """All raw rails together, then each load, rails read in the order they lean."""
    feed = next((n for n, f in machine.assembly.feeds.items() if f.nets and not f.mains), None)
    if feed is None:
        return []
    before = tuple(
        f"{net}: {volts(source.volts)} direct, enough to kill: clip on with the supply off, one "
        "hand, covered joints, a second person near; local rules and licensed practice come first"
        for net, source in machine.assembly.feeds[feed].nets.items()
        if abs(source.volts) > SHOCK
    )
    return _at_loads(machine, leans, now, feed, None, unsolved, before)


def _at_loads(
    machine: Machine,
    leans: LeansMap,
    now: Condition,
    feed: str,
    lamp: float | None,
    unsolved: list[str],
    before: tuple[str, ...],
) -> list[Step]:
    """One step a load with no more than the rails are rated for."""
    from halfsplit.bringup.trial import rated_conditions

    named = [c.load for c in rated_conditions(machine)]
    loads = ["none", *(n for n in named if n != "none")] if lamp is None else ["none"]
    if machine.self_oscillating:
        loads = [n for n in loads if n != "none"] or loads
    found = []
    for name in loads:
        at = Condition(feed, name, now.changes, ambient=now.ambient, lamp=lamp)
        table = predict(machine, at, [{}], moves=[])
        stress = stresses(machine, at, [{}])
        if table.status[0] == Status.UNSOLVED or stress.status[0] == Status.UNSOLVED:
            unsolved.append(at.words())
            continue
        points = []
        for label in leans.order():
            if leans.kinds[label] == "signal":
                continue
            net = leans.nets[label]
            level = float(table.mean[0, table.column(net)])
            points.append(_point(machine, net, label, level, strict=lamp is None))
        amps, words = _drawn(machine, at, stress, table)
        watched = _hot(machine, stress)
        limiter = f" through a {lamp:g} W lamp" if lamp else ""
        with_ = _load_words(machine, name)
        with_ += _warming(machine)
        do = f"{feed_words(machine, at)}{limiter}; {with_}; stop above {words}{watched}"
        found.append(
            Step(
                f"{feed}-{name}" + (f"-lamp{lamp:g}" if lamp else ""),
                f"Fed by {feed}{limiter}, load {name}",
                do,
                tuple(points),
                at,
                amps,
                LOOK if name == "none" else SOAK,
                HAND,
                before,
            )
        )
    return found


def _warming(machine: Machine) -> str:
    """When to read a machine with valves: while they warm its rails stand elsewhere."""
    times = [p.warmup for p in machine.assembly.parts.values() if isinstance(p, Valve)]
    if not times:
        return ""
    wait = WARM * float(max(times))
    return (
        f"; read once the valves are warm, after {wait:.0f} s: before that rails stand elsewhere, "
        "and only what stays beyond its stop is one (expect FILE … --warm 10s)"
    )


def _load_words(machine: Machine, name: str) -> str:
    """What to hang on each rail, with the watts of each resistor."""
    assembly, found = machine.assembly, []
    for net, value in assembly.loads[name].items():
        rail = next((r for r in assembly.rails.values() if r.net == net), None)
        level = abs(rail.limits.low + rail.limits.high) / 2.0 if rail else 0.0
        label = assembly.net_label(net)
        if value.ohms is not None:
            watts = f" ({show(level**2 / value.ohms, 'W', 2)})" if level else ""
            found.append(f"{show(value.ohms, 'ohm', 2)}{watts} on {label}")
        else:
            found.append(f"{show(value.amps or 0.0, 'A', 2)} from {label}")
    if not found:
        return "no load"
    return f"load {', '.join(found)}, resistors of twice those watts"


def _drawn(
    machine: Machine, at: Condition, stress: Stress, table: Predictions
) -> tuple[float, str]:
    """Abort current: rms of the first fuse behind the mains, else the most any supply of the feed
    gives [A]; and each in words."""
    assembly = machine.assembly
    if assembly.feeds[at.feed].mains:
        fuse = next((p for p in assembly.parts.values() if isinstance(p, Fuse)), None)
        if fuse is None:
            return 0.0, "what is usual"
        amps = AMPS * fuse_amps(stress, 0).get(fuse.ref, 0.0)
        return amps, f"{show(amps, 'A', 2)} AC in {fuse.ref}"
    drawn = {
        net: AMPS * abs(source.volts - float(table.mean[0, table.column(net)])) / source.ohms
        for net, source in assembly.feeds[at.feed].nets.items()
    }
    if not drawn:
        return 0.0, "what is usual"
    words = ", ".join(f"{show(a, 'A', 2)} into {net}" for net, a in drawn.items())
    return max(drawn.values()), words


def _hot(machine: Machine, stress: Stress) -> str:
    """The hottest part and where to stop, in words; empty when no temperature is known."""
    if not np.isfinite(stress.junction[0]).any():
        return ""
    rise = np.nan_to_num(stress.junction[0], nan=-np.inf)
    k = int(np.argmax(rise))
    part = machine.assembly.parts[stress.parts[k]]
    limit = junction_limit(part)
    if limit is None or thermal_path(part) is None or rise[k] < BENCH + 10.0:
        return ""
    return f"; {part.ref} warmest, junction near {rise[k]:.0f} °C, {limit[0]:.0f} °C allowed"


def _mains(
    machine: Machine,
    leans: LeansMap,
    now: Condition,
    lightest: Sequence[Proposal],
    cautions: Sequence[str],
    unsolved: list[str],
) -> list[Step]:
    """The mains: first behind a lamp without load, then without it at each load."""
    feed = next((n for n, f in machine.assembly.feeds.items() if f.mains), None)
    if feed is None:
        return []
    before = tuple(cautions)
    lamp = next((p.lamp for p in lightest if p.lamp), None)
    found = []
    if lamp:
        found += _at_loads(machine, leans, now, feed, lamp, unsolved, before)
    return found + _at_loads(machine, leans, now, feed, None, unsolved, before)


def _trips(machine: Machine) -> list[Step]:
    """Each over-voltage trip by injection."""
    found = []
    for label, rail in machine.assembly.rails.items():
        if rail.over_voltage is not None:
            low, high = rail.over_voltage.low, rail.over_voltage.high
            do = (
                f"raw off, boards out: inject on {label} from 0 V, 100 mA limit, slowly; must trip "
                f"between {volts(low)} and {volts(high)}, stop at {volts(high)}; three times, from "
                f"0 V each: `halfsplit protect FILE {label}` tells how"
            )
            found.append(
                Step(f"trip-{label}", f"Over-voltage trip of {label}", do, amps=0.1, seconds=LOOK)
            )
    return found


def _point(machine: Machine, net: str, label: str, level: float, *, strict: bool) -> Point:
    """A reading with its limits: the rail's own where it should be right, else a share around."""
    for rail in machine.assembly.rails.values():
        if rail.net == net and rail.limits.low <= level <= rail.limits.high and strict:
            return Point(net, label, level, rail.limits.low, rail.limits.high)
    off = max(abs(level) * VOLTS, 0.1)
    return Point(net, label, level, level - off, level + off)
