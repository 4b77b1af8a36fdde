"""What stands between the wall and the nets of a bench feed, solved on the mains by itself.

A resistor on each of those nets stands for the rest of the machine, and takes what it takes at the
heaviest load the machine bears.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Assembly, Feed
from halfsplit.assembly.printed import Printed
from halfsplit.circuit import elements as el
from halfsplit.faults.slips import movable, terminals_of
from halfsplit.faults.view import Row, View
from halfsplit.parts.base import Part

EMPTY = 1e-12  # S, of what holds a place only

# Kinds a mains side is made of, and by which it is followed from the wall.
CARRYING = frozenset(
    {
        "mains",
        "switch",
        "fuse",
        "transformer",
        "wire",
        "trace",
        "connector",
        "lamp",
        "inductor",
        "diode",
        "rectifier",
        "bridge",
        "tube-rectifier",
        "selenium",
    }
)


def mains_side(assembly: Assembly, feed: str) -> dict[str, Part]:
    """Parts between the wall and the nets a bench feed lays its sources on, reservoirs included."""
    inlet = next((p for p in assembly.parts.values() if p.KIND == "mains"), None)
    if inlet is None:
        return {}
    fed = assembly.feeds[feed].nets
    stop = {*fed, assembly.common, *(r.net for r in assembly.rails.values())}
    ends = {r: {terminals_of(p)[t] for t in movable(p)} for r, p in assembly.parts.items()}
    found = set(terminals_of(inlet).values()) - {assembly.common}
    queue = list(found)
    while queue:
        net = queue.pop()
        if net in stop:
            continue
        for ref, part in assembly.parts.items():
            if part.KIND not in CARRYING or net not in ends[ref]:
                continue
            new = ends[ref] - found - {assembly.common}
            found |= new
            queue += new
    found |= _blind(assembly, {*fed}, stop | found, ends)
    inside = {*(found - (stop - {*fed})), *fed, assembly.common}
    return {
        r: p
        for r, p in assembly.parts.items()
        if ends[r] <= inside and (ends[r] & (found - stop) or ends[r] & {*fed})
    }


def _blind(
    assembly: Assembly, fed: set[str], known: set[str], ends: Mapping[str, set[str]]
) -> set[str]:
    """Nets that hang on those of the bench feed and lead on nowhere: of a choke and its reservoir,
    where one lead too far along the line was typed."""
    found = set()
    for ref, part in assembly.parts.items():
        for net in ends[ref] - known if part.KIND in CARRYING and ends[ref] & fed else ():
            beside = [r for r in assembly.parts if net in ends[r] and r != ref]
            if all(assembly.parts[r].KIND.endswith(("capacitor", "lytic")) for r in beside):
                found.add(net)
    return found


def mains_view(machine: Machine, feed: Feed, parts: Mapping[str, Part]) -> View | None:
    """The mains side alone."""
    assembly = machine.assembly
    inlet = next((p for p in parts.values() if p.KIND == "mains"), None)
    named = next((n for n, f in assembly.feeds.items() if f.mains), None)
    if inlet is None or named is None:
        return None
    alone = replace(
        assembly,
        parts=dict(parts),
        rails={},
        loads={"none": {}},
        feeds={named: assembly.feeds[named]},
    )
    small = Machine(alone)
    net = small.netlist
    at = Condition(named)
    there = {*net.nets()}
    expected = {}
    for name, source in feed.nets.items():
        if name not in there:
            net.add(el.Resistor(f"probe:{name}", (name, net.common), {"g": EMPTY}))
        net.add(el.Resistor(f"rest:{name}", (name, net.common), {"g": EMPTY}))
        expected[name] = (source.volts, 0.0)
    row = Row(at.words(), small.values(at), at, expected=expected)
    return View("mains", net, (row,), float(inlet.__dict__["hertz"]))


def loaded(
    view: View,
    amps: Mapping[str, float],
    feed: Feed,
    within: float,
    at: Condition | None = None,
    printed: Mapping[str, Printed] | None = None,
) -> View:
    """The mains view with the currents [A] the rest of the machine takes in a condition `at`, what
    its reservoirs should then stand at, and what the drawing prints there."""
    row = view.rows[0]
    changes, expected = dict(row.overrides), {}
    for net, source in feed.nets.items():
        drawn = amps.get(net, 0.0)
        level = source.volts - source.ohms * drawn
        changes[f"rest:{net}", "g"] = max(abs(drawn / level), 1e-9) if level else EMPTY
        expected[net] = (level, within)
    row = replace(row, overrides=changes, expected=expected)
    if at is not None:
        at = replace(at, feed=row.condition.feed)
        listed = tuple((printed or {}).items())
        row = replace(row, condition=at, says=at.words(), printed=listed)
    return replace(view, rows=(row,))
