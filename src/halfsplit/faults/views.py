"""The healthy circuit seen so that it solves quickly: which rows hold what a file claims of itself.

A supply that beats by itself is not followed, which takes seconds a row: its choke carries a steady
current and its output is held at either limit, where its switch must be on and off. What stands
before the nets of a bench feed is solved on the mains, alone, with a resistor for the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Assembly, load_value
from halfsplit.assembly.printed import Printed
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Netlist, Overrides
from halfsplit.faults.mains_view import EMPTY, mains_side, mains_view
from halfsplit.faults.slips import terminals_of
from halfsplit.faults.view import Row, View

PULL = 1000.0  # V behind the source that stands for a choke's current: steady within a few percent
ASKED = 0.04  # V of an ohmmeter that opens no junction; half of it stands at what is printed
SOFT = 2e3  # V/V
STIFF = 1e3  # S, of what holds a net
TOO_MUCH = 1.05  # times its rating a rail is still loaded within what it must hold


def with_probes(assembly: Assembly, netlist: Netlist) -> Netlist:
    """The netlist with every net the file names, though no part be on it."""
    there = {*netlist.nets(), netlist.common}
    for net in named_nets(assembly):
        if net not in there:
            netlist.add(el.Resistor(f"probe:{net}", (net, netlist.common), {"g": EMPTY}))
            there.add(net)
    for net in dict.fromkeys(n for p in assembly.printed.values() for n in (*p.volts, *p.ohms)):
        if net != netlist.common:
            netlist.add(el.Source(f"pin:{net}", (net, netlist.common), {"g": EMPTY}))
    return netlist


def pinned(row: Row, printed: Mapping[str, Printed], netlist: Netlist) -> Overrides:
    """A row with every net the drawing prints volts for held there, of this row or of any."""
    found = dict(row.overrides)
    if row.ohms is not None:
        return found
    listed = [e for _, e in row.printed] or [e for e in printed.values() if not e.into][:1]
    for entry in listed:
        for net, reading in entry.volts.items():
            if f"pin:{net}" in netlist.elements:
                found[f"pin:{net}", "dc"] = reading.value
                found[f"pin:{net}", "g"] = 1.0
    return found


def named_nets(assembly: Assembly) -> list[str]:
    """Nets that rails, points, feeds, loads and printed volts name."""
    found = [r.net for r in assembly.rails.values()] + [p.net for p in assembly.points.values()]
    found += [n for f in assembly.feeds.values() for n in f.nets]
    found += [n for load in assembly.loads.values() for n in load]
    found += [n for p in assembly.printed.values() for n in (*p.volts, *p.ohms, *p.ripple, *p.into)]
    return list(dict.fromkeys(found))


def bench_feed(assembly: Assembly) -> str | None:
    """The first feed that lays sources of full strength on nets, or supplies of its own."""
    for name, feed in assembly.feeds.items():
        if name != "off" and feed.nets and not any(s.limit for s in feed.nets.values()):
            return name
    if any(p.KIND == "supply" for p in assembly.parts.values()):
        return assembly.default_feed()
    return None


def bearable(assembly: Assembly, load: str) -> bool:
    """Whether no rail is loaded past its rating."""
    for rail in assembly.rails.values():
        value = assembly.loads[load].get(rail.net)
        if value is None or not rail.rated:
            continue
        most = max(abs(rail.limits.low), abs(rail.limits.high))
        amps = value.amps if value.amps is not None else most / (value.ohms or 1e9)
        if amps > TOO_MUCH * rail.rated:
            return False
    return True


def views(machine: Machine) -> list[View]:
    """Every view the file's claims can be held against."""
    assembly = machine.assembly
    feed = bench_feed(assembly)
    found: list[View] = []
    if feed is None:
        if not machine.self_oscillating:
            found.append(_whole_mains(machine))
        return found
    aside = mains_side(assembly, feed)
    # What only bridges the nets of the bench feed, such as a reservoir, counts on both sides.
    both = {*assembly.feeds[feed].nets, assembly.common}
    rest = {
        r: p
        for r, p in assembly.parts.items()
        if r not in aside or both.issuperset(terminals_of(p).values())
    }
    inner = Machine(replace(assembly, parts=rest))
    found.append((_static if machine.self_oscillating else _direct)(inner, feed))
    wall = mains_view(machine, assembly.feeds[feed], aside)
    return found if wall is None else [*found, wall]


def _sheets(assembly: Assembly, feed: str) -> dict[tuple[str, str], list[tuple[str, Printed]]]:
    """Printed volts that hold on a feed, by load and what is loaded besides."""
    found: dict[tuple[str, str], list[tuple[str, Printed]]] = {}
    for name, entry in assembly.printed.items():
        if (entry.volts or entry.ripple) and (entry.feed or assembly.default_feed()) == feed:
            key = (entry.load or assembly.default_load(), repr(sorted(entry.into.items())))
            found.setdefault(key, []).append((name, entry))
    return found


def _conditions(assembly: Assembly, feed: str) -> list[Row]:
    """One row for each load a rail must hold at, and each the drawing prints volts for."""
    sheets = _sheets(assembly, feed)
    rows = []
    borne = [load for load in assembly.loads if bearable(assembly, load)]
    # Printed volts say more of a row than limits, so where there are any the lightest and the
    # heaviest load stand for those without.
    some = {load for load, _ in sheets} & {*assembly.loads}
    chosen = {*some, *borne[:1], *borne[-1:]} if some else {*borne}
    for load in assembly.loads:
        listed = sheets.pop((load, "[]"), [])
        held = load in borne
        if load not in chosen:
            continue
        at = Condition(feed, load)
        rails = tuple(assembly.rails) if held else ()
        rows.append(Row(at.words(), {}, at, tuple(listed), rails, rated=held))
    for (load, _), listed in sheets.items():
        if load not in assembly.loads:
            continue
        extra = tuple(sorted((n, load_value(v)) for n, v in listed[0][1].into.items()))
        at = Condition(feed, load, extra=extra)
        rows.append(Row(at.words(), {}, at, tuple(listed)))
    return rows


def _direct(machine: Machine, feed: str) -> View:
    assembly = machine.assembly
    net = with_probes(assembly, machine.netlist)
    for entry in assembly.printed.values():
        for name in entry.into:
            if f"load:{name}" not in net.elements:
                net.add(el.Resistor(f"load:{name}", (name, net.common), {"g": EMPTY}))
                net.add(el.Sink(f"drain:{name}", (name, net.common), {"amps": 0.0}))
    rows = [replace(r, overrides=machine.values(r.condition)) for r in _conditions(assembly, feed)]
    if any(p.KIND == "scr" for p in assembly.parts.values()):
        for name, rail in assembly.rails.items():
            if rail.over_voltage is None:
                continue
            force = f"force:{rail.net}"
            if force not in net.elements:
                net.add(el.Source(force, (rail.net, net.common), {"g": EMPTY}))
            at = Condition(feed, assembly.default_load())
            for volts, fired in ((rail.over_voltage.low, False), (rail.over_voltage.high, True)):
                held = {(force, "dc"): volts, (force, "g"): 100.0}
                says = f"{name} held at {volts:g} V"
                rows.append(Row(says, {**machine.values(at), **held}, at, fired=fired))
    return View("direct", net, (*rows, *_dead(machine)))


def _dead(machine: Machine) -> list[Row]:
    """One row for each resistance printed: a meter that asks with a few millivolts."""
    assembly = machine.assembly
    at = Condition("off", warm=0.0)
    # Without supply an amplifier's inputs and output are junctions, which a few millivolts leave.
    active = [e for e in machine.netlist if isinstance(e, (el.Amplifier, el.Regulator))]
    asleep = {k: v for e in active for k, v in e.gone().items()}
    rows = []
    for name, entry in assembly.printed.items():
        for net, ohms in entry.ohms.items():
            asked = {(f"pin:{net}", "dc"): ASKED, (f"pin:{net}", "g"): 1.0 / ohms}
            said = (f"printed.{name}.ohms.{net}", net, ohms, entry.within)
            rows.append(
                Row("everything off", {**machine.values(at), **asleep, **asked}, at, ohms=said)
            )
    return rows


def _whole_mains(machine: Machine) -> View:
    assembly = machine.assembly
    feed = assembly.default_feed()
    rows = [replace(r, overrides=machine.values(r.condition)) for r in _conditions(assembly, feed)]
    hertz = machine.alternating(Condition(feed)) or 0.0
    kind: Literal["direct", "mains"] = "mains" if hertz else "direct"
    return View(kind, with_probes(assembly, machine.netlist), tuple(rows), hertz)


def switched_chokes(assembly: Assembly) -> dict[str, tuple[str, str]]:
    """Chokes with a rail on one side: reference -> (switched net, rail)."""
    by_net = {r.net: name for name, r in assembly.rails.items()}
    found = {}
    for ref, part in assembly.parts.items():
        if part.KIND == "inductor":
            a, b = (part.__dict__["a"], part.__dict__["b"])
            if (a in by_net) != (b in by_net):
                found[ref] = (a, by_net[b]) if b in by_net else (b, by_net[a])
    return found


def _static(machine: Machine, feed: str) -> View:
    assembly = machine.assembly
    chokes = switched_chokes(assembly)
    whole = machine.netlist
    net = Netlist(assembly.common)
    net.add(*whole)
    carried = {k: v for ref in chokes for k, v in whole.elements[ref].gone().items()}
    for ref, (switched, rail) in chokes.items():
        net.add(el.Source(f"choke:{ref}", (switched, net.common), {"g": EMPTY}))
        net.add(el.Source(f"held:{rail}", (assembly.rails[rail].net, net.common), {"g": EMPTY}))
    net = with_probes(assembly, net)
    rows = []
    # A comparator that decides within a few millivolts decides as well here, and solves.
    soft = {(e.name, "gain"): min(e.vector()[0], SOFT) for e in net if isinstance(e, el.Amplifier)}
    for row in _conditions(assembly, feed):
        if not row.rated:
            continue
        for on in (1, -1):
            changes = machine.values(row.condition) | soft | carried
            stands = {}
            for ref, (_, rail) in chokes.items():
                limits = assembly.rails[rail].limits
                sign = 1.0 if limits.high > 0 else -1.0
                most, least = (
                    max(limits.high, limits.low, key=abs),
                    min(limits.high, limits.low, key=abs),
                )
                level = least if on > 0 else most
                stands[ref] = abs(level)
                load = assembly.loads[row.condition.load].get(assembly.rails[rail].net)
                amps = 0.05
                if load is not None:
                    amps = load.amps if load.amps is not None else abs(level) / (load.ohms or 1e9)
                changes |= {
                    (f"choke:{ref}", "dc"): -sign * PULL,
                    (f"choke:{ref}", "g"): max(amps, 0.05) / PULL,
                    (f"held:{rail}", "dc"): level,
                    (f"held:{rail}", "g"): STIFF,
                }
            says = f"{row.says}, held at its {'low' if on > 0 else 'high'} limit"
            kept = dict.fromkeys(chokes, on)
            # On, the switch takes from the control supply what a capacitor lends it in a beat; so
            # what stands still is read with it off.
            still = row if on < 0 else replace(row, rails=(), printed=(), rated=False)
            fixed = {rail for _, rail in chokes.values()}
            rails = tuple(r for r in still.rails if r not in fixed)
            rows.append(
                replace(
                    still,
                    overrides=changes,
                    switch=kept,
                    held=stands,
                    says=says,
                    rails=rails,
                )
            )
    return View("static", net, (*rows, *_barred(machine, rows, chokes), *_dead(machine)))


def _barred(machine: Machine, rows: list[Row], chokes: dict[str, tuple[str, str]]) -> list[Row]:
    """Two rows for each rail with a crowbar: held where it must not have fired, and must have."""
    assembly = machine.assembly
    found = []
    if not rows or not any(p.KIND == "scr" for p in assembly.parts.values()):
        return []
    for rail in {rail for _, rail in chokes.values()}:
        over = assembly.rails[rail].over_voltage
        for volts, fired in () if over is None else ((over.low, False), (over.high, True)):
            held = {(f"held:{rail}", "dc"): volts, (f"held:{rail}", "g"): 100.0}
            at = rows[1].condition
            says = f"{rail} held at {volts:g} V"
            found.append(Row(says, {**rows[1].overrides, **held}, at, fired=fired))
    return found
