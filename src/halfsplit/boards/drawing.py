"""A cable as a drawing (SVG) and as a sheet to print and take to the bench (HTML)."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from halfsplit import svg as svg_text
from halfsplit.boards.drawing_through import lists, through_svg
from halfsplit.boards.plan import Check, Tie, Wire
from halfsplit.boards.through import amps
from halfsplit.boards.wiring import Plan
from halfsplit.quantity.volts import volts

_ROW, _TOP, _LEFT, _RIGHT, _WIDE = 28, 56, 230, 530, 760
_LOOP = 26  # how far a tie's bow stands out from its plug
_STYLE = "font-family:sans-serif;font-size:13px"


def svg(plan: Plan) -> str:
    """Both plugs, every wire between them and every tie, pins in the order of the wire list.

    With converters between, those stand in the middle with their pins and what joins them.
    """
    if plan.through is not None and plan.through.parts:
        return through_svg(plan, plan.through)
    left, right = _pins(plan, plan.a), _pins(plan, plan.b)
    rows = max(len(left), len(right), 1)
    high = _TOP + rows * _ROW + 24
    place = {label: (_LEFT, _y(k)) for k, label in enumerate(left)}
    place |= {label: (_RIGHT, _y(k)) for k, label in enumerate(right)}
    parts = [svg_text.el("rect", {"width": _WIDE, "height": high, "fill": "white"})]
    for name, x, wide, labels in ((plan.a, 20, _LEFT - 20, left), (plan.b, _RIGHT, 210, right)):
        box: dict[str, float | int | str | None] = {
            "x": x,
            "y": _TOP - 22,
            "width": wide,
            "height": rows * _ROW + 12,
        }
        parts.append(svg_text.el("rect", {**box, "fill": "none", "stroke": "black"}))
        parts.append(svg_text.text(x + 4, 24, name, font_weight="bold"))
        for k, label in enumerate(labels):
            at, anchor = (_LEFT - 10, "end") if name == plan.a else (_RIGHT + 10, "start")
            parts.append(svg_text.text(at, _y(k) + 4, label, text_anchor=anchor))
    bows = 0
    for wire in plan.wires:
        (x1, y1), (x2, y2) = place[wire.a.label], place[wire.b.label]
        if wire.a.end == wire.b.end:
            parts += _bow(x1, y1, y2, bows, wire.why, "")
            bows += 1
            continue
        line: dict[str, float | int | str | None] = {
            "x1": x1,
            "y1": y1,
            "x2": x2,
            "y2": y2,
            "stroke": "black",
        }
        parts.append(svg_text.el("line", line, svg_text.title(wire.why)))
    for tie in plan.ties:
        (x, y1), (_, y2) = place[tie.pin.label], place[tie.to.label]
        parts += _bow(x, y1, y2, bows, tie.why, tie.by)
        bows += 1
    parts += [svg_text.el("circle", {"cx": x, "cy": y, "r": 3}) for x, y in place.values()]
    return svg_text.page(
        _WIDE,
        high,
        f"Cable from {plan.a} to {plan.b}",
        parts,
        width=_WIDE,
        height=high,
        style=_STYLE,
    )


def _bow(x: int, y1: int, y2: int, k: int, why: str, by: str) -> list[str]:
    """A joint within one plug, bowed out from it so that it is not hidden by the plug's edge."""
    out = (x + _LOOP + 8 * k) if x == _LEFT else (x - _LOOP - 8 * k)
    dash = {"fill": "none", "stroke": "black", "stroke-dasharray": "4 2"}
    path = {"d": f"M{x} {y1} H{out} V{y2} H{x}", **dash}
    anchor = "start" if x == _LEFT else "end"
    said = [svg_text.text(out, (y1 + y2) / 2, by, text_anchor=anchor)] if by else []
    return [svg_text.el("path", {**path}, svg_text.title(why)), *said]


def _y(row: int) -> int:
    return _TOP + row * _ROW


def _pins(plan: Plan, end: str) -> list[str]:
    """Labels of the pins of one end that the plan touches, as wires come."""
    pins = [p for w in plan.wires for p in (w.a, w.b)] + [
        p for t in plan.ties for p in (t.pin, t.to)
    ]
    return list(dict.fromkeys(p.label for p in pins if p.end == end))


def reads(check: Check) -> str:
    """What a check should show."""
    return f"{volts(check.low)} to {volts(check.high)}"


def sheet(plan: Plan, title: str) -> str:
    """One page of HTML with the drawing, the wire list with reasons, and boxes to tick."""
    head = f"{title}: {plan.a} to {plan.b}"
    verdict = f"<p><b>{escape(plan.verdict)}</b> {escape('; '.join(plan.reasons))}</p>"
    return "\n".join(
        [
            '<!doctype html><html lang="en"><head><meta charset="utf-8">',
            f"<title>{escape(head)}</title>",
            "<style>body{font-family:sans-serif;margin:1.5em}table{border-collapse:collapse}"
            "td,th{border:1px solid #888;padding:3px 6px;text-align:left;vertical-align:top}"
            "@media print{body{margin:0}}</style></head><body>",
            f"<h1>{escape(head)}</h1>",
            verdict,
            "<h2>Before joining, measure</h2>",
            _checks(plan.checks),
            "<h2>Cable</h2>",
            svg(plan) if plan.wires or plan.through else "<p>No cable: see above.</p>",
            *_lists(plan),
            "<h2>To spare</h2>",
            _table(
                ("where", "to spare"),
                [(m.at, m.shown) for k in (plan.through or plan).links for m in k.margins],
            ),
            "</body></html>",
            "",
        ]
    )


def _lists(plan: Plan) -> list[str]:
    """Every wire, tie and joint with a box to tick, those of each plug under its own heading."""
    heads = ("done", "from", "to", "why")
    if plan.through is None:
        return [_table(heads, _ticks(plan.wires) + _tied(plan.ties))]
    out = []
    for title, rows in lists(plan, plan.through):
        out += [f"<h2>{escape(title)}</h2>", _table(heads, [("☐", *r) for r in rows])]
    made = plan.through
    parts = [(n, p.says, p.source) for n, p in made.parts.items()]
    out += ["<h2>Converters</h2>", _table(("name", "what it is", "source"), parts)]
    notes = "".join(f"<li>{escape(r)}</li>" for r in made.reasons)
    fed = [("☐", s.pin.label, volts(s.volts), amps(s)) for s in made.supplies]
    out += [f"<ul>{notes}</ul>" if notes else "", "<h2>Fed with</h2>"]
    out.append(_table(("done", "pin", "volts", "current"), fed))
    out.append("<h2>Converters joined, measure before the other end is</h2>")
    out.append(_checks(made.checks))
    return out


def _checks(checks: Sequence[Check]) -> str:
    heads = ("done", "at", "against", "should read", "is", "otherwise")
    cautions = dict.fromkeys(c.caution for c in checks if c.caution)
    told = "".join(f"<p><b>Caution</b>: {escape(words)}.</p>" for words in cautions)
    return told + _table(heads, [("☐", c.at, c.to, reads(c), c.means, c.otherwise) for c in checks])


def _ticks(wires: Sequence[Wire]) -> list[tuple[str, ...]]:
    return [("☐", w.a.label, w.b.label, w.why) for w in wires]


def _tied(ties: Sequence[Tie]) -> list[tuple[str, ...]]:
    return [("☐", t.pin.label, t.far, t.why) for t in ties]


def _table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    top = "".join(f"<th>{escape(h)}</th>" for h in head)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f"<table><tr>{top}</tr>{body}</table>" if rows else "<p>None.</p>"
