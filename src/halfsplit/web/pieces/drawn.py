"""Drawings and charts on a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

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


def chart(made: Chart) -> None:
    """A chart and what is to be said of it; the same figures as a table for who sees none."""
    from halfsplit.pictures.chart import chart_svg

    drawing(chart_svg(made, wide=9.6, high=4.6), made.title)
    if len(made.notes) <= NOTES:
        rows(made.notes, "chart-notes")
    else:
        with details(f"{len(made.notes)} notes", key="chart-notes"):
            rows(made.notes, "chart-notes")


def leans_map(view: View) -> None:
    """What leans on what, drawn once worked out."""
    about = "Found by experiment; minutes the first time on a supply that beats by itself."

    def draw(found: tuple[dict[str, Any], list[dict[str, Any]]]) -> None:
        from halfsplit.pictures.leansmap import leans_svg

        drawing(leans_svg(*found), "what leans on what")

    view.worked(_leans, draw, what="what leans on what", about=about)


def _leans(session: Session) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    from halfsplit.bench import views

    return views.leans_data(session)
