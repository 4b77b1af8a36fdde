"""The places of an earlier drawing, and a new drawing that keeps them.

What did not change stays exactly where it stood; what is gone is taken off with the wires that
served it alone; what is new, or joined otherwise, stands in rows of its own below, its wires ended
by the names of their nets. So an eye that knows the picture finds everything again.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from html import escape, unescape
from typing import Any

from halfsplit.pictures.choice import Choice
from halfsplit.pictures.layout import BETWEEN, Notes, Pen, draw, pen_of
from halfsplit.pictures.sheet import LINE, Box, End, Label, Placed, Sheet, Wire, cut, meets, wide
from halfsplit.pictures.symbols import Unit

VERSION = 1
NEAR = 18.0  # px from a net's name to the wire it names
AFRESH = 0.34  # share of parts without a place from which a new layout is clearer
ADDED = "added since the places were laid out"
_PLACES = re.compile(r'<metadata class="hs-places">(.*?)</metadata>', re.DOTALL)
Point = tuple[float, float]


def places(sheet: Sheet) -> str:
    """A sheet as text for :func:`keep`, to be kept inside the drawing."""
    data = {
        "version": VERSION,
        "symbols": [
            [*s.unit.key, s.unit.part.KIND, dict(s.unit.nets), s.x, s.y, s.upright, s.flip]
            for s in sheet.symbols
        ],
        "wires": [[w.net, w.points] for w in sheet.wires],
        "dots": sheet.dots,
        "ends": [[e.kind, e.x, e.y, e.side, e.net] for e in sheet.ends],
        "labels": [[t.x, t.y, t.anchor, t.lines, t.part, t.net] for t in sheet.labels],
    }
    return json.dumps(data, separators=(",", ":"))


def element(sheet: Sheet) -> str:
    """The places as an element of an SVG."""
    return f'<metadata class="hs-places">{escape(places(sheet), quote=False)}</metadata>'


def places_in(svg: str) -> str | None:
    """The places a drawing was made with; None where it has none."""
    found = _PLACES.search(svg)
    return unescape(found[1]) if found else None


def keep(text: str, choice: Choice) -> Sheet | None:
    """A choice drawn in the places of an earlier drawing.

    None when the places cannot be read, or so much is new that a fresh layout is clearer.
    """
    try:
        old, was = _read(text, choice)
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError):
        return None  # damaged, or of another version: laid out afresh
    stay = [s for s in old.symbols if _same(s, was)]
    have = {s.unit.key for s in stay}
    new = [u for u in choice.units if u.key not in have]
    if len(new) > AFRESH * len(choice.units):
        return None
    pen = pen_of(choice)
    sheet = replace(old, symbols=stay)
    _prune(sheet)
    sheet.ends = [replace(e, kind=pen.kind(e.net)) for e in sheet.ends]
    sheet.labels = _labels(sheet, pen, stay)
    if new:
        sheet = with_rows(sheet, choice, new, ADDED)
    return sheet


def with_rows(
    sheet: Sheet, choice: Choice, new: Sequence[Unit], heading: str, notes: Notes | None = None
) -> Sheet:
    """A sheet with further units in rows below it, under a heading."""
    rows = draw(replace(choice, units=tuple(new)), notes)
    left, top, _, _ = rows.bounds()
    x0, _, _, low = sheet.bounds()
    found = Sheet()
    found.add(sheet)
    y = low + BETWEEN
    found.labels.append(Label(x0, y, "start", (("heading", heading),)))
    y += LINE + BETWEEN / 2
    found.add(rows, x0 - left, y - top)
    return found


def _read(text: str, choice: Choice) -> tuple[Sheet, dict[tuple[str, str], Any]]:
    """The stored sheet with the symbols of units there are now, and what each was joined to."""
    data = json.loads(text)
    if data["version"] != VERSION:
        raise ValueError("places of another version")
    units = {u.key: u for u in choice.units}
    sheet, was = Sheet(), {}
    for ref, name, kind, nets, x, y, upright, flip in data["symbols"]:
        unit = units.get((str(ref), str(name)))
        if unit is not None:
            was[unit.key] = (kind, nets)
            sheet.symbols.append(Placed(unit, *_point((x, y)), upright is True, flip is True))
    for net, points in data["wires"]:
        sheet.wires.append(Wire(tuple(_point(p) for p in points), str(net)))
    sheet.dots = [(*_point((x, y)), str(n)) for x, y, n in data["dots"]]
    for kind, x, y, side, net in data["ends"]:
        if kind not in ("ground", "supply", "flag") or side not in ("L", "R", "U", "D"):
            raise ValueError("an end of no kind")
        sheet.ends.append(End(kind, *_point((x, y)), side, str(net)))
    for x, y, anchor, lines, part, net in data["labels"]:
        if anchor not in ("start", "middle", "end"):
            raise ValueError("a label of no place")
        told = tuple((_class(k), str(t)) for k, t in lines)
        sheet.labels.append(Label(*_point((x, y)), anchor, told, str(part), str(net)))
    return sheet, was


def _class(name: object) -> str:
    if name not in ("ref", "value", "net", "note", "heading"):
        raise ValueError("a label of no kind")
    return str(name)


def _point(pair: Any) -> Point:
    x, y = (float(v) for v in pair)
    if not (abs(x) < 1e6 and abs(y) < 1e6):
        raise ValueError("a place off every sheet")
    return x, y


def _same(placed: Placed, was: dict[tuple[str, str], Any]) -> bool:
    kind, nets = was[placed.unit.key]
    return bool(kind == placed.unit.part.KIND and nets == dict(placed.unit.nets))


# -- what served only what is gone ----------------------------------------------------------------


def _on(point: Point, wire: Wire) -> bool:
    x, y = point
    return any(
        min(p[0], q[0]) - 0.01 <= x <= max(p[0], q[0]) + 0.01
        and min(p[1], q[1]) - 0.01 <= y <= max(p[1], q[1]) + 0.01
        for p, q in zip(wire.points, wire.points[1:], strict=False)
    )


def _prune(sheet: Sheet) -> None:
    """Take off wires that join nothing to anything, then ends, dots and names left alone."""
    pins = [
        (*s.at(p.x, p.y), s.unit.nets[p.terminal])
        for s in sheet.symbols
        for p in s.unit.symbol.pins
    ]
    crowded = {d for d in sheet.dots if _ways(d, sheet.wires) >= 3}
    kept: set[int] = set()
    for net in dict.fromkeys(w.net for w in sheet.wires):
        wires = [w for w in sheet.wires if w.net == net]
        own = [(x, y) for x, y, n in pins if n == net]
        ends = [(e.x, e.y) for e in sheet.ends if e.net == net]
        while loose := next((w for w in wires if _loose(w, wires, own, ends)), None):
            wires = [w for w in wires if w is not loose]
        kept |= {id(w) for w in _reached(wires, own)}
    sheet.wires = [w for w in sheet.wires if id(w) in kept]
    sheet.ends = [
        e for e in sheet.ends if any(w.net == e.net and _on((e.x, e.y), w) for w in sheet.wires)
    ]
    sheet.dots = [
        d for d in sheet.dots if (ways := _ways(d, sheet.wires)) and (ways >= 3 or d not in crowded)
    ]


def _loose(wire: Wire, wires: Sequence[Wire], pins: Sequence[Point], ends: Sequence[Point]) -> bool:
    """Whether a wire is on no pin and meets anything else of its net in one place at most."""
    if any(_on(p, wire) for p in pins):
        return False
    others = [w for w in wires if w is not wire]
    joined = {p for p in ends if _on(p, wire)}
    joined |= {p for p in (wire.points[0], wire.points[-1]) if any(_on(p, w) for w in others)}
    joined |= {p for w in others for p in (w.points[0], w.points[-1]) if _on(p, wire)}
    return len(joined) <= 1


def _reached(wires: Sequence[Wire], pins: Sequence[Point]) -> list[Wire]:
    """Wires that lead to a pin, over whatever others."""
    found = [w for w in wires if any(_on(p, w) for p in pins)]
    rest = [w for w in wires if w not in found]
    for wire in found:  # grows while it is walked
        near = [w for w in rest if any(_on(p, w) for p in (wire.points[0], wire.points[-1]))
                or any(_on(p, wire) for p in (w.points[0], w.points[-1]))]  # fmt: skip
        found += near
        rest = [w for w in rest if w not in near]
    return found


def _ways(dot: tuple[float, float, str], wires: Iterable[Wire]) -> int:
    """Directions in which wires leave a dot."""
    found = 0
    for wire in wires:
        if wire.net == dot[2] and _on(dot[:2], wire):
            at_end = dot[:2] in (wire.points[0], wire.points[-1])
            found += 1 if at_end else 2
    return found


# -- names ----------------------------------------------------------------------------------------


def _labels(sheet: Sheet, pen: Pen, stay: Sequence[Placed]) -> list[Label]:
    """Names of what is left, in their places, with values as they are now."""
    units: dict[str, list[Unit]] = {}
    for placed in stay:
        units.setdefault(placed.unit.part.ref, []).append(placed.unit)
    found: list[Label] = []
    for label in sheet.labels:
        if label.part:
            unit = _labelled(label, units.get(label.part, ()), pen)
            if unit is not None:
                found.append(_told(label, pen.part_lines(unit)))
        elif not label.net or _named(label, sheet):
            found.append(label)
    bodies = [s.box for s in sheet.symbols] + [e.box for e in sheet.ends]
    return [_fitted(t, sheet.labels, found, bodies) if t.part else t for t in found]


def _labelled(label: Label, units: Sequence[Unit], pen: Pen) -> Unit | None:
    """The unit of a part a label stands by, told by its first line."""
    first = label.lines[0][1] if label.lines else ""
    return next((u for u in units if pen.part_lines(u)[0][1] == first), None)


def _told(label: Label, lines: tuple[tuple[str, str], ...]) -> Label:
    """A label with other lines: one above a symbol grows upwards, one beside it downwards."""
    lift = LINE * (len(lines) - len(label.lines)) if label.anchor == "middle" else 0.0
    return replace(label, y=label.y - lift, lines=lines)


def _fitted(label: Label, old: Sequence[Label], new: Sequence[Label], bodies: list[Box]) -> Label:
    """A label whose text grew, cut to the room it had where the longer text would run over."""
    others = [t.box for t in new if t is not label] + bodies
    if not any(meets(label.box, box) for box in others):
        return label
    before = next(t for t in old if t.part == label.part and abs(t.x - label.x) < 0.01
                  and t.lines[:1] == label.lines[:1])  # fmt: skip
    room = max((wide(t) for _, t in before.lines), default=0.0)
    most = max(int(room / wide("x")), 2)
    lines = tuple((kind, cut(said, most)) for kind, said in label.lines[: len(before.lines)])
    return replace(before, lines=lines)


def _named(label: Label, sheet: Sheet) -> bool:
    """Whether a wire of the net a label names still runs by it."""
    left, top, right, bottom = label.box
    near = (left - NEAR, top - NEAR, right + NEAR, bottom + NEAR)
    return any(
        meets(
            near, (min(p[0], q[0]), min(p[1], q[1]), max(p[0], q[0]) + 0.1, max(p[1], q[1]) + 0.1)
        )
        for w in sheet.wires
        if w.net == label.net
        for p, q in zip(w.points, w.points[1:], strict=False)
    )
