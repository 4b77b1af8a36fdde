"""What happens when power goes away or comes up slowly: hold-up of each rail, relays on the way.

Reservoirs are let down by what the circuit draws from them, the rest following at once: true where
reservoirs last far longer than anything else settles, and no use for a supply that beats by itself.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from halfsplit.bringup.solving import Bench, UnsolvedError, loaded
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status

STIFF = 100.0  # S, a reservoir seen from the circuit: its own 10 mohm
LET_DOWN = 0.02  # of its volts the fastest reservoir loses in a step
STEPS = 400
SHARES = 41  # levels of the feed on the way up
# An electrolytic may have 10 % less and 50 % more than marked; common practice. The sum is coarse.
SHORTER, LONGER = 0.8, 1.6
WANTED = 3e-3  # s a rail should stand after the warning, at least; from memory, unconfirmed


@dataclass(frozen=True)
class HoldUp:
    """Seconds from loss of power, with every rail at full load.

    Attributes
    ----------
    rails: rail -> seconds until it leaves its limits; None where it did not within the sum.
    relays: relay -> seconds until its contact moves; None likewise.
    pulls_in: relay -> share of the feed at which it operates when that comes up slowly, and what
        each rail reads then [V]; None where it never does.
    """

    rails: dict[str, float | None]
    relays: dict[str, float | None]
    pulls_in: dict[str, dict[str, Any] | None]
    reservoirs: dict[str, float]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {**asdict(self), "test": "hold-up", "rail": ", ".join(self.rails)}


def hold_up(bench: Bench, amps: dict[str, float]) -> HoldUp:
    """Let the reservoirs down with each rail loaded to `amps` by resistors.

    Raises UnsolvedError where there is no reservoir, or the circuit beats by itself.
    """
    machine, topology = bench.machine, bench.machine.topology
    if machine.self_oscillating:
        raise UnsolvedError("hold-up is not solved for a supply that beats by itself")
    tanks = _reservoirs(bench)
    if not tanks:
        raise UnsolvedError("no reservoir capacitor stands on a fed or rectified net")
    load: Overrides = {}
    for label, full in amps.items():
        rail = machine.assembly.rails[label]
        load |= loaded(rail.net, abs(rail.limits.low + rail.limits.high) / 2 / full)
    table = bench.solve([load])
    if not bench.claimed(table, 0):
        raise UnsolvedError(f"hold-up: full load was not solved, {table.told(0)}")
    level = {net: float(table.low[0, table.column(net)]) for net in tanks}
    if machine.alternating(bench.condition):  # worst case: gone at the valley
        level = {n: v if v > 0 else float(table.mean[0, table.column(n)]) for n, v in level.items()}
    state = {**bench.faults, **machine.values(bench.bare()), **load, **_dead(bench)}
    relays = {e.name: e for e in machine.netlist if isinstance(e, el.Contact)}
    on = {n: _coil(table.mean[0], table.nets, e) >= e.values["pull"] for n, e in relays.items()}
    rails: dict[str, float | None] = dict.fromkeys(machine.assembly.rails)
    moved: dict[str, float | None] = {n: None for n, is_on in on.items() if is_on}
    start, now = None, 0.0
    for _ in range(STEPS):
        forced: Overrides = {(n, "force"): _forced(relays[n], on[n]) for n in relays}
        sources: Overrides = {}
        for net, volts in level.items():
            name = _source(bench, net)
            sources |= {(name, "dc"): volts, (name, "g"): STIFF, (name, "limit"): 1e9}
        row = topology.rows([{**state, **forced, **sources}])
        found = operating_point(topology, row, start)
        if Status(int(found.status[0])) is Status.UNSOLVED:
            break
        mean = found.mean[0]
        start = mean
        for label, rail in machine.assembly.rails.items():
            reads = float(mean[topology.net_index[rail.net]])
            if rails[label] is None and not rail.limits.low <= reads <= rail.limits.high:
                rails[label] = now
        for name, e in relays.items():
            if on[name] and _coil(mean, topology.nets, e) < e.values["drop"]:
                on[name], moved[name] = False, now
        drawn = {n: (v - float(mean[topology.net_index[n]])) * STIFF for n, v in level.items()}
        slowest = [tanks[n] * abs(v) / abs(drawn[n]) for n, v in level.items() if abs(drawn[n]) > 0]
        done = all(t is not None for t in (*rails.values(), *moved.values()))
        if done or not slowest:
            break
        step = LET_DOWN * min(slowest)
        now += step
        level = {n: v - drawn[n] * step / tanks[n] for n, v in level.items()}
    names = {n: n.partition(":")[0] for n in relays}
    up = {names[n]: _pull_in(bench, e, load) for n, e in relays.items()}
    return HoldUp(rails, {names[n]: t for n, t in moved.items()}, up, tanks)


def _reservoirs(bench: Bench) -> dict[str, float]:
    """Fed or rectified nets with capacitors to common: net -> farads."""
    machine, common = bench.machine, bench.machine.assembly.common
    fed = machine.rectified() if machine.alternating(bench.condition) else []
    fed = fed or list(machine.assembly.feeds[bench.condition.feed].nets)
    values = {**bench.faults, **machine.values(bench.bare())}
    found: dict[str, float] = {}
    behind = {n: n for n in fed}
    for e in machine.netlist:  # what stands behind a choke runs down with it
        if isinstance(e, el.Inductor):
            for near, far in (e.nets, e.nets[::-1]):
                if near in fed and far != common:
                    behind.setdefault(far, near)
    for e in machine.netlist:
        if isinstance(e, el.Capacitor) and common in e.nets:
            net = behind.get(next((n for n in e.nets if n != common), ""), "")
            if net:
                farads = values.get((e.name, "c"), e.values["c"])
                found[net] = found.get(net, 0.0) + float(farads)
    return found


def _source(bench: Bench, net: str) -> str:
    names = {e.name for e in bench.machine.netlist}
    return f"hold:{net}" if f"hold:{net}" in names else f"feed:{net}"


def _dead(bench: Bench) -> Overrides:
    """Values with the feed gone: mains off, bench supplies off."""
    found: Overrides = {}
    for part in bench.machine.assembly.parts.values():
        if part.KIND == "mains":
            found[part.ref, "ac"] = 0.0
        elif part.KIND == "supply":
            found |= {(part.ref, "dc"): 0.0, (part.ref, "g"): 1e-12}
    for net in bench.machine.assembly.feeds[bench.condition.feed].nets:
        found |= {(f"feed:{net}", "dc"): 0.0, (f"feed:{net}", "g"): 1e-12}
    return found


def _coil(mean: Any, nets: Any, e: el.Contact) -> float:
    """Volts across a relay's coil."""
    where = {n: i for i, n in enumerate(nets)}
    ends = [float(mean[where[n]]) if n in where else 0.0 for n in e.nets[2:4]]
    return abs(ends[0] - ends[1])


def _forced(e: el.Contact, on: bool) -> float:
    """The contact's `force` for a coil that is on or off."""
    closed = on != (e.values.get("normally", 0.0) > 0.5)
    return 1.0 if closed else -1.0


def _pull_in(bench: Bench, e: el.Contact, load: Overrides) -> dict[str, Any] | None:
    """Where a relay operates while the feed comes up slowly from nothing."""
    machine, topology = bench.machine, bench.machine.topology
    top = bench.solve([load])
    sources = {}
    for net in _reservoirs(bench):
        sources[_source(bench, net)] = float(top.mean[0, top.column(net)])
    state = {**bench.faults, **machine.values(bench.bare()), **load, **_dead(bench)}
    shares = np.linspace(0.05, 1.0, SHARES)
    rows = []
    for share in shares:
        on: Overrides = {}
        for name, volts in sources.items():
            on |= {(name, "dc"): share * volts, (name, "g"): STIFF, (name, "limit"): 1e9}
        rows.append({**state, **on})
    found = operating_point(topology, topology.rows(rows))
    for k, share in enumerate(shares):
        mean = found.mean[k]
        if np.isfinite(mean).all() and _coil(mean, topology.nets, e) >= e.values["pull"]:
            rails = machine.assembly.rails.items()
            reads = {label: float(mean[topology.net_index[r.net]]) for label, r in rails}
            good = {label: r.limits.low <= reads[label] <= r.limits.high for label, r in rails}
            return {"share": float(share), "volts": reads, "within": good}
    return None


def procedure(found: HoldUp) -> list[str]:
    """The test, step by step, with its numbers."""
    steps = [
        "full load on resistors, boards out, scope earthed at its own plug; one probe on the rail, "
        "one on the signal; pull the plug, do not switch"
    ]
    for label, t in found.rails.items():
        held = f"{1e3 * t:.1f} ms" if t is not None else "longer than was followed"
        low = f" ({SHORTER * 1e3 * t:.1f} to {LONGER * 1e3 * t:.1f} ms)" if t else ""
        steps.append(f"{label} should stay within its limits for {held}{low} after power goes")
    for relay, t in found.relays.items():
        first = min((v for v in found.rails.values() if v is not None), default=None)
        if t is None:
            steps.append(f"{relay} was still on when the sum ended: it gives no warning")
        elif first is not None:
            ahead = first - t
            late = f", where {1e3 * WANTED:g} ms before is the least: it warns too late"
            enough = "" if ahead >= WANTED else late
            when = "before" if ahead > 0 else "after"
            steps.append(
                f"{relay} lets go {1e3 * t:.1f} ms after power goes, {1e3 * abs(ahead):.1f} ms "
                f"{when} the first rail leaves its limits{enough}"
            )
    for relay, at in found.pulls_in.items():
        if at is None:
            steps.append(f"{relay} does not operate up to full feed")
            continue
        bad = [label for label, good in at["within"].items() if not good]
        words = f"with {', '.join(bad)} not yet within limits" if bad else "with every rail good"
        steps.append(f"{relay} operates at {100 * at['share']:.0f} % of the feed, {words}")
    if not found.relays and not found.pulls_in:
        steps.append("no power-good relay is in this file; its timing is not told")
    return steps


def verdict(found: HoldUp, label: str, seconds: float) -> dict[str, Any]:
    """What a hold-up time read on one rail says."""
    expected, reasons = found.rails.get(label), []
    if expected is None:
        reasons.append(f"no hold-up of {label} was worked out to compare with")
    elif seconds < SHORTER * expected:
        reasons.append(
            f"{1e3 * seconds:.1f} ms, and {1e3 * expected:.1f} ms is due: a reservoir has lost "
            "capacitance, or more is drawn"
        )
    elif seconds > LONGER * expected:
        reasons.append(f"{1e3 * seconds:.1f} ms, longer than the file's reservoirs can give")
    return {"passed": not reasons, "seconds": seconds, "reasons": reasons}
