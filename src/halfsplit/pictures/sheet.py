"""A drawing as placed pieces: symbols, wires, dots, ends and labels with the room each takes."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from halfsplit.pictures.symbols import LONG, Pin, Side, Unit

Box = tuple[float, float, float, float]  # left, top, right, bottom
Anchor = Literal["start", "middle", "end"]
EndKind = Literal["ground", "supply", "flag"]
Mark = Literal["", "new", "gone", "changed", "moved"]  # against another version of the file

# Monospaced faces are 0.55 to 0.602 of their size wide; the widest is reckoned with.
SIZE, ADVANCE, LINE = 11.0, 6.65, 13.0
LONGEST = 26  # characters of a label drawn; the whole is in its title


def wide(text: str) -> float:
    """Width of one line [px]; characters of double width counted so."""
    return ADVANCE * sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def cut(text: str, most: int = LONGEST) -> str:
    """Text short enough to draw."""
    return text if len(text) <= most else text[: most - 1] + "…"


@dataclass(frozen=True)
class Label:
    """Lines of text; (x, y) is the top of the first, at its start, middle or end."""

    x: float
    y: float
    anchor: Anchor
    lines: tuple[tuple[str, str], ...]  # (class, text)
    part: str = ""
    net: str = ""

    @property
    def box(self) -> Box:
        """Room the text takes."""
        w = max((wide(t) for _, t in self.lines), default=0.0)
        left = self.x - {"start": 0.0, "middle": w / 2, "end": w}[self.anchor]
        return left, self.y, left + w, self.y + LINE * len(self.lines)


@dataclass(frozen=True)
class Placed:
    """A unit at (x, y): its left pin, its top pin when `upright`; mirrored by `flip`.

    `mark`: how it differs from another version of the file.
    """

    unit: Unit
    x: float
    y: float
    upright: bool = False
    flip: bool = False
    mark: Mark = ""

    @property
    def length(self) -> float:
        """From the left pin to the right one."""
        return max((p.x for p in self.unit.symbol.pins), default=LONG)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A point of the symbol on the sheet."""
        x = self.length - x if self.flip else x
        return (self.x - y, self.y + x) if self.upright else (self.x + x, self.y + y)

    def side(self, pin: Pin) -> Side:
        """The side a pin's wire leaves by, as placed."""
        side = pin.side
        if self.flip:
            side = {"L": "R", "R": "L"}.get(side, side)  # type: ignore[assignment]
        if self.upright:
            side = {"L": "U", "R": "D", "D": "L", "U": "R"}[side]  # type: ignore[assignment]
        return side

    @property
    def box(self) -> Box:
        """Room its body takes."""
        left, top, right, bottom = self.unit.symbol.box
        return _hull([self.at(left, top), self.at(right, bottom)])


@dataclass(frozen=True)
class Wire:
    """A line through points, all of one net."""

    points: tuple[tuple[float, float], ...]
    net: str


@dataclass(frozen=True)
class End:
    """Where a wire stops: ground, a named supply, or a name found elsewhere too."""

    kind: EndKind
    x: float
    y: float
    side: Side
    net: str

    @property
    def box(self) -> Box:
        """Room it takes."""
        if self.kind == "ground":
            return (self.x - 9, self.y, self.x + 9, self.y + 9 if self.side != "U" else self.y - 9)
        r = 9 if self.kind == "supply" else 3
        across = self.side in ("U", "D")
        dx, dy = (r, 2.5) if across else (2.5, r)
        return (self.x - dx, self.y - dy, self.x + dx, self.y + dy)


@dataclass
class Sheet:
    """Placed pieces, all in one system of coordinates."""

    symbols: list[Placed] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    dots: list[tuple[float, float, str]] = field(default_factory=list)
    ends: list[End] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)

    def wire(self, net: str, *points: tuple[float, float]) -> None:
        """Add a wire, unless it is no longer than a point."""
        if any(p != points[0] for p in points[1:]):
            self.wires.append(Wire(tuple(points), net))

    def add(self, other: Sheet, dx: float = 0.0, dy: float = 0.0) -> None:
        """Lay another sheet on this one, moved."""
        self.symbols += [replace(s, x=s.x + dx, y=s.y + dy) for s in other.symbols]
        self.wires += [
            Wire(tuple((x + dx, y + dy) for x, y in w.points), w.net) for w in other.wires
        ]
        self.dots += [(x + dx, y + dy, n) for x, y, n in other.dots]
        self.ends += [replace(e, x=e.x + dx, y=e.y + dy) for e in other.ends]
        self.labels += [replace(t, x=t.x + dx, y=t.y + dy) for t in other.labels]

    def bounds(self) -> Box:
        """Room all of it takes; a point at the origin when empty."""
        boxes = [s.box for s in self.symbols] + [t.box for t in self.labels]
        boxes += [e.box for e in self.ends]
        points = [p for w in self.wires for p in w.points] + [(x, y) for x, y, _ in self.dots]
        points += [p for b in boxes for p in ((b[0], b[1]), (b[2], b[3]))]
        return _hull(points) if points else (0.0, 0.0, 0.0, 0.0)


def _hull(points: Sequence[tuple[float, float]]) -> Box:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def meets(a: Box, b: Box, slack: float = 0.01) -> bool:
    """Whether two boxes overlap by more than a touch."""
    return (
        a[0] < b[2] - slack and b[0] < a[2] - slack and a[1] < b[3] - slack and b[1] < a[3] - slack
    )


def clashes(sheet: Sheet) -> list[str]:
    """Everything unreadable on a sheet, in words: labels, symbols and ends that overlap, wires
    through a symbol or a label, wires of two nets that touch."""
    boxes = [(f"symbol {' '.join(s.unit.key)}", s.box) for s in sheet.symbols]
    boxes += [(f"label {t.lines[0][1] if t.lines else ''}", t.box) for t in sheet.labels]
    boxes += [(f"end {e.net}", e.box) for e in sheet.ends]
    found = [
        f"{a} on {b}"
        for k, (a, first) in enumerate(boxes)
        for b, second in boxes[k + 1 :]
        if meets(first, second)
    ]
    runs = [
        (w.net, _hull([p, q]))
        for w in sheet.wires
        for p, q in zip(w.points, w.points[1:], strict=False)
    ]
    for net, (x0, y0, x1, y1) in runs:
        line = (x0 - 0.5, y0 - 0.5, x1 + 0.5, y1 + 0.5)
        own = f"end {net}"  # a wire stops in its own end
        found += [f"wire {net} through {n}" for n, b in boxes if n != own and meets(line, b, 0.6)]
    for k, (net, first) in enumerate(runs):
        grown = (first[0] - 0.5, first[1] - 0.5, first[2] + 0.5, first[3] + 0.5)
        for other, second in runs[k + 1 :]:
            if other != net and meets(
                grown, (second[0] - 0.5, second[1] - 0.5, second[2] + 0.5, second[3] + 0.5)
            ):
                found.append(f"wire {net} touches {other}")
    return found
