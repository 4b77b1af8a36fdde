"""The leans-on map as a graph: what holds up stands left of what leans on it.

Proved and unproved differ by line and words, kinds by shape, so that no colour is needed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from halfsplit import svg
from halfsplit.pictures.circuit import FONT, STANDALONE
from halfsplit.pictures.sheet import LINE, SIZE, cut, wide

PORT, LEAST, ACROSS, DOWN, MARGIN = 18.0, 46.0, 84.0, 22.0, 16.0
SWEEPS = 6  # of ordering each column by where its neighbours stand
SAID = {"raw": "raw", "reference": "reference", "rail": "rail", "signal": "point"}


@dataclass
class Node:
    """A box of the map, or (`label` empty) the place where a long edge passes a column."""

    label: str
    column: int
    kind: str = ""
    lines: tuple[str, ...] = ()
    proved: bool | None = None
    why: str = ""
    into: list[Node] = field(default_factory=list)  # what it leans on, one column left
    x: float = 0.0
    y: float = 0.0
    wide: float = 0.0
    high: float = 14.0

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Room it takes."""
        return self.x, self.y, self.x + self.wide, self.y + self.high


@dataclass(frozen=True)
class Run:
    """One edge as laid out: its number, and the nodes it passes from left to right."""

    number: int
    edge: Mapping[str, Any]
    path: tuple[Node, ...]


@dataclass(frozen=True)
class Map:
    """Everything placed."""

    nodes: tuple[Node, ...]
    runs: tuple[Run, ...]


def lay_out(leans: Mapping[str, Any], proofs: Sequence[Mapping[str, Any]] = ()) -> Map:
    """Places for every node and edge of a map, as `LeansMap.as_dict` gives it.

    `proofs` as `Proof.as_dict` gives them. An edge that closes a loop is drawn backwards.
    """
    order = {label: k for k, label in enumerate(leans["order"])}
    held = {p["label"]: p for p in proofs}
    edges = [e for e in leans["edges"] if e["of"] != e["on"]]
    columns = _columns(leans, edges, order)
    nodes = {n["label"]: _node(n, columns[n["label"]], held) for n in leans["nodes"]}
    columned: list[list[Node]] = [[] for _ in range(max(columns.values(), default=0) + 1)]
    for label in sorted(nodes, key=lambda n: order[n]):
        columned[nodes[label].column].append(nodes[label])
    runs = []
    for number, edge in enumerate(edges, start=1):
        a, b = nodes[edge["on"]], nodes[edge["of"]]
        if a.column >= b.column:
            a, b = b, a
        path = [a]
        for k in range(a.column + 1, b.column):
            passing = Node("", k, into=[path[-1]])
            columned[k].append(passing)
            path.append(passing)
        b.into.append(path[-1])
        runs.append(Run(number, edge, (*path, b)))
    for _ in range(SWEEPS):
        for column in columned[1:]:
            _sort(column, columned)
    _place(columned, runs)
    return Map(tuple(n for c in columned for n in c), tuple(runs))


def _columns(
    leans: Mapping[str, Any], edges: Sequence[Mapping[str, Any]], order: Mapping[str, int]
) -> dict[str, int]:
    """Column of each node: one right of the rightmost it leans on; in a loop by bring-up order."""
    found = {n["label"]: 0 for n in leans["nodes"]}
    for label in sorted(found, key=lambda n: order[n]):
        under = [e["on"] for e in edges if e["of"] == label and order[e["on"]] < order[label]]
        found[label] = max((found[n] + 1 for n in under), default=0)
    # Two of a loop that landed in one column are set apart, the later one to the right.
    for _ in found:
        for e in edges:
            a, b = sorted((e["on"], e["of"]), key=lambda n: order[n])
            if found[a] >= found[b] and e["on"] == a:
                found[b] = found[a] + 1
            elif found[a] == found[b]:
                found[b] += 1
    return found


def _node(node: Mapping[str, Any], column: int, held: Mapping[str, Mapping[str, Any]]) -> Node:
    proof = held.get(node["label"])
    proved = None if proof is None else bool(proof["proved"])
    said = SAID.get(node["kind"], node["kind"])
    state = "" if proof is None else f"proved at {proof['at']}" if proved else "not proved"
    lines = tuple(cut(t, 36) for t in (node["label"], said, state) if t)
    why = "" if proof is None or proved else "; ".join(proof["missing"])
    made = Node(node["label"], column, node["kind"], lines, proved, why)
    made.wide = max(wide(t) for t in lines) + 28
    made.high = LINE * len(lines) + 12
    return made


def _sort(column: list[Node], columned: Sequence[Sequence[Node]]) -> None:
    """Order of one column by the mean place of what its nodes lean on; ties stay as they were."""
    place = {id(n): k for other in columned for k, n in enumerate(other)}

    def mean(node: Node) -> float:
        seats = [place[id(n)] for n in node.into]
        return sum(seats) / len(seats) if seats else place[id(node)]

    column.sort(key=mean)


def _place(columned: Sequence[Sequence[Node]], runs: Sequence[Run]) -> None:
    count: dict[int, int] = {}
    for run in runs:
        for node in (run.path[0], run.path[-1]):
            count[id(node)] = count.get(id(node), 0) + 1
    x, tall = MARGIN, 0.0
    for column in columned:
        y = 0.0
        across = max((n.wide for n in column), default=0.0)
        for node in column:
            ports = max(
                sum(1 for r in runs if r.path[-1] is node),
                sum(1 for r in runs if r.path[0] is node),
            )
            node.high = max(node.high, PORT * ports + 8)
            node.wide = node.wide if node.label else across
            node.x, node.y = x, y
            y += node.high + DOWN
        tall = max(tall, y - DOWN)
        x += across + ACROSS
    for column in columned:
        spare = tall - (column[-1].y + column[-1].high) if column else 0.0
        for node in column:
            node.y += MARGIN + spare / 2


def leans_svg(
    leans: Mapping[str, Any],
    proofs: Sequence[Mapping[str, Any]] = (),
    name: str = "What leans on what",
    standalone: bool = False,
) -> str:
    """The map as SVG text; every node has `data-node`, every edge `data-of` and `data-on`."""
    laid = lay_out(leans, proofs)
    legend = [_legend(r) for r in laid.runs]
    legend += [
        f"struck by the file: {e['of']} on {e['on']}: {e['source']}" for e in leans["struck"]
    ]
    right = max((n.box[2] for n in laid.nodes), default=0.0) + MARGIN
    low = max((n.box[3] for n in laid.nodes), default=0.0) + MARGIN
    shown = [cut(t, 120) for t in legend]
    right = max([right, *(wide(t) + 2 * MARGIN for t in shown)])
    high = low + (LINE + 2) * len(shown) + MARGIN
    inside = [STANDALONE] if standalone else []
    inside += [_edge(run, laid.runs) for run in laid.runs]
    inside += [_box(n) for n in laid.nodes if n.label]
    for k, (line, whole) in enumerate(zip(shown, legend, strict=True)):
        text = svg.text(
            MARGIN, low + (LINE + 2) * (k + 1), line, fill="currentColor", stroke="none"
        )
        inside.append(svg.el("g", {"class": "legend"}, svg.title(whole), text))
    return svg.page(
        right,
        high,
        name,
        inside,
        class_="hs-leans",
        width=right,
        height=high,
        font_family=FONT,
        font_size=SIZE,
        fill="none",
        stroke="currentColor",
        stroke_width=1.4,
    )


def _legend(run: Run) -> str:
    e = run.edge
    mark = "" if e.get("source", "circuit") == "circuit" else " (from the file)"
    return f"{run.number}  {e['of']} leans on {e['on']}: {e['how']}{mark}"


def _outline(node: Node) -> str:
    """Shape by kind: raw a box, reference a hexagon, rail rounded, point a pill."""
    x0, y0, x1, y1 = (svg.number(float(v)) for v in node.box)
    middle = svg.number((node.box[1] + node.box[3]) / 2)
    if node.kind == "reference":
        a, b = svg.number(node.x + 10), svg.number(node.x + node.wide - 10)
        return f"M{a} {y0}H{b}L{x1} {middle}L{b} {y1}H{a}L{x0} {middle}Z"
    r = {"raw": 0.0, "rail": 8.0}.get(node.kind, min(node.high / 2, 18.0))
    s = svg.number(r)
    arcs = [(r, r), (-r, r), (-r, -r), (r, -r)]
    turn = [f"a{s} {s} 0 0 1 {svg.number(a)} {svg.number(b)}" if r else "" for a, b in arcs]
    return (
        f"M{svg.number(node.x + r)} {y0}H{svg.number(node.box[2] - r)}{turn[0]}"
        f"V{svg.number(node.box[3] - r)}{turn[1]}H{svg.number(node.x + r)}{turn[2]}"
        f"V{svg.number(node.y + r)}{turn[3]}Z"
    )


def _box(node: Node) -> str:
    attrs: dict[str, float | int | str | None] = {
        "d": _outline(node),
        "stroke-width": 2.6 if node.proved else 1.4,
        "stroke-dasharray": "6 4" if node.proved is False else None,
        "fill": "transparent",
    }
    top = node.y + (node.high - LINE * len(node.lines)) / 2
    texts = [
        svg.text(
            node.x + node.wide / 2,
            top + LINE * (k + 1) - 3,
            line,
            text_anchor="middle",
            fill="currentColor",
            stroke="none",
            font_weight="bold" if k == 0 else None,
        )
        for k, line in enumerate(node.lines)
    ]
    said = f"{node.label}, {', '.join(node.lines[1:])}" + (f": {node.why}" if node.why else "")
    state = None if node.proved is None else "proved" if node.proved else "unproved"
    head: dict[str, float | int | str | None] = {
        "class": " ".join(t for t in ("node", node.kind, state or "") if t),
        "data-node": node.label,
    }
    return svg.el("g", head, svg.title(said), svg.el("path", attrs), *texts)


def _port(node: Node, run: Run, runs: Sequence[Run], right: bool) -> tuple[float, float]:
    """Where an edge leaves or reaches a node, spread along its side."""
    if not node.label:
        return node.x + (node.wide if right else 0.0), node.y + node.high / 2
    end = 0 if right else -1
    mine = [r for r in runs if r.path[end] is node]
    if len(runs) > 1:
        step = 1 if right else -2
        mine.sort(key=lambda r: (r.path[step].y, r.number))
    k = mine.index(run)
    middle = node.y + node.high / 2
    return node.x + (node.wide if right else 0.0), middle + PORT * (k - (len(mine) - 1) / 2)


def _edge(run: Run, runs: Sequence[Run]) -> str:
    backwards = run.path[0].label != run.edge["on"]
    path = ""
    last = (0.0, 0.0)
    for a, b in zip(run.path, run.path[1:], strict=False):
        (x0, y0), (x1, y1) = _port(a, run, runs, True), _port(b, run, runs, False)
        x1 -= 26.0 if b.label else 0.0
        bow = (x1 - x0) / 2
        path += f"{'L' if path else 'M'}{_pt(x0, y0)}"
        path += f"C{_pt(x0 + bow, y0)} {_pt(x1 - bow, y1)} {_pt(x1, y1)}"
        last = (x1, y1)
    x, y = last
    first = _port(run.path[0], run, runs, True)
    said = f"{run.edge['of']} leans on {run.edge['on']}: {run.edge['how']}"
    pieces = [svg.title(said), svg.el("path", {"d": f"{path}m17 0h9"})]
    tip = f"M{_pt(first[0], first[1])}l9 -4v8Z" if backwards else f"M{_pt(x + 26, y)}l-9 -4v8Z"
    pieces.append(svg.el("path", {"d": tip, "fill": "currentColor", "stroke": "none"}))
    pieces.append(
        svg.text(
            x + 8.5,
            y + 3.5,
            str(run.number),
            text_anchor="middle",
            fill="currentColor",
            stroke="none",
            font_size=9,
        )
    )
    head: dict[str, float | int | str | None] = {
        "class": "edge back" if backwards else "edge",
        "data-of": run.edge["of"],
        "data-on": run.edge["on"],
        "stroke-dasharray": "5 3" if backwards else None,
    }
    return svg.el("g", head, *pieces)


def _pt(x: float, y: float) -> str:
    return f"{svg.number(float(x))} {svg.number(float(y))}"
