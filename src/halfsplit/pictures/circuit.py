"""A circuit drawing as SVG, for a page, a file or paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from halfsplit import svg
from halfsplit.pictures.choice import Choice
from halfsplit.pictures.kept import element
from halfsplit.pictures.layout import Notes, draw
from halfsplit.pictures.sheet import LINE, SIZE, End, Label, Mark, Placed, Sheet

MARGIN = 16.0
FONT = "'DejaVu Sans Mono',Menlo,Consolas,'Liberation Mono',monospace"
# Drawn in the colour of the text around it; the mark is seen on white and on near-black.
MARKED = 0.02  # weight from which a part is marked as suspect
HALO, NOTE = "#f59e0b", "currentColor"  # notes are told by weight and words: text wants 4.5 to 1
STANDALONE = (
    "<style>:root{color:#111;background:#fff}"
    "@media(prefers-color-scheme:dark){:root{color:#eee;background:#161616}}</style>"
)


def circuit_svg(
    choice: Choice,
    *,
    expected: Mapping[str, str] | None = None,
    actual: Mapping[str, str] | None = None,
    suspects: Mapping[str, float] | None = None,
    name: str = "",
    standalone: bool = False,
) -> str:
    """The parts of a choice drawn as a circuit.

    `expected`, `actual`: text by net, such as ``5.02 V``, written under the net's name.
    `suspects`: weight 0 to 1 by part, told in per cent and by a mark behind the symbol.
    `name`: read out for the picture. `standalone`: with colours of its own, light and dark.
    """
    notes, weights = noted(expected, actual, suspects)
    return sheet_svg(draw(choice, notes), choice, weights, name, standalone)


def noted(
    expected: Mapping[str, str] | None = None,
    actual: Mapping[str, str] | None = None,
    suspects: Mapping[str, float] | None = None,
) -> tuple[Notes, dict[str, float]]:
    """What is written beside names, from the texts of :func:`circuit_svg`; and marked weights."""
    nets: dict[str, list[str]] = {}
    for prefix, table in (("exp ", expected), ("is ", actual)):
        for net, text in (table or {}).items():
            nets.setdefault(net, []).append(prefix + text)
    weights = {k: w for k, w in (suspects or {}).items() if w >= MARKED}
    return Notes(nets, {k: [f"suspect {100 * w:.0f} %"] for k, w in weights.items()}), weights


def sheet_svg(
    sheet: Sheet,
    choice: Choice,
    weights: Mapping[str, float],
    name: str = "",
    standalone: bool = False,
    kept: bool = False,
) -> str:
    """A laid-out sheet as SVG text; with `kept`, its places are in it for the next drawing."""
    left, top, right, bottom = sheet.bounds()
    # Nothing is moved that has its margin, so that a kept place stays to the pixel.
    dx, dy = max(MARGIN - left, 0.0), max(MARGIN - top, 0.0)
    moved = Sheet()
    moved.add(sheet, dx, dy)
    rest = [f"{n} more on {net} not drawn" for net, n in choice.left_out]
    wide = max(right + dx + MARGIN, 220.0)
    high = bottom + dy + MARGIN + LINE * len(rest)
    focus = ", ".join(choice.focus)
    said = name or f"Circuit of {choice.assembly.name}" + (f" around {focus}" if focus else "")
    inside = [*([element(moved)] if kept else []), *([STANDALONE] if standalone else [])]
    inside += [
        _halo(s, weights[s.unit.part.ref]) for s in moved.symbols if s.unit.part.ref in weights
    ]
    inside += [_marked(s) for s in moved.symbols if s.mark]
    inside += [_symbol(s, choice.focus) for s in moved.symbols]
    inside += [
        svg.el(
            "path",
            {"class": "wire", "data-net": w.net, "d": "M" + "L".join(_xy(p) for p in w.points)},
        )
        for w in moved.wires
    ]
    inside += [
        svg.el("circle", {"cx": x, "cy": y, "r": 2.5, "fill": "currentColor", "data-net": n})
        for x, y, n in moved.dots
    ]
    inside += [_end(e) for e in moved.ends]
    inside += [_label(t) for t in moved.labels]
    for k, line in enumerate(rest):
        y = high - MARGIN - LINE * (len(rest) - 1 - k)
        inside.append(svg.text(MARGIN, y, line, fill="currentColor", stroke="none"))
    return svg.page(
        wide,
        high,
        said,
        inside,
        class_="hs-circuit",
        width=wide,
        height=high,
        font_family=FONT,
        font_size=SIZE,
        fill="none",
        stroke="currentColor",
        stroke_width=1.4,
        stroke_linecap="round",
        stroke_linejoin="round",
    )


def _xy(point: tuple[float, float]) -> str:
    return f"{svg.number(float(point[0]))} {svg.number(float(point[1]))}"


def _symbol(placed: Placed, focus: Sequence[str]) -> str:
    symbol, ref = placed.unit.symbol, placed.unit.part.ref
    turn = f"translate({_xy((placed.x, placed.y))})" + (" rotate(90)" if placed.upright else "")
    if placed.flip:
        turn += f" translate({svg.number(placed.length)} 0) scale(-1 1)"
    lines = svg.el("path", {"d": symbol.lines})
    solid = svg.el("path", {"d": symbol.solid, "fill": "currentColor"}) if symbol.solid else ""
    marks = "".join(
        svg.text(
            placed.at(x, y)[0],
            placed.at(x, y)[1] + 3.5,
            said,
            text_anchor="middle",
            fill="currentColor",
            stroke="none",
        )
        for x, y, said in symbol.marks
    )
    label = svg.title(f"{ref} {placed.unit.name}: {placed.unit.part.label()}".replace(" :", ":"))
    hit = placed.box  # a place to click on, wider than the lines
    rect = svg.el(
        "rect",
        {
            "x": hit[0],
            "y": hit[1],
            "width": hit[2] - hit[0],
            "height": hit[3] - hit[1],
            "fill": "transparent",
            "stroke": "none",
        },
    )
    return svg.el(
        "g",
        {
            "class": "part focus" if ref in focus else "part",
            "data-part": ref,
            "stroke-width": 2.2 if ref in focus else None,
        },
        label,
        rect,
        svg.el("g", {"transform": turn}, lines, solid),
        marks,
    )


def _halo(placed: Placed, weight: float) -> str:
    left, top, right, bottom = placed.box
    return svg.el(
        "rect",
        {
            "class": "suspect",
            "x": left - 3,
            "y": top - 3,
            "width": right - left + 6,
            "height": bottom - top + 6,
            "rx": 6,
            "fill": HALO,
            "fill-opacity": round(0.15 + 0.5 * min(weight, 1.0), 2),
            "stroke": HALO,
            "stroke-dasharray": "4 3" if weight < 0.5 else None,
        },
    )


# Told apart by outline as well as colour, each 3 to 1 or more on white and on near-black.
OUTLINES: Mapping[Mark, tuple[str, float, str | None]] = {
    "new": ("#15803d", 2.6, None),
    "gone": ("#dc2626", 1.6, "2 3"),
    "changed": ("#b45309", 2.0, "7 4"),
    "moved": ("#2563eb", 2.0, "10 3 2 3"),
}


def _marked(placed: Placed) -> str:
    """The box around what differs from another version; what is gone is crossed out."""
    left, top, right, bottom = placed.box
    left, top, right, bottom = left - 2, top - 2, right + 2, bottom + 2
    colour, width, dashes = OUTLINES[placed.mark]
    around = f"M{_xy((left, top))}H{svg.number(right)}V{svg.number(bottom)}H{svg.number(left)}Z"
    if placed.mark == "gone":
        around += (
            f"M{_xy((left, top))}L{_xy((right, bottom))}M{_xy((left, bottom))}L{_xy((right, top))}"
        )
    attrs: dict[str, float | int | str | None] = {
        "class": f"mark {placed.mark}",
        "data-part": placed.unit.part.ref,
        "d": around,
        "stroke": colour,
        "stroke-width": width,
        "stroke-dasharray": dashes,
    }
    return svg.el("path", attrs)


def _end(end: End) -> str:
    x, y = end.x, end.y
    attrs: dict[str, float | int | str | None] = {"class": f"end {end.kind}", "data-net": end.net}
    if end.kind == "ground":
        s = -1 if end.side == "U" else 1
        d = "".join(
            f"M{svg.number(x - w)} {svg.number(y + s * k)}H{svg.number(x + w)}"
            for w, k in ((9.0, 0.0), (6.0, 4.0), (2.5, 8.0))
        )
        return svg.el("path", {**attrs, "d": d}, svg.title(end.net))
    if end.kind == "supply":
        way = "H" if end.side in ("U", "D") else "V"
        a, b = (x, y) if way == "H" else (y, x)
        start = (a - 9, b) if way == "H" else (b, a - 9)
        d = f"M{_xy(start)}{way}{svg.number(a + 9)}"
        return svg.el("path", {**attrs, "d": d, "stroke-width": 2.4}, svg.title(end.net))
    return svg.el("circle", {**attrs, "cx": x, "cy": y, "r": 2.8}, svg.title(end.net))


LOOK: dict[str, dict[str, float | int | str | None]] = {
    "ref": {"font_weight": "bold"},
    "value": {},
    "net": {"font_style": "italic"},
    "note": {"fill": NOTE, "font_weight": "bold"},
    "heading": {"font_weight": "bold", "text_decoration": "underline"},
}


def _label(label: Label) -> str:
    made = []
    for k, (kind, said) in enumerate(label.lines):
        attrs: dict[str, float | int | str | None] = {
            "fill": "currentColor",
            "stroke": "none",
            "text_anchor": None if label.anchor == "start" else label.anchor,
            "class_": kind,
            **LOOK[kind],
        }
        made.append(svg.text(label.x, label.y + LINE * (k + 1) - 3, said, **attrs))
    which: dict[str, float | int | str | None] = {
        "data-part": label.part or None,
        "data-net": label.net or None,
    }
    return svg.el("g", which, *made)
