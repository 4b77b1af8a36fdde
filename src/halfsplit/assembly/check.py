"""Electrical sense of an assembly, as far as it shows without solving anything."""

from __future__ import annotations

from collections import defaultdict
from typing import Protocol

from halfsplit.assembly.advice import near
from halfsplit.assembly.model import Assembly
from halfsplit.assembly.printed import check_numbering, check_printed


class Notes(Protocol):
    """Where problems go, and how much of the file could be read at all.

    Attributes
    ----------
    blind: some nets are unknown, so nothing can be said of the circuit.
    whole: every entry was readable.
    maybe: nets named in entries that were not.
    """

    blind: bool
    whole: bool
    maybe: set[str]

    def add(self, where: str, wrong: str, instead: str = "", *, doubt: bool = False) -> None:
        """Record one problem."""


# Names the common net usually goes by.
_COMMONS = ("com", "gnd", "0v", "0", "ground", "chassis", "earth", "common")


def electrical(assembly: Assembly, reader: Notes) -> None:
    """Run every check, recording problems on `reader`.

    While some part entries cannot be used the circuit has holes of its own making, so checks of the
    circuit as a whole wait until those are put right.
    """
    mistaken(assembly, reader)
    unfinished(assembly, reader)


def mistaken(assembly: Assembly, reader: Notes) -> None:
    """What is wrong whatever else will be typed yet."""
    for check in (_lookalike_nets, _sources, _one_net):
        check(assembly, reader)


def unfinished(assembly: Assembly, reader: Notes) -> None:
    """What further entries may put right: ends that lead nowhere, names nothing bears."""
    if not reader.blind:
        _known_nets(assembly, reader)
        _known_leans(assembly, reader)
        nets = [*assembly.nets(), assembly.common]
        check_printed(assembly.printed, nets, assembly.feeds, assembly.loads, reader)
        _lonely_nets(assembly, reader)
    if reader.whole:
        check_numbering(assembly.numbering, assembly.parts, reader)
        _known_layout(assembly, reader)
        _common_used(assembly, reader)
        _rails_reached(assembly, reader)


def _known_leans(assembly: Assembly, reader: Notes) -> None:
    known = [*assembly.rails, *assembly.points, *assembly.nets()]
    for name, lean in assembly.leans.items():
        for field, said in (("of", lean.of), ("on", lean.on)):
            if assembly.find_net(said) is None and said not in reader.maybe:
                wrong = f"there is no rail, point or net `{said}`"
                reader.add(f"leans.{name}.{field}", wrong, near(said, known))
        if assembly.find_net(lean.of) == assembly.find_net(lean.on) is not None:
            reader.add(f"leans.{name}", f"`{lean.of}` cannot lean on itself", "another `on`")


def _known_layout(assembly: Assembly, reader: Notes) -> None:
    for ref, listed in assembly.layout.items():
        for other in (ref, *listed):
            if other not in assembly.parts:
                wrong = f"there is no part `{other}`"
                instead = near(other, assembly.parts) or "a reference that stands under `parts`"
                # It only says what else to look at, so the machine may be worked on without it.
                reader.add(f"layout.{ref}", wrong, instead, doubt=True)
        if ref in listed:
            reader.add(f"layout.{ref}", f"{ref} cannot sit beside itself", "another part")


def _known_nets(assembly: Assembly, reader: Notes) -> None:
    known = {*assembly.nets(), assembly.common}
    named = [(f"rails.{k}.net", r.net) for k, r in assembly.rails.items()]
    named += [(f"points.{k}.net", p.net) for k, p in assembly.points.items()]
    named += [(f"loads.{k}.{n}", n) for k, nets in assembly.loads.items() for n in nets]
    named += [(f"feeds.{k}.nets.{n}", n) for k, f in assembly.feeds.items() for n in f.nets]
    for where, net in named:
        if net not in known and net not in reader.maybe:
            reader.add(where, f"no part is on a net `{net}`", near(net, sorted(known)))
        elif net == assembly.common and where.startswith("loads."):
            wrong = f"a load is laid from a net to common, and `{net}` is common"
            reader.add(where, wrong, "the net of a rail")


def _common_used(assembly: Assembly, reader: Notes) -> None:
    ends = [n for p in assembly.parts.values() for n in p.terminals().values()]
    if ends and assembly.common not in ends:
        busiest = max(dict.fromkeys(ends), key=ends.count)
        usual = [n for n in dict.fromkeys(ends) if n.lower() in _COMMONS]
        net = near(assembly.common, ends) or (usual or [busiest])[0]
        reader.add("common", f"no part is on the common net `{assembly.common}`", f"common: {net}")


def _lonely_nets(assembly: Assembly, reader: Notes) -> None:
    ends: dict[str, list[str]] = defaultdict(list)
    for ref, part in assembly.parts.items():
        for terminal, net in part.terminals().items():
            ends[net].append(f"parts.{ref}.{terminal}")
    used = {n for nets in assembly.loads.values() for n in nets}
    used |= {n for f in assembly.feeds.values() for n in f.nets}
    used |= {r.net for r in assembly.rails.values()} | {p.net for p in assembly.points.values()}
    for net, where in ends.items():
        if len(where) == 1 and net not in used | reader.maybe and net != assembly.common:
            close = near(net, [n for n in [*ends, *sorted(reader.maybe)] if n != net])
            entry = "an entry for the other part on it"
            advice = f"{close}, or {entry}" if close else entry
            reader.add(where[0], f"net `{net}` has only this one terminal", advice)


def _lookalike_nets(assembly: Assembly, reader: Notes) -> None:
    folded: dict[str, str] = {}
    for net in [assembly.common, *assembly.nets()]:
        other = folded.setdefault(net.lower(), net)
        if other != net:
            reader.add(
                "parts", f"nets `{other}` and `{net}` differ only in case", other, doubt=True
            )


def _sources(assembly: Assembly, reader: Notes) -> None:
    across: dict[tuple[str, str], str] = {}
    for ref, part in assembly.parts.items():
        if part.KIND not in ("mains", "supply"):
            continue
        first, second = part.terminals().values()
        if first == second:
            reader.add(
                f"parts.{ref}", f"{ref} is shorted: both ends are on net `{first}`", "two nets"
            )
            continue
        pair = (min(first, second), max(first, second))
        if pair in across:
            reader.add(
                f"parts.{ref}",
                f"{across[pair]} and {ref} are two sources on the same two nets, "
                f"{first} and {second}",
                "the resistor, fuse or diode between them",
            )
        across[pair] = ref


def _rails_reached(assembly: Assembly, reader: Notes) -> None:
    neighbours: dict[str, set[str]] = defaultdict(set)
    start: set[str] = set()
    for part in assembly.parts.values():
        nets = set(part.terminals().values())
        if part.KIND in ("mains", "supply", "block"):
            start |= nets
        for net in nets:
            neighbours[net] |= nets
    for feed in assembly.feeds.values():
        start |= set(feed.nets)
    if assembly.parts and not start:
        reader.add(
            "parts",
            "nothing powers this circuit",
            "J1: {kind: mains, volts: 230V, live: l, neutral: n}, or an entry of kind supply",
        )
        return
    # Current must arrive through parts, not by way of common, which touches everything.
    reached, queue = set(start), list(start - {assembly.common})
    while queue:
        for net in neighbours[queue.pop()]:
            if net not in reached and net != assembly.common:
                reached.add(net)
                queue.append(net)
    for name, rail in assembly.rails.items():
        if rail.net not in reached and rail.net in neighbours:
            reader.add(
                f"rails.{name}.net",
                f"no path from any source to net `{rail.net}`",
                "an entry for the part that joins it to a source",
            )


def _one_net(assembly: Assembly, reader: Notes) -> None:
    for ref, part in assembly.parts.items():
        nets = list(part.terminals().values())
        if part.KIND not in ("mains", "supply") and len(nets) > 1 and len(set(nets)) == 1:
            reader.add(
                f"parts.{ref}",
                f"every terminal of {ref} is on net `{nets[0]}`",
                "two different nets",
            )
