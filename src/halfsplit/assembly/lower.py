"""From an assembly to one netlist, and from a condition to the values that differ in it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from halfsplit.assembly.condition import Change, Condition, refit
from halfsplit.assembly.limiter import mains_changes
from halfsplit.assembly.model import Assembly
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Netlist, Overrides
from halfsplit.circuit.topology import Topology, compile_netlist
from halfsplit.parts.base import Part
from halfsplit.parts.block import BlockPart
from halfsplit.parts.valve import Valve, warmth

# Least conductance [S] by which a net follows a swinging one. Through more resistance a heater
# winding is only tied to its level (100 kohm to a rail), and leaks to a cathode.
FOLLOWS = 1e-4

# Kinds that can drive a choke on and off.
ACTIVE = frozenset({"comparator", "opamp", "regulator", "npn", "pnp", "scr"})


@dataclass(frozen=True)
class Machine:
    """An assembly with its one compiled topology.

    Every load and feed of the file is an element of its own, switched by values, so conditions and
    faults are rows over the same pattern.
    """

    assembly: Assembly

    @cached_property
    def topology(self) -> Topology:
        """Compiled once, on first use."""
        return compile_netlist(self.netlist)

    @cached_property
    def netlist(self) -> Netlist:
        """All parts, then one load and one feed element for each net that may have one."""
        net = Netlist(self.assembly.common)
        for part in self.assembly.parts.values():
            net.add(*self._grounded(part))
        for name in self.assembly.loadable():
            net.add(el.Resistor(f"load:{name}", (name, self.assembly.common), {"g": 1e-12}))
            net.add(el.Sink(f"drain:{name}", (name, self.assembly.common), {"amps": 0.0}))
        for name in sorted({n for f in self.assembly.feeds.values() for n in f.nets}):
            net.add(el.Source(f"feed:{name}", (name, self.assembly.common), {"g": 1e-12}))
        for name in self.rectified(net):
            net.add(el.Source(f"hold:{name}", (name, self.assembly.common), {"g": 1e-12}))
        return net

    def alternating_nets(self, net: Netlist | None = None) -> set[str]:
        """Nets that swing with the mains: joined to a winding or the mains by plain resistance."""
        return set(self._alternating) if net is None else self._swinging(net)

    @cached_property
    def _alternating(self) -> frozenset[str]:
        return frozenset(self._swinging(self.netlist))

    def _swinging(self, net: Netlist) -> set[str]:
        elements = list(net)
        swinging = {
            n
            for e in elements
            if isinstance(e, el.Winding) or (isinstance(e, el.Source) and e.values.get("ac"))
            for n in e.nets
        } - {self.assembly.common}
        grown = True
        while grown:
            grown = False
            for e in elements:
                if isinstance(e, el.Resistor) and not e.name.startswith(("load:", "hold:")):
                    part = self.assembly.parts.get(e.name)
                    switch = part is not None and part.KIND == "switch"
                    if e.values.get("g", el.OPEN) < FOLLOWS and not switch:
                        continue
                    ends = set(e.nets)
                    if ends & swinging and self.assembly.common not in ends and ends - swinging:
                        swinging |= ends
                        grown = True
        return swinging

    @cached_property
    def self_oscillating(self) -> bool:
        """Whether it may keep time by itself: a choke with something active around it.

        Such a circuit has no meaningful direct-current point and is followed from switch-on.
        """
        kinds = {part.KIND for part in self.assembly.parts.values()}
        return "inductor" in kinds and bool(kinds & ACTIVE)

    def mains_nets(self) -> set[str]:
        """Nets in metallic contact with the wall: never proposed for a probe if another serves."""
        return set(self._mains)

    @cached_property
    def _mains(self) -> frozenset[str]:
        found: set[str] = set()
        for part in self.assembly.parts.values():
            if part.KIND == "mains":
                found |= set(part.terminals().values())
        grown = True
        while grown:  # until a pass over all parts, in whatever order they stand, adds nothing
            grown = False
            for part in self.assembly.parts.values():
                ends = set(part.terminals().values()) - {self.assembly.common}
                if part.KIND != "transformer" and ends & found and not ends <= found:
                    found |= ends
                    grown = True
        for part in self.assembly.parts.values():
            if part.KIND == "transformer":
                first = next(iter(part.__dict__["windings"].values()))
                if {first.start, first.end} & found:
                    found |= {first.start, first.end} - {self.assembly.common}
        return frozenset(found)

    def rectified(self, net: Netlist | None = None) -> list[str]:
        """Nets behind rectifiers, whose mean is set by the mains cycle."""
        swinging = self.alternating_nets(net)
        found: dict[str, None] = {}
        for e in list(net or self.netlist):
            if isinstance(e, (el.Diode, el.Vacuum)) and set(e.nets) & swinging:
                found |= dict.fromkeys(set(e.nets) - swinging - {self.assembly.common})
        return sorted(found)

    def _grounded(self, part: Part) -> list[el.Element]:
        common = self.assembly.common
        return [
            replace(e, nets=tuple(common if n == el.COMMON else n for n in e.nets))
            for e in part.elements()
        ]

    def alternating(self, condition: Condition) -> float | None:
        """Mains frequency [Hz] when the condition is fed by alternating current, else None."""
        if not self.assembly.feeds[condition.feed].mains:
            return None
        for part in self.assembly.parts.values():
            if part.KIND == "mains":
                return float(part.__dict__["hertz"])
        return None

    def values(self, condition: Condition) -> Overrides:
        """Parameter changes of a condition, to be laid over those of a fault."""
        changes: Overrides = {}
        feed = self.assembly.feeds[condition.feed]
        for ref, part in self.assembly.parts.items():
            if part.KIND == "mains":
                changes |= mains_changes(self.assembly, condition, part)
            elif part.KIND == "supply" and not feed.supplies:
                changes |= {(ref, "dc"): 0.0, (ref, "g"): 1e-12}
            elif isinstance(part, BlockPart) and not feed.supplies:
                changes |= part.off()
        for net, source in feed.nets.items():
            name = f"feed:{net}"
            changes |= {(name, "dc"): source.volts, (name, "g"): 1.0 / source.ohms}
            changes[name, "limit"] = source.limit or 1e9
        loads = dict(self.assembly.loads[condition.load]) | dict(condition.extra)
        for net, load in loads.items():
            if load.ohms is not None:
                changes[f"load:{net}", "g"] = 1.0 / load.ohms
            else:
                changes[f"drain:{net}", "amps"] = load.amps or 0.0
        for ref, state in condition.switches:
            closed = 1.0 / self.assembly.parts[ref].__dict__.get("CONTACT", 0.02)
            changes[ref, "g"] = closed if state == "closed" else 1e-12
        if condition.warm is not None:
            for part in self.assembly.parts.values():
                if isinstance(part, Valve):
                    heat = warmth(condition.warm, part.warmup)
                    changes |= {(name, "heat"): heat for name in part.heated()}
        for change in condition.changes:
            changes |= self._change(self.assembly.parts[change.part], change)
        return changes

    def fitted(self, part: Part, condition: Condition) -> Part:
        """The part that stands in this place now: another one when it was replaced, or as set."""
        change = next((c for c in condition.changes if c.part == part.ref), None)
        if change is None or change.what not in ("fitted", "set"):
            return part
        return self._other(part, change)

    def _other(self, part: Part, change: Change) -> Part:
        """What was fitted, which starts from the drawing, or the part there as it was set."""
        there = change.what == "set"
        return refit(part if there else self.assembly.drawn.get(part.ref, part), change)

    def _change(self, part: Part, change: Change) -> Overrides:
        elements = part.elements()
        if change.what == "removed":
            return {k: v for e in elements for k, v in e.gone().items()}
        if change.what in ("fitted", "set"):
            return {
                (e.name, key): value
                for e in self._other(part, change).elements()
                for key, value in zip(e.PARAMS, e.vector(), strict=True)
            }
        if change.what == "bypassed":
            first = elements[0]
            return {(first.name, _shunt(first)): el.SHORT}
        lifted = part.lift(change.lead)
        if lifted is None:
            raise ValueError(f"{change} was let through though its effect is not modelled")
        return lifted


def _shunt(element: el.Element) -> str:
    """Parameter that puts a conductance across the element's first two terminals."""
    for name in ("g", "gce", "gak", "closed", "gin"):
        if name in element.PARAMS:
            return name
    raise ValueError(f"{element.name} has nothing to put a link across")
