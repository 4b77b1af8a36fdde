"""A cable through converters, as lists by place and as a drawing with the converters between."""

from __future__ import annotations

from halfsplit import svg as svg_text
from halfsplit.boards.connector import Wired
from halfsplit.boards.plan import Wire, by
from halfsplit.boards.through import Through
from halfsplit.boards.wiring import Plan

_ROW, _TOP = 24, 56
_LEFT, _BOX, _STUB, _OUT, _RIGHT, _WIDE = 230, 340, 760, 1020, 1130, 1360
_TRACK = 7  # between two joints inside
_STYLE = "font-family:sans-serif;font-size:13px"
_DASH = "4 2"
Row = tuple[str, str, str]


def lists(plan: Plan, made: Through) -> list[tuple[str, list[Row]]]:
    """Every conductor under its place: either plug, between converters, straight, in a plug."""
    found: list[tuple[str, list[Row]]] = []
    for end in (plan.a, plan.b):
        found.append((f"{end} to the converters", _rows(made.at(end))))
    inside = [(j.a.label, j.b.label + by(j.by), j.why) for j in made.inside]
    found.append(("Between and inside the converters", _rows(made.between()) + inside))
    straight = [w for w in made.straight() if w.a.end != w.b.end]
    found.append((f"Straight from {plan.a} to {plan.b}", _rows(straight)))
    ties = _rows([w for w in made.straight() if w.a.end == w.b.end])
    ties += [(t.pin.label, t.far, t.why) for t in made.ties]
    found.append(("Within one plug or converter", ties))
    return [(title, rows) for title, rows in found if rows]


def _rows(wires: list[Wire]) -> list[Row]:
    return [(w.a.label, w.b.label, w.why) for w in wires]


def through_svg(plan: Plan, made: Through) -> str:
    """Both plugs, the converters between them pin by pin, every wire and joint.

    A dashed joint has a part in it or is a tie; the lists say which.
    """
    joints = _joints(made)
    straight = [w for w in made.straight() if w.a.end != w.b.end]
    rows: list[tuple[str, Wired | None]] = []
    for name in made.parts:
        rows.append((name, None))
        pins = [p for w in made.wires for p in (w.a, w.b)]
        pins += [p for a, b, _, _ in joints for p in (a, b)] + [s.pin for s in made.supplies]
        mine = {p.label: p for p in pins if p.end == name}
        rows += list(mine.items())
    y = {label: _y(k) for k, (label, pin) in enumerate(rows) if pin is not None}
    ends = {plan.a: _plug(plan.a, made, y), plan.b: _plug(plan.b, made, y)}
    high = _TOP + _ROW * (max(len(rows) + len(straight), *(len(e) for e in ends.values())) + 1)
    parts = [svg_text.el("rect", {"width": _WIDE, "height": high, "fill": "white"})]
    for x, wide, name in ((20, _LEFT - 20, plan.a), (_BOX, _OUT - _BOX, "converters"),
                          (_RIGHT, _WIDE - _RIGHT - 10, plan.b)):  # fmt: skip
        frame: dict[str, float | int | str | None] = {
            "x": x, "y": _TOP - 20, "width": wide, "height": high - _TOP + 8,
            "fill": "none", "stroke": "black",
        }  # fmt: skip
        parts.append(svg_text.el("rect", frame))
        parts.append(svg_text.text(x + 4, 24, name, font_weight="bold"))
    for k, (label, pin) in enumerate(rows):
        weight = "bold" if pin is None else None
        parts.append(svg_text.text(_BOX + 10, _y(k) + 4, label, font_weight=weight))
    for k, wire in enumerate(straight):
        y[_straight(wire)] = _y(len(rows) + k) + _ROW // 2
        said = f"{wire.a.label} straight to {wire.b.label}"
        parts.append(svg_text.text(_BOX + 10, y[_straight(wire)] - 4, said))
    parts += _wires(plan, made, y, ends)
    for k, (a, b, part, why) in enumerate(joints):
        parts += _joint(y, ends, plan.a, a, b, k, part, why)
    return svg_text.page(
        _WIDE, high, f"Cable from {plan.a} to {plan.b} through converters", parts,
        width=_WIDE, height=high, style=_STYLE,
    )  # fmt: skip


def _joints(made: Through) -> list[tuple[Wired, Wired, str, str]]:
    """What is drawn as a bow: joints of the converters and ties within a plug."""
    found = [(j.a, j.b, j.by, j.why) for j in made.inside]
    found += [(w.a, w.b, "", w.why) for w in made.between()]
    found += [(w.a, w.b, "", w.why) for w in made.straight() if w.a.end == w.b.end]
    plug = [t.by or ("" if t.pin.end in made.parts else "tie") for t in made.ties]
    return found + [(t.pin, t.to, by, t.why) for t, by in zip(made.ties, plug, strict=True)]


def _plug(end: str, made: Through, y: dict[str, int]) -> dict[str, int]:
    """Height of every pin of one plug, those joined to a converter in the converters' order."""
    pins: dict[str, int] = {}
    for wire in made.wires:
        for pin, other in ((wire.a, wire.b), (wire.b, wire.a)):
            if pin.end == end:
                pins.setdefault(pin.label, y.get(other.label, 10**6))
    for tie in made.ties:
        for pin in (tie.pin, tie.to):
            if pin.end == end:
                pins.setdefault(pin.label, 10**6)
    return {label: _y(k) for k, label in enumerate(sorted(pins, key=lambda p: pins[p]))}


def _y(row: int) -> int:
    return _TOP + row * _ROW


def _straight(wire: Wire) -> str:
    return f"{wire.a.label} straight to {wire.b.label}"


def _wires(
    plan: Plan, made: Through, y: dict[str, int], ends: dict[str, dict[str, int]]
) -> list[str]:
    """Lines from either plug to the converters, and those that pass them."""
    parts = []
    for end, plug, box, side in ((plan.a, _LEFT, _BOX, "end"), (plan.b, _RIGHT, _OUT, "start")):
        for label, at in ends[end].items():
            shift = -10 if side == "end" else 10
            parts.append(svg_text.text(plug + shift, at + 4, label, text_anchor=side))
            parts.append(svg_text.el("circle", {"cx": plug, "cy": at, "r": 3}))
        for wire in made.at(end):
            pin, other = (wire.a, wire.b) if wire.a.end == end else (wire.b, wire.a)
            parts += _line(plug, ends[end][pin.label], box, y[other.label], wire.why)
            parts.append(svg_text.el("circle", {"cx": box, "cy": y[other.label], "r": 3}))
            if side == "start":
                parts.append(svg_text.text(box - 10, y[other.label] + 4, other.pin,
                                           text_anchor="end"))  # fmt: skip
    for wire in made.straight():
        if wire.a.end == wire.b.end:
            continue
        a, b = (wire.a, wire.b) if wire.a.end == plan.a else (wire.b, wire.a)
        at = y[_straight(wire)]
        parts += _line(_LEFT, ends[plan.a][a.label], _BOX, at, wire.why)
        parts += _line(_BOX, at, _OUT, at, wire.why)
        parts += _line(_OUT, at, _RIGHT, ends[plan.b][b.label], wire.why)
    return parts


def _line(x1: int, y1: int, x2: int, y2: int, why: str) -> list[str]:
    line: dict[str, float | int | str | None] = {
        "x1": x1, "y1": y1, "x2": x2, "y2": y2, "stroke": "black",
    }  # fmt: skip
    return [svg_text.el("line", line, svg_text.title(why))]


def _joint(
    y: dict[str, int],
    ends: dict[str, dict[str, int]],
    first: str,
    a: Wired,
    b: Wired,
    k: int,
    part: str,
    why: str,
) -> list[str]:
    """A joint as a bow: inside the converters, or out from the plug it is in."""
    if a.end in ends:
        x, heights = (_LEFT, ends[a.end]) if a.end == first else (_RIGHT, ends[a.end])
        out = x + (20 + _TRACK * k % 70) * (1 if a.end == first else -1)
    else:
        x, heights, out = _STUB, y, _STUB + 10 + _TRACK * k % 140
    path: dict[str, float | int | str | None] = {
        "d": f"M{x} {heights[a.label]} H{out} V{heights[b.label]} H{x}",
        "fill": "none",
        "stroke": "black",
        "stroke-dasharray": _DASH if part else None,
    }
    said = f"{part}: {why}" if part else why
    drawn = [svg_text.el("path", path, svg_text.title(said))]
    if part and a.end not in ends:
        middle = (heights[a.label] + heights[b.label]) / 2 + 4
        drawn.append(svg_text.text(x - 5, middle, part, text_anchor="end", font_size="11px"))
    return drawn
