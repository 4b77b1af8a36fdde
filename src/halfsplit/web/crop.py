"""A piece of a picture around the probes, as a drawing with what should be read written on it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

from halfsplit import svg
from halfsplit.web.pieces.sight import SAYS, Mark

SHAPE = 16 / 10  # width over height of a piece
NARROWEST = 0.3  # share of the picture's width: a board's neighbourhood, so that one finds it
FAR = 0.5  # share of it beyond which two places are shown apart
UNITS = 560.0  # of the drawing's width; about its px on a page
Attrs: TypeAlias = dict[str, float | int | str | None]
FONT, WIDE, LINE = 22.0, 13.4, 28.0  # of its words: size, room for a letter, for a line
TONES = {"red": "#c01c1c", "black": "#16202a", "look": "#0b4f8a"}


def box(marks: Sequence[Mark], wide: int, high: int) -> tuple[float, float, float, float]:
    """Left, top, width and height [px] of the piece that holds some marks."""
    xs, ys = [m.x * wide for m in marks], [m.y * high for m in marks]
    w = max(NARROWEST * wide, 1.6 * (max(xs) - min(xs)), 1.6 * SHAPE * (max(ys) - min(ys)))
    w = min(w, float(wide))
    h = min(w / SHAPE, float(high))
    left = min(max((min(xs) + max(xs)) / 2 - w / 2, 0.0), wide - w)
    top = min(max((min(ys) + max(ys)) / 2 - h / 2, 0.0), high - h)
    return left, top, w, h


def near(a: Mark, b: Mark) -> bool:
    """Whether two places are seen well in one piece."""
    return abs(a.x - b.x) < FAR and abs(a.y - b.y) < FAR


def crop_svg(source: str, wide: int, high: int, marks: Sequence[Mark], name: str) -> str:
    """The piece around `marks` of the picture at `source`, `wide` by `high` pixels."""
    left, top, w, h = box(marks, wide, high)
    scale = UNITS / w
    image = svg.el(
        "image",
        {
            "href": source,
            "x": -left * scale,
            "y": -top * scale,
            "width": wide * scale,
            "height": high * scale,
            "preserveAspectRatio": "none",
        },
    )
    drawn = [
        _mark(m, (m.x * wide - left) * scale, (m.y * high - top) * scale, h * scale) for m in marks
    ]
    return svg.page(UNITS, h * scale, name, [image, *drawn], font_size=FONT)


def _mark(mark: Mark, x: float, y: float, high: float) -> str:
    tone = TONES[mark.probe]
    look: Attrs = {"fill": tone, "stroke": "#ffffff", "stroke-width": 4}
    edge: Attrs = {"fill": "none", "stroke": "#16202a", "stroke-width": 8}
    size: Attrs
    if mark.probe == "red":
        shape = [svg.el("circle", {"cx": x, "cy": y, "r": 12, **k}) for k in (edge, look)]
    else:
        size = {"x": x - 11, "y": y - 11, "width": 22, "height": 22}
        turn = f"rotate(45 {svg.number(x)} {svg.number(y)})" if mark.probe == "look" else None
        shape = [svg.el("rect", {**size, "transform": turn, **k}) for k in (edge, look)]
    lines = [f"{SAYS[mark.probe]}: {mark.words[0]}", *mark.words[1:]]
    plate_w = WIDE * max(map(len, lines)) + 16
    plate_h = LINE * len(lines) + 10
    left = x + 22 if x + 22 + plate_w < UNITS else max(x - 22 - plate_w, 2.0)
    top = y - 20
    if left < x < left + plate_w:  # no room beside it: below, or above
        top = y + 22 if y + 22 + plate_h < high else y - 22 - plate_h
    top = min(max(top, 2.0), max(high - plate_h - 2, 2.0))
    ground: Attrs = {
        "x": left,
        "y": top,
        "width": plate_w,
        "height": plate_h,
        "rx": 5,
        "fill": "#16202a",
    }
    plate = svg.el("rect", {**ground, "stroke": "#ffffff"})
    said = [
        svg.text(
            left + 8,
            top + 25 + LINE * k,
            line,
            fill="#ffffff",
            font_weight="bold" if k else None,
            font_family="'DejaVu Sans',system-ui,sans-serif",
        )
        for k, line in enumerate(lines)
    ]
    return svg.el("g", {}, *shape, plate, *said)
