"""How parts are strung: spines from source to load, and what hangs below them.

The common net and the supplies are symbols, never wires, so what is left falls apart into short
strips. Where a part finds no place on one, its net's name stands at the end of its wire.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from halfsplit.pictures.choice import Choice, levels, supplies
from halfsplit.pictures.symbols import Unit

LONGEST_SPINE, LONGEST_CHAIN = 5, 3  # parts
ENOUGH = 2.0  # worth from which parts make a spine
SEARCHED = 4000  # steps of the search for the best spine
# What carries a supply's current goes on the spine first. Below this a resistor is one of them.
PASSING = frozenset(
    {"fuse", "switch", "regulator", "inductor", "rectifier", "selenium", "triode", "pentode"}
    | {"lamp", "connector"}
)
SERIES_OHMS, SERIES_WATTS = 1000.0, 1.0  # a resistor that passes current is below, and above
POWER_WATTS = 5.0  # from which a transistor passes a rail's current; common practice
ASIDE = frozenset({"zener", "gas-tube", "supply", "mains", "load", "meter", "scr", "varistor"})


@dataclass
class Strip:
    """Nets in a row with a part between each two, perhaps begun by a block, and what hangs."""

    nets: list[str]
    units: list[Unit] = field(default_factory=list)
    head: Unit | None = None
    hung: dict[str, list[list[Unit]]] = field(default_factory=dict)  # net -> chains below it
    under: dict[tuple[str, str], list[Unit]] = field(default_factory=dict)  # unit, pin -> chain


@dataclass
class Plan:
    """All strips, and blocks that stand alone."""

    strips: list[Strip]
    blocks: list[Unit]


def plan(choice: Choice) -> Plan:
    """String every unit of a choice, each exactly once, in the order of the file."""
    return _Stringer(choice).run()


class _Stringer:
    def __init__(self, choice: Choice) -> None:
        self.assembly = choice.assembly
        self.common = choice.assembly.common
        self.focus = set(choice.focus)
        self.named = supplies(choice.assembly)
        self.level = levels(choice.assembly)
        self.order = {u.key: k for k, u in enumerate(choice.units)}
        self.left = {u.key: u for u in choice.units}
        self.nodes: set[str] = set()  # nets that stand on a strip

    def run(self) -> Plan:
        strips = []
        for unit in list(self.left.values()):
            if unit.symbol.out is not None:
                self._take(unit)
                net = unit.nets[unit.symbol.out]
                strips.append(self._strip(self._best(net) or ([net], []), unit))
        alone: list[Strip] = []
        while (found := self._best(None)) is not None:
            strip = self._strip(found, None)
            (strips if len(strip.units) > 1 else alone).append(strip)
        strips.sort(key=self._place)
        # A part by itself hangs where its net stands already, else it is a strip of its own.
        self.nodes = {n for strip in strips for n in strip.nets}
        for strip in alone:
            if set(strip.nets) & self.nodes or (self.focus & {*strip.nets}):
                self.left[strip.units[0].key] = strip.units[0]
            else:
                strips.append(strip)
                self.nodes |= {*strip.nets}
        self.left = {k: self.left[k] for k in self.order if k in self.left}
        for strip in strips:
            self._hang(strip)
        while (bus := self._bus()) is not None:
            strip = Strip([bus])
            self.nodes.add(bus)
            self._hang(strip)
            strips.append(strip)
        return Plan(strips, list(self.left.values()))

    def _place(self, strip: Strip) -> int:
        listed = [*strip.units, *([strip.head] if strip.head else [])]
        return min((self.order[u.key] for u in listed), default=0)

    def _take(self, unit: Unit) -> Unit:
        return self.left.pop(unit.key)

    def _strip(self, found: tuple[list[str], list[Unit]], head: Unit | None) -> Strip:
        nets, listed = found
        for unit in listed:
            self._take(unit)
        first, last = self.level.get(nets[0], 99), self.level.get(nets[-1], 99)
        if head is None and (
            first > last or (nets[-1] not in self.named and nets[0] in self._rails())
        ):
            nets, listed = nets[::-1], listed[::-1]
        return Strip(nets, listed, head)

    def _rails(self) -> set[str]:
        return {r.net for r in self.assembly.rails.values()}

    # -- spines -----------------------------------------------------------------------------------

    def _gain(self, unit: Unit) -> float:
        """How much a part belongs on a spine; less than nothing for what hangs beside one."""
        part = unit.part
        watts = float(part.__dict__.get("power") or 0.0)
        if unit.name or part.KIND in ASIDE or "capacitor" in part.KIND:
            return -2.0
        if part.ref in self.focus:
            return 2.0
        if part.KIND in PASSING:
            return 3.0
        if part.KIND in ("npn", "pnp"):
            return 3.0 if watts >= POWER_WATTS else 0.2
        if part.KIND == "resistor":
            ohms = float(part.__dict__["value"])
            return 2.5 if ohms <= SERIES_OHMS and watts >= SERIES_WATTS else -0.5
        return -2.0 if part.KIND in ("electrolytic", "tantalum") else 0.0

    def _best(self, start: str | None) -> tuple[list[str], list[Unit]] | None:
        """The path worth most as a spine, None when none carries a supply's current."""
        best: tuple[float, list[str], list[Unit]] = (ENOUGH if start is None else 0.5, [], [])
        ends: dict[str, list[Unit]] = {}
        for unit in self.left.values():
            if unit.symbol.through is None:
                continue
            a, b = (unit.nets[t] for t in unit.symbol.through)
            if self.common in (a, b) or a == b:
                continue
            ends.setdefault(a, []).append(unit)
            ends.setdefault(b, []).append(unit)
        steps = SEARCHED

        def walk(nets: list[str], listed: list[Unit], worth: float) -> None:
            nonlocal best, steps
            steps -= 1
            if listed:
                total = worth + (1.5 if nets[-1] in self.named else 0.0)
                total += 1.0 if nets[0] in self.named else 0.0
                if total > best[0] + 1e-9:
                    best = (total, list(nets), list(listed))
            stop = listed and nets[-1] in self.named
            if stop or len(listed) >= LONGEST_SPINE or steps < 0:
                return
            for unit in ends.get(nets[-1], []):
                far = unit.other(nets[-1])
                if far is None or far in nets:
                    continue
                walk([*nets, far], [*listed, unit], worth + self._gain(unit))

        for net in [start] if start is not None else list(ends):
            steps = SEARCHED // 10
            walk([net], [], 0.0)
        return (best[1], best[2]) if best[2] else None

    # -- what hangs -------------------------------------------------------------------------------

    def _hang(self, strip: Strip) -> None:
        for unit in strip.units:
            for pin in unit.symbol.pins:
                inner = pin.terminal in (unit.symbol.through or ())
                net = unit.nets[pin.terminal]
                if inner or pin.side != "D" or net in self.named or net == self.common:
                    continue
                first = next((u for u in self.left.values() if u.other(net) is not None), None)
                if first is not None and net not in self.nodes:
                    self.nodes.add(net)
                    strip.under[(unit.part.ref, pin.terminal)] = self._chain(net, first)
        for net in strip.nets:
            if net == self.common:
                continue
            chains = []
            for unit in list(self.left.values()):
                if unit.key in self.left and unit.other(net) is not None:
                    chains.append(self._chain(net, unit))
            strip.hung[net] = chains

    def _chain(self, net: str, first: Unit) -> list[Unit]:
        """Parts downwards from a net until common, a supply, or enough of them."""
        chain, seen = [self._take(first)], {net}
        at = first.other(net)
        while at and at != self.common and at not in self.named and len(chain) < LONGEST_CHAIN:
            if at in seen or at in self.nodes:
                break
            seen.add(at)
            here = [u for u in self.left.values() if u.other(at) is not None]
            here = [u for u in here if u.other(at) not in seen]
            if not here:
                break
            down = [u for u in here if u.other(at) == self.common]
            down = down or [u for u in here if u.other(at) in self.named] or here[:1]
            chain.append(self._take(down[0]))
            at = down[0].other(at)
        return chain

    def _bus(self) -> str | None:
        """The net most of what is left is joined to."""
        count: dict[str, int] = {}
        for unit in self.left.values():
            if unit.symbol.through is None:
                continue
            for t in unit.symbol.through:
                if unit.nets[t] != self.common:
                    count[unit.nets[t]] = count.get(unit.nets[t], 0) + 1
        return max(count, key=lambda n: count[n]) if count else None
