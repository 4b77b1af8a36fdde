"""Pictures of straps and switches: rows of characters for a terminal, SVG for paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from halfsplit import svg
from halfsplit.boards.model import Rack

# Geometry of the drawing, in SVG units.
_CELL, _ROW, _LEFT, _TOP, _GAP = 62, 26, 96, 40, 34


@dataclass(frozen=True)
class Row:
    """One setting as drawn: its straps, the two positions, where each goes, which ones move."""

    setting: str
    means: str
    choice: str
    words: tuple[str, str]
    straps: tuple[str, ...]
    to: tuple[str, ...]
    was: tuple[str | None, ...]

    def act(self, k: int) -> str:
        """What strap `k` needs: "move" if recorded elsewhere, "look" if not recorded, else ""."""
        return "look" if self.was[k] is None else "move" if self.was[k] != self.to[k] else ""


def rows(
    rack: Rack, board: str, choices: Mapping[str, str], positions: Mapping[tuple[str, str], str]
) -> list[Row]:
    """What to draw for one board. Choices for all of its settings are needed."""
    found = []
    for key, setting in rack.boards[board].settings.items():
        choice = choices[f"{board}.{key}"]
        found.append(
            Row(
                key,
                setting.means,
                choice,
                setting.words,
                setting.of,
                setting.table()[choice],
                tuple(positions.get((board, s)) for s in setting.of),
            )
        )
    return found


def text_picture(items: Sequence[Row]) -> list[str]:
    """Each setting as two rows of positions; ● where the strap goes, ○ where it is now."""
    lines = []
    for row in items:
        width = max(4, *(len(s) for s in row.straps)) + 2
        label = max(len(w) for w in row.words)
        lines.append(f"{row.setting} = {row.choice}  ({row.means})")
        lines.append("  " + " " * label + "".join(s.center(width) for s in row.straps))
        for word in row.words:
            marks = []
            for to, was in zip(row.to, row.was, strict=True):
                mark = "●" if to == word else "○" if was == word else "·"
                marks.append(mark.center(width))
            lines.append(f"  {word:>{label}}" + "".join(marks).rstrip())
        arrows = [row.act(k) for k in range(len(row.straps))]
        if any(arrows):
            lines.append("  " + " " * label + "".join(a.center(width) for a in arrows).rstrip())
    return lines


def svg_picture(board: str, items: Sequence[Row]) -> str:
    """The same as a drawing: a filled block where the strap goes, an outline where it is now.

    What must move is in colour and says so; what nobody looked at is pale.
    """
    wide = _LEFT + _CELL * max((len(r.straps) for r in items), default=1) + 220
    tall = _TOP + sum(2 * _ROW + _GAP + 14 for _ in items) + 10
    out = [
        svg.el("rect", {"width": wide, "height": tall, "fill": "#fff"}),
        svg.text(10, 22, board, font_size=16, font_weight="bold"),
    ]
    y = _TOP
    for row in items:
        out.append(svg.text(10, y + 10, f"{row.setting} = {row.choice} — {row.means}"))
        y += 18
        for k, strap in enumerate(row.straps):
            x = _LEFT + k * _CELL
            act = row.act(k)
            fill = {"move": "#c2410c", "look": "#6b7280"}.get(act, "#1f2937")
            middle = {"text_anchor": "middle", "fill": fill}
            if act:
                out.append(svg.text(x + _CELL / 2, y + 23 + 2 * _ROW, act, font_size=11, **middle))
            out.append(svg.text(x + _CELL / 2, y + 10, strap, **middle))
            for j, word in enumerate(row.words):
                look: dict[str, float | int | str | None] = {"fill": "none", "stroke": "#9ca3af"}
                if row.to[k] == word:
                    look = {"fill": fill}
                elif row.was[k] == word:
                    look |= {"stroke": "#c2410c", "stroke-width": 2, "stroke-dasharray": "4 2"}
                top = y + 16 + j * _ROW
                place = {"x": x + 14, "y": top, "width": _CELL - 28, "height": _ROW - 8, "rx": 3}
                out.append(svg.el("rect", {**place, **look}))
        for j, word in enumerate(row.words):
            out.append(svg.text(_LEFT - 6, y + 30 + j * _ROW, word, text_anchor="end"))
        y += 2 * _ROW + _GAP - 4
    return svg.page(
        wide, tall, f"Settings of board {board}", out, font_family="sans-serif", font_size=13
    )
