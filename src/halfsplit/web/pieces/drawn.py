"""Drawings and charts on a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from nicegui import ui

from halfsplit.web.html import Tag, details, rows
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session
    from halfsplit.pictures.series import Chart

NOTES = 8  # told beside a chart; more of them fold


def drawing(picture: str, name: str) -> Tag:
    """An SVG made by this program, every word in it escaped, wide ones to be scrolled."""
    with Tag("div", "", "drawing", tabindex="0", role="group", aria_label=name) as box:
        ui.html(picture, sanitize=False)
    return box


@dataclass(frozen=True)
class Drawn:
    """A chart with its picture, drawn where no page waits for it."""

    chart: Chart
    svg: str


def draw_chart(made: Chart) -> Drawn:
    """Draw a chart; takes a second the first time, so this is for the thinker."""
    from halfsplit.pictures.chart import chart_svg

    return Drawn(made, chart_svg(made, wide=7.4, high=3.9))


def chart(found: Drawn | str) -> None:
    """A chart and what is to be said of it; or why there is none."""
    if isinstance(found, str):
        for line in found.splitlines():
            Tag("p", f"No picture: {line}", "note")
        return
    made = found.chart
    drawing(found.svg, made.title)
    if len(made.notes) <= NOTES:
        rows(made.notes, "chart-notes")
    else:
        with details(f"{len(made.notes)} notes", key="chart-notes"):
            rows(made.notes, "chart-notes")


def leans_map(view: View) -> None:
    """What leans on what, drawn once worked out."""
    about = "Found by experiment; minutes the first time on a supply that beats by itself."
    view.worked(map_svg, draw_map, what="what leans on what", about=about)


def map_svg(session: Session) -> str:
    """The map as a drawing, made by the thinker."""
    from halfsplit.bench import views
    from halfsplit.pictures.leansmap import leans_svg

    return leans_svg(*views.leans_data(session))


def draw_map(picture: str) -> None:
    """The map on the page."""
    drawing(picture, "what leans on what")
