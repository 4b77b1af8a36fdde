"""What every page has around it: name, links, theme, help, connection banner, what went wrong."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import quote

from nicegui import ui

from halfsplit import __version__
from halfsplit.web.html import Tag, button, link
from halfsplit.web.registry import Page, fellows, pages_of
from halfsplit.web.view import View

ASSETS = f"/static/{__version__}"


def address(page: str, key: str) -> str:
    """Path of a page of a machine."""
    return f"/{page}/{quote(key)}"


@contextmanager
def frame(title: str, view: View | None = None, here: Page | None = None) -> Iterator[None]:
    """Draw header, banner and main part; use as a context manager around the page's own part."""
    ui.page_title(f"{title} – Halfsplit")
    ui.add_head_html(
        f'<link rel="stylesheet" href="{ASSETS}/bench.css">'
        f'<script src="{ASSETS}/bench.js"></script>'
    )
    link("Go to the main part", "#main", "skip")
    with Tag("div", "", "banner", id="connection", role="alert", hidden=True):
        Tag("strong", "No connection to the program. ")
        Tag("span", "What you type stays in its field; it goes on by itself once it is back.")
    with Tag("header", "", "top"):
        with Tag("div", "", "brand"):
            link(
                "Halfsplit",
                "/",
                "home",
                aria_label="Halfsplit: the shelf",
                data_shortcut="h",
                data_says="the shelf, all machines",
            )
            if view is not None:
                Tag("span", view.facts.get("name", view.place.file.stem), "machine")
        if view is not None and here is not None:
            with Tag("nav", aria_label="Pages of this machine"):
                for number, page in enumerate(pages_of(view.place.sort), 1):
                    current = "page" if page.slug == (here.under or here.slug) else None
                    link(
                        page.label,
                        address(page.slug, view.place.key),
                        aria_current=current,
                        title=page.about,
                        data_shortcut=str(number) if number < 10 else None,
                        data_says=f"the page “{page.label}”",
                    )
        with Tag("div", "", "tools"):
            Tag(
                "button",
                "Aloud",
                "quiet",
                id="speech",
                type="button",
                aria_pressed="false",
                aria_label="Say stored readings aloud",
                title="Reads stored readings back by a voice of this computer, if it has one",
            )
            Tag(
                "button",
                "Dark",
                "quiet",
                id="theme",
                type="button",
                data_shortcut="t",
                data_says="light or dark",
            )
            Tag(
                "button",
                "Keys",
                "quiet",
                id="keys",
                type="button",
                data_shortcut="?",
                data_says="this list",
                aria_haspopup="dialog",
            )
    if view is not None:
        view.alerts()
        _busy(view)
    if view is not None and here is not None:
        _fellows(view, here)
    with Tag("main", "", "page", id="main", tabindex="-1"):
        yield


def _fellows(view: View, here: Page) -> None:
    """The pages that belong together with this one."""
    found = fellows(here)
    if not found:
        return
    with Tag("nav", "", "fellows", aria_label=f"Pages of {found[0].label}"):
        for page in found:
            current = "page" if page.slug == here.slug else None
            where = address(page.slug, view.place.key)
            link(page.label, where, aria_current=current, title=page.about)


def _busy(view: View) -> None:
    """What is being worked out, with the time left and a way to stop it."""
    desk = view.place.desk

    def draw(state: tuple[str, int, int, str] | None) -> None:
        if state is None:
            return
        what, done, total, left = state
        Tag("span", f"{what[0].upper()}{what[1:]}{left}", "what")
        if total:
            Tag("progress", value=done, max=total, aria_label=what)
        button("Stop", desk.stop, "quiet", data_key="stop")

    def state() -> tuple[str, int, int, str] | None:
        busy = desk.busy
        if busy is None:
            return None
        left = ""
        if busy.done < busy.total:
            left = f": {busy.done} of {busy.total}"
        if busy.seconds_left is not None and busy.seconds_left > 1.5:
            left += f", about {_span(busy.seconds_left)} left"
        return busy.what, busy.done, busy.total, left

    view.live(state, draw, classes="busy", aria_live="off")


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"
