"""How a file falls into blocks to be drawn one by one, each with a name of its own.

A block that the file opened is one. What is left is parted by the circuit: what makes the energy
(`source`), then each rail with all that makes and carries it, from the reservoir to the load. A
part added to one rail leaves the others' blocks as they were.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Literal

from halfsplit.assembly.model import Assembly
from halfsplit.parts.base import Part
from halfsplit.problems import NotFoundError

# Steps from a net to the next through a part: what carries or steers current is near, a resistor
# that hangs on a rail is far, for it often serves the next one. Chosen on the demos.
NEAR, FAR = 1, 4
CARRIES_OHMS = 10.0  # a resistor up to this carries current; common practice, no published source
SOURCE, REST = "source", "rest"
NOWHERE = frozenset({"electrolytic", "tantalum", "load", "meter"})
Of = Literal["block", "source", "rail", "rest", "pattern"]


@dataclass(frozen=True)
class Section:
    """Parts drawn together.

    Attributes
    ----------
    of: what it is: a block the file opened, what feeds everything, a rail, what is left over, or
        a use of a pattern, whose parts stand in one of the others too.
    """

    name: str
    refs: tuple[str, ...]
    of: Of

    @property
    def title(self) -> str:
        """Its name as a heading."""
        words = {
            "block": f"block {self.name}",
            "rail": f"rail {self.name}",
            "pattern": f"pattern {self.name}",
            "source": "source: what feeds the rest",
            "rest": "the rest",
        }
        return words[self.of]


def sections(assembly: Assembly) -> list[Section]:
    """Every part once: blocks the file opened, the source, the rails in file order, the rest."""
    found: dict[tuple[Of, str], list[str]] = {}
    opened = {name: refs for name, refs in assembly.groups.items() if name not in _uses(assembly)}
    owner = {ref: name for name, refs in reversed(opened.items()) for ref in refs}
    for name in opened:
        found["block", name] = []
    found["source", SOURCE] = []
    for name in assembly.rails:
        found["rail", name] = []
    found["rest", REST] = []
    nets = _owners(assembly)
    for ref, part in assembly.parts.items():
        where: tuple[Of, str]
        where = ("block", owner[ref]) if ref in owner else _section(assembly, part, nets)
        found[where].append(ref)
    return [Section(name, tuple(refs), of) for (of, name), refs in found.items() if refs]


def section(assembly: Assembly, name: str) -> Section:
    """One block by its name, in whatever case: a section, or a use of a pattern.

    Raises NotFoundError with the names there are.
    """
    there = sections(assembly)
    there += [Section(n, assembly.groups[n], "pattern") for n in _uses(assembly)]
    exact = next((s for s in there if s.name == name), None)
    found = exact or next((s for s in there if s.name.lower() == name.lower()), None)
    if found is None:
        names = ", ".join(s.name for s in there)
        raise NotFoundError(f"there is no block {name} in {assembly.name}; there are {names}")
    return found


def _uses(assembly: Assembly) -> list[str]:
    """Uses of patterns: groups whose places in the file say so."""
    return [name for name in assembly.groups if f"patterns.{name}" in assembly.lines]


def _cost(part: Part) -> int:
    """Steps a part takes from net to net."""
    if part.KIND == "resistor":
        return NEAR if float(part.__dict__["value"]) <= CARRIES_OHMS else FAR
    return FAR if part.KIND in ("zener", "scr", "potentiometer", "diode") else NEAR


def _owners(assembly: Assembly) -> dict[str, tuple[Of, str]]:
    """Net -> what it belongs to: the source or the rail it is nearest."""
    source = [p for p in assembly.parts.values() if p.KIND in ("mains", "supply", "transformer")]
    table: dict[str, tuple[int, int]] = {}  # net -> (steps, which seed)
    seeds: list[tuple[Of, str]] = [("rail", name) for name in assembly.rails]
    seeds.append(("source", SOURCE))  # last: what is as near to a rail is the rail's
    for part in source:
        for net in part.terminals().values():
            table[net] = (0, len(assembly.rails))
    for k, rail in enumerate(assembly.rails.values()):
        table.setdefault(rail.net, (0, k))
    table.pop(assembly.common, None)
    paths: dict[str, list[tuple[int, set[str]]]] = {}
    for part in assembly.parts.values():
        if part in source or part.KIND in NOWHERE or "capacitor" in part.KIND:
            continue
        nets = set(part.terminals().values()) - {assembly.common}
        for net in nets:
            paths.setdefault(net, []).append((_cost(part), nets - {net}))
    queue = [(steps, which, net) for net, (steps, which) in table.items()]
    queue.sort()
    while queue:
        steps, which, net = heappop(queue)
        if (steps, which) > table[net]:
            continue
        for cost, far in paths.get(net, ()):
            for other in far:
                if (steps + cost, which) < table.get(other, (1 << 30, 0)):
                    table[other] = (steps + cost, which)
                    heappush(queue, (steps + cost, which, other))
    return {net: seeds[which] for net, (_, which) in table.items()}


def _section(
    assembly: Assembly, part: Part, owners: Mapping[str, tuple[Of, str]]
) -> tuple[Of, str]:
    """What a part belongs to: the owner of its nets, those that are no rail's first."""
    if part.KIND in ("mains", "supply", "transformer"):
        return ("source", SOURCE)
    nets = [n for n in dict.fromkeys(part.terminals().values()) if n in owners]
    rails = {r.net for r in assembly.rails.values()}
    inner = [n for n in nets if n not in rails] or nets
    return _most([owners[n] for n in inner]) if inner else ("rest", REST)


def _most(found: Iterable[tuple[Of, str]]) -> tuple[Of, str]:
    """The commonest; of equals, a rail before the source, then the first."""
    listed = list(found)
    return max(listed, key=lambda o: (listed.count(o), o[0] == "rail", -listed.index(o)))
