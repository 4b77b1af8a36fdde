"""A picture to zoom and point at, with marks on it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from nicegui import events, ui

from halfsplit.web.frame import ASSETS
from halfsplit.web.html import Tag

SAYS = {"red": "red probe", "black": "black probe", "look": "look here", "here": "here"}


@dataclass(frozen=True)
class Mark:
    """A mark: shares of width and height, its words, and `probe` (a key of `SAYS`), told by its
    shape too."""

    x: float
    y: float
    words: tuple[str, ...]
    probe: str


def sight(
    source: str,
    whole: str,
    size: tuple[int, int],
    name: str,
    point: Callable[[float, float], Any],
    start: tuple[float, float] | None = None,
) -> Tag:
    """Draw the picture; returns where marks go (see :func:`marks`). `point` gets the shares of a
    place tapped, or brought to the middle and told by Enter."""

    async def pointed(event: events.GenericEventArguments) -> None:
        spot = event.args.get("detail") or {}
        try:
            x, y = float(spot["x"]), float(spot["y"])
        except (KeyError, TypeError, ValueError):
            return
        if 0 <= x <= 1 and 0 <= y <= 1:
            await point(x, y)

    with Tag(
        "div",
        "",
        "sight",
        data_sight="",
        data_start=None if start is None else f"{start[0]},{start[1]}",
        data_key="sight",
        tabindex="0",
        role="application",
        aria_label=f"{name}: arrows move it, plus and minus zoom, Enter tells the middle",
    ) as box:
        with Tag("div", "", "sheet-of", data_w=size[0], data_h=size[1]):
            image = ui.element("img")
            image.props["src"], image.props["alt"] = source, name
            image.props["data-whole"], image.props["draggable"] = whole, "false"
            spots = Tag("div", "", "spots")
        Tag("div", "", "cross", aria_hidden="true")
    box.on("point", pointed, args=["detail"])
    with Tag("div", "", "choice", role="group", aria_label="Zoom"):
        for how, words in (("in", "Larger"), ("out", "Smaller"), ("whole", "Whole picture")):
            Tag("button", words, type="button", data_zoom=how, data_key=f"zoom-{how}")
    return spots


def marks(found: Sequence[Mark]) -> None:
    """Draw marks where :func:`sight` said."""
    for mark in found:
        left = " left" if mark.x > 0.7 else ""
        with Tag("div", "", f"pin {mark.probe}{left}") as made:
            Tag("span", SAYS[mark.probe], "unseen")
            with Tag("span", "", "plate"):
                for line in mark.words:
                    Tag("span", line)
        made.style(f"left: {100 * mark.x:.3f}%; top: {100 * mark.y:.3f}%")


def scripts() -> None:
    """What pictures need in the browser; call once in a page that has one."""
    ui.add_head_html(
        f'<link rel="stylesheet" href="{ASSETS}/sight.css">'
        f'<script src="{ASSETS}/sight.js"></script>'
    )
