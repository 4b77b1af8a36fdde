"""Which parts of an assembly a picture shows: all, or those around a part or a net."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from halfsplit.assembly.model import Assembly
from halfsplit.pictures.symbols import Unit, units
from halfsplit.problems import NotFoundError

NO_SOURCE = frozenset({"electrolytic", "tantalum", "load", "meter"})  # nothing comes through these
MOST = 16  # parts of a neighbourhood, so that it still fits a tablet


@dataclass(frozen=True)
class Choice:
    """What is drawn.

    Attributes
    ----------
    units: pieces in file order.
    focus: parts, or the net, that it is about; empty for a whole assembly.
    left_out: nets with parts that found no room, and how many.
    """

    assembly: Assembly
    units: tuple[Unit, ...]
    focus: tuple[str, ...] = ()
    left_out: tuple[tuple[str, int], ...] = ()


def supplies(assembly: Assembly) -> set[str]:
    """Nets drawn as a symbol rather than a wire: rails, and what a feed is laid on."""
    fed = {n for f in assembly.feeds.values() for n in f.nets}
    return ({r.net for r in assembly.rails.values()} | fed) - {assembly.common}


def whole(assembly: Assembly, parts: Sequence[str] | None = None) -> Choice:
    """Every part, or those named. Raises NotFoundError for a name there is not."""
    refs = list(assembly.parts) if parts is None else list(parts)
    for ref in refs:
        if ref not in assembly.parts:
            raise NotFoundError(f"there is no part {ref} in {assembly.name}")
    chosen = set(refs)
    return Choice(assembly, _units(assembly, chosen))


def neighbourhood(assembly: Assembly, around: str, hops: int = 1, most: int = MOST) -> Choice:
    """A part, or everything on a net, with what is joined to it over so many nets.

    The common net leads nowhere, and a supply only where nothing else does, or where it was asked
    for. Raises NotFoundError.
    """
    ref = _part(assembly, around)
    net = None if ref else assembly.find_net(around)
    if ref is None and net is None:
        raise NotFoundError(f"there is no part, net, rail or point {around} in {assembly.name}")
    named = supplies(assembly)
    found: dict[str, None] = {}
    left: dict[str, int] = {}
    if ref:
        found[ref] = None
        edge = _nets(assembly, ref) - {assembly.common}
        edge = (edge - named) or edge
    else:
        edge = {str(net)}
    done: set[str] = {assembly.common} if net != assembly.common else set()
    for _ in range(max(hops, 1)):
        further: set[str] = set()
        for at in (n for n in [*assembly.nets(), assembly.common] if n in edge - done):
            done.add(at)
            for other in assembly.parts:
                if at not in _nets(assembly, other) or other in found:
                    continue
                if len(found) >= most:
                    left[at] = left.get(at, 0) + 1
                    continue
                found[other] = None
                further |= _nets(assembly, other) - named
        edge = further
    return Choice(assembly, _units(assembly, set(found)), (ref or str(net),), tuple(left.items()))


def _part(assembly: Assembly, name: str) -> str | None:
    if name in assembly.parts:
        return name
    if assembly.find_net(name) is not None:
        return None  # a net spelt so goes before a part spelt otherwise
    return next((r for r in assembly.parts if r.lower() == name.lower()), None)


def _nets(assembly: Assembly, ref: str) -> set[str]:
    return set(assembly.parts[ref].terminals().values())


def _units(assembly: Assembly, refs: set[str]) -> tuple[Unit, ...]:
    return tuple(u for ref, part in assembly.parts.items() if ref in refs for u in units(part))


def levels(assembly: Assembly) -> dict[str, int]:
    """How far each net lies from where energy comes in, for telling left from right: a step a part,
    several for a resistor above a kilohm."""
    sources = [
        n
        for p in assembly.parts.values()
        if p.KIND in ("mains", "supply")
        for n in p.terminals().values()
    ]
    fed = [n for f in assembly.feeds.values() for n in f.nets]
    table = dict.fromkeys(sources, 0) if sources else dict.fromkeys(fed, 0)
    table.pop(assembly.common, None)
    paths = []
    for part in assembly.parts.values():
        if part.KIND in NO_SOURCE or "capacitor" in part.KIND:
            continue
        cost = (
            6 if float(part.__dict__.get("value") or 0.0) > 1e3 and part.KIND == "resistor" else 1
        )
        for unit in units(part):
            through = unit.symbol.through
            names = through if through is not None else tuple(unit.nets)
            paths.append((cost, {unit.nets[t] for t in names} - {assembly.common}))
    queue = [(0, n) for n in table]
    while queue:
        at, net = heappop(queue)
        if at > table[net]:
            continue
        for cost, nets in paths:
            for far in sorted(nets - {net}) if net in nets else ():
                if at + cost < table.get(far, 1 << 30):
                    table[far] = at + cost
                    heappush(queue, (at + cost, far))
    return table
