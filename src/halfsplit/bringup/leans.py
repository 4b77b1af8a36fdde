"""What leans on what: which rails and signals are right only while another one is.

Found by experiment on the solved circuit: every other node held where it belongs by a stiff source,
one is moved a little, then taken away, and the rails and signals that follow lean on it directly.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.declared import declared
from halfsplit.bringup.links import link_words, linking
from halfsplit.circuit import elements as el
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.follow import follow
from halfsplit.circuit.netlist import Netlist, Overrides
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status
from halfsplit.circuit.threads import Progress
from halfsplit.circuit.topology import Topology, compile_netlist
from halfsplit.faults.kept_under import table_folder
from halfsplit.faults.mains_beat import keeps_time, solve_beating
from halfsplit.faults.store import load_arrays, store_arrays
from halfsplit.parts.base import Part, gone
from halfsplit.parts.block import makers

Floats = npt.NDArray[np.float64]

STIFF = 1e3  # S of the sources that hold a node, a milliohm
SMALL = 0.05  # share by which a node is moved
# Share of its own volts by which something must follow a node that is moved by `SMALL`, or taken
# away, to lean on it; and volts below which nothing counts. Common practice, no published source.
FORMAT = 1  # of what is kept on disk
FOLLOWS, MOVED, LEAST = 0.01, 0.04, 0.05
SIZE = 0.5  # V, what a node that stands near nought is compared with


@dataclass(frozen=True)
class Edge:
    """`of` leans on `on`, both labels as people know them.

    Attributes
    ----------
    coupling: how many times its own share `of` moves when `on` is moved by a small share.
    without: what `of` reads [V] with `on` at nought and all else right, at the load `at`.
    how: what carries it, such as "tail current by R18".
    source: "circuit", "block" where the file says so of a block, or the file's own reason.
    """

    of: str
    on: str
    coupling: float
    without: float
    at: str
    how: str
    source: str = "circuit"


@dataclass(frozen=True)
class LeansMap:
    """Nodes by label with their nets and the volts they should have; edges among them.

    Attributes
    ----------
    kinds: label -> "rail", "raw", "reference" or "signal".
    struck: edges the file removes, each with its reason.
    unsolved: experiments that could not be solved, in words; edges may be missing there.
    """

    nets: dict[str, str]
    kinds: dict[str, str]
    edges: tuple[Edge, ...]
    struck: tuple[Edge, ...]
    unsolved: tuple[str, ...]

    def on(self, label: str) -> list[str]:
        """What a node leans on directly."""
        return [e.on for e in self.edges if e.of == label]

    def all_under(self, label: str) -> list[str]:
        """Everything it leans on, directly or through others, nearest first; loops visited once."""
        found: dict[str, None] = {}
        queue = self.on(label)
        while queue:
            node = queue.pop(0)
            if node not in found and node != label:
                found[node] = None
                queue += self.on(node)
        return list(found)

    def order(self) -> list[str]:
        """Nodes so that each comes after what it leans on; those of a loop in file order."""
        done: list[str] = []
        left = list(self.nets)
        while left:
            free = [n for n in left if not set(self.on(n)) & set(left) - {n}]
            chosen = free or left[:1]
            done += chosen
            left = [n for n in left if n not in chosen]
        return done

    def tree(self, label: str) -> list[str]:
        """The node and what it leans on as indented lines; a branch is written out only once."""
        written: set[str] = {label}
        lines = [label]

        def grow(node: str, depth: int) -> None:
            for edge in (e for e in self.edges if e.of == node):
                again = edge.on in written
                tail = " (see above)" if again and self.on(edge.on) else ""
                lines.append("  " * depth + f"{edge.on}: {edge.how}{tail}")
                if not again:
                    written.add(edge.on)
                    grow(edge.on, depth + 1)

        grow(label, 1)
        return lines

    def as_dict(self) -> dict[str, Any]:
        """Nodes and edges as plain data, good for drawing."""
        return {
            "nodes": [{"label": k, "net": n, "kind": self.kinds[k]} for k, n in self.nets.items()],
            "edges": [asdict(e) for e in self.edges],
            "struck": [asdict(e) for e in self.struck],
            "order": self.order(),
            "unsolved": list(self.unsolved),
        }


def nodes(machine: Machine) -> tuple[dict[str, str], dict[str, str]]:
    """Labels of what the map is about with their nets, and their kinds: raw rails, references
    (zeners and gas tubes standing on common), rails, and points that are none of these."""
    assembly = machine.assembly
    nets: dict[str, str] = {}
    kinds: dict[str, str] = {}
    taken: set[str] = {assembly.common}

    def add(label: str, net: str, kind: str) -> None:
        if net not in taken:
            taken.add(net)
            nets[label], kinds[label] = net, kind

    rails = {r.net: k for k, r in assembly.rails.items()}
    raws = dict.fromkeys(
        [*machine.rectified(), *(n for f in assembly.feeds.values() for n in f.nets)]
    )
    for net in raws:
        add(rails.get(net, net), net, "raw")
    for ref, part in assembly.parts.items():
        if part.KIND not in ("zener", "gas-tube"):
            continue
        a, k = (part.terminals()[t] for t in ("a", "k"))
        for net, other in ((a, k), (k, a)):
            if other == assembly.common and net not in rails:
                add(f"{net} ({ref})", net, "reference")
    for label, rail in assembly.rails.items():
        add(label, rail.net, "rail")
    for label, point in assembly.points.items():
        add(label, point.net, "signal")
    return nets, kinds


def leans(machine: Machine, feed: str | None = None, progress: Progress | None = None) -> LeansMap:
    """The map of a machine, by experiment, with the file's own corrections laid over it.

    `feed` is what powers it, by default one that lies on nets, else the first. The experiments are
    kept on disk. `progress` gets rows solved and rows in all of each batch, and may raise to stop.
    """
    nets, kinds = nodes(machine)
    first = Condition(feed or machine.assembly.default_feed())
    more = repr((FORMAT, feed, nets, kinds, machine.assembly.loads))
    path = table_folder(machine, first, [], "leans " + more) / "leans.npz"
    kept = load_arrays(path)
    if kept is None or "map" not in kept:
        named, unsolved = _found(machine, feed, nets, kinds, progress)
        text = json.dumps([[asdict(e) for e in named], unsolved])
        kept = {"map": np.array(text)}
        store_arrays(path, kept)
    listed, unsolved = json.loads(str(kept["map"]))
    return _corrected(machine, nets, kinds, [Edge(**e) for e in listed], unsolved)


def _found(
    machine: Machine,
    feed: str | None,
    nets: dict[str, str],
    kinds: dict[str, str],
    progress: Progress | None,
) -> tuple[list[Edge], list[str]]:
    """Edges the circuit shows, and experiments that were not solved."""
    bench = _Bench(machine, feed, nets, kinds, progress)
    labels = list(nets)
    sources = [k for k in labels if kinds[k] != "signal"]
    edges: dict[tuple[str, str], Edge] = {}
    unsolved: list[str] = []
    for load in bench.loads():
        found, failed = _experiments(bench, load, labels, sources)
        unsolved += failed
        for edge in found:
            key = (edge.of, edge.on)
            before = edges.get(key)
            if before is None or edge.coupling > before.coupling:
                edges[key] = edge
    named = []
    for e in edges.values():
        parts = linking(machine, kinds, nets, e.of, e.on)
        if kinds[e.on] != "raw":
            parts = bench.carrying(e, parts, sources)
        how = link_words(machine, kinds, nets, e.on, parts)
        named.append(Edge(e.of, e.on, e.coupling, e.without, e.at, how))
    said = [Edge(*e[:4], "none", e[4], "block") for e in declared(machine, nets, bench.without)]
    return [*named, *said], unsolved


def _experiments(
    bench: _Bench, load: str, labels: Sequence[str], sources: Sequence[str]
) -> tuple[list[Edge], list[str]]:
    """Edges at one load. Three rows a pair: moved, taken away with all else held where it belongs,
    and taken away with all else free, which an edge found by the second must bear out."""
    usual = bench.usual(load)
    if usual is None:
        return [], [f"healthy at load {load}"]
    rows: list[Overrides] = []
    pairs: list[tuple[str, str]] = []
    told = makers(bench.machine.assembly.parts.values())
    for of in labels:
        if bench.kinds[of] == "raw" or bench.nets[of] in told:
            continue  # what feeds it is outside the machine, or the file says what it needs
        held = {n: usual[n] for n in sources if n != of and abs(usual[n]) > LEAST}
        rows.append(bench.hold(held))
        pairs.append((of, ""))
        for on in held:
            moved = held | {on: held[on] * (1.0 - SMALL)}
            gone = held | {on: 0.0}
            rows += [bench.hold(moved), bench.hold(gone), bench.hold({on: 0.0})]
            pairs += [(of, on)] * 3
    mean, status = bench.solve(load, rows)
    found, failed = [], []
    at, first = 0, 0
    while at < len(pairs):
        of, on = pairs[at]
        if not on:
            first, at = at, at + 1
            continue
        column = bench.column(of)
        three = (at, at + 1, at + 2)
        at += 3
        if any(status[r] == Status.UNSOLVED for r in (first, *three)):
            failed.append(f"{of} without {on} at load {load}")
            continue
        level = float(mean[first, column])
        size = max(abs(level), SIZE)
        shifted, without, free = (float(mean[r, column]) for r in three)
        away = min(abs(without - level), abs(free - usual[of]))
        share = abs(shifted - level) / size
        if share >= FOLLOWS or (away >= MOVED * size and away >= LEAST):
            found.append(Edge(of, on, share / SMALL, without, load, ""))
    return found, failed


class _Bench:
    """The machine with a source of its own on every node, off until told."""

    def __init__(
        self,
        machine: Machine,
        feed: str | None,
        nets: dict[str, str],
        kinds: dict[str, str],
        progress: Progress | None = None,
    ) -> None:
        self.machine, self.nets, self.kinds, self.progress = machine, nets, kinds, progress
        common = machine.assembly.common
        net = Netlist(common)
        net.add(*machine.netlist)
        for label, at in nets.items():
            net.add(el.Source(f"lean:{label}", (at, common), {"g": 1e-12}))
        self.topology: Topology = compile_netlist(net)
        feeds = machine.assembly.feeds
        laid = next((n for n, f in feeds.items() if f.nets and not _limited(f)), None)
        self.feed = feed or laid or machine.assembly.default_feed()

    def loads(self) -> list[str]:
        """Loads to experiment at: none and the file's first, middle and last; where each row is
        followed from switch-on only a middle one."""
        named = [n for n in self.machine.assembly.loads if n != "none"]
        if self.machine.self_oscillating:
            return named[len(named) // 2 : len(named) // 2 + 1] or ["none"]
        some = [*named[:1], *named[len(named) // 2 : len(named) // 2 + 1], *named[-1:]]
        return list(dict.fromkeys(["none", *some]))

    def column(self, label: str) -> int:
        return self.topology.net_index[self.nets[label]]

    def usual(self, load: str) -> dict[str, float] | None:
        """Volts of every node in the healthy machine, None when not solved."""
        mean, status = self.solve(load, [{}])
        if status[0] == Status.UNSOLVED:
            return None
        return {label: float(mean[0, self.column(label)]) for label in self.nets}

    def without(self, of: str, on: str) -> float:
        """What one node reads [V] with another held at nought; NaN when not solved."""
        mean, status = self.solve("none", [self.hold({on: 0.0})])
        return float(mean[0, self.column(of)]) if status[0] != Status.UNSOLVED else float("nan")

    def hold(self, levels: dict[str, float]) -> Overrides:
        """Changes that hold nodes at volts."""
        found: Overrides = {}
        for label, level in levels.items():
            found |= {(f"lean:{label}", "dc"): level, (f"lean:{label}", "g"): STIFF}
        return found

    def carrying(self, edge: Edge, parts: Sequence[Part], sources: Sequence[str]) -> list[Part]:
        """Of some parts those whose removal moves what leans, all else held; all where following
        each from switch-on would take too long, or none does."""
        if self.machine.self_oscillating or len(parts) < 2:
            return list(parts)
        usual = self.usual(edge.at) or {}
        held = {n: usual[n] for n in sources if n != edge.of and abs(usual[n]) > LEAST}
        rows = [self.hold(held)]
        rows += [{**rows[0], **gone(p.elements())} for p in parts]
        mean, status = self.solve(edge.at, rows)
        level = mean[:, self.column(edge.of)]
        least = max(FOLLOWS * max(abs(float(level[0])), SIZE), LEAST)
        kept = [
            p
            for k, p in enumerate(parts, start=1)
            if status[k] != Status.UNSOLVED and abs(float(level[k] - level[0])) >= least
        ]
        return kept or list(parts)

    def solve(self, load: str, rows: Sequence[Overrides]) -> tuple[Floats, npt.NDArray[np.int8]]:
        """Mean volts (B, N) and status of rows at a load; the same row twice is solved once."""
        condition = Condition(self.feed, load)
        state = self.machine.values(condition)
        keys = [tuple(sorted(r.items())) for r in rows]
        once = {key: at for at, key in enumerate(dict.fromkeys(keys))}
        place = [once[key] for key in keys]
        laid = self.topology.rows([{**state, **dict(key)} for key in once])
        hertz = self.machine.alternating(condition)
        if hertz and keeps_time(self.machine, condition):
            both = solve_beating(self.machine, condition, laid, hertz, self.progress)
            solved = both.solved
        elif hertz:
            solved = mains_cycle(self.topology, laid, hertz, progress=self.progress)
        elif self.machine.self_oscillating:
            solved, _ = follow(self.topology, laid, progress=self.progress)
        else:
            solved = operating_point(self.topology, laid)
        return solved.mean[place], solved.status[place]


def _limited(feed: Any) -> bool:
    return any(source.limit is not None for source in feed.nets.values())


def _corrected(
    machine: Machine,
    nets: dict[str, str],
    kinds: dict[str, str],
    edges: Sequence[Edge],
    unsolved: Sequence[str],
) -> LeansMap:
    """The map with the file's own lines added and struck."""
    by_net = {n: k for k, n in nets.items()}

    def label(said: str) -> str:
        net = machine.assembly.find_net(said) or said
        if net not in by_net:
            by_net[net] = said
            nets[said], kinds[said] = net, "signal"
        return by_net[net]

    kept = {(e.of, e.on): e for e in edges}
    struck: list[Edge] = []
    for lean in machine.assembly.leans.values():
        key = (label(lean.of), label(lean.on))
        if lean.edge == "remove":
            gone = kept.pop(key, None)
            if gone is not None:
                struck.append(Edge(*key, gone.coupling, gone.without, gone.at, gone.how, lean.why))
        elif key not in kept:
            kept[key] = Edge(*key, 0.0, float("nan"), "", lean.why, lean.why)
    return LeansMap(dict(nets), dict(kinds), tuple(kept.values()), tuple(struck), tuple(unsolved))
