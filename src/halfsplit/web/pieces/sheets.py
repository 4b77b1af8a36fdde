"""Buttons that make something for paper, and the links to it once it is made."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

from halfsplit.web.html import Tag, button
from halfsplit.web.pieces.working import opener
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

Made = list[tuple[str, str, bytes]]  # kind, words of its link, bytes
WORDS = {"report": "the report", "label": "the label", "worksheet": "the worksheet"}


def made(session: Session, what: str, quick: bool) -> Made:
    """A report, label or worksheet as a page and as PDF."""
    from halfsplit.bench.bringing import plain
    from halfsplit.report import compose, page, paper
    from halfsplit.report.gather import gather

    data = plain(gather(session, quick=quick, drawn=what == "report"))
    if what == "label":
        said = compose.label(data)
        return [
            ("html", "Open the label", page.label_html(said).encode()),
            ("pdf", "Save as PDF", paper.label_pdf(said, data["timestamp"])),
        ]
    said = compose.worksheet(data) if what == "worksheet" else compose.document(data)
    return [
        ("html", f"Open {WORDS[what]}", page.html(said).encode()),
        ("pdf", "Save as PDF", paper.pdf(said, data["timestamp"])),
    ]


def sheet_button(view: View, what: str, words: str, *, quick: bool = True) -> None:
    """A button that makes a sheet of the machine, then the links to open and to save it."""
    maker(view, words, lambda: _of(view, what, quick), f"{what}{'' if quick else '-full'}")


async def _of(view: View, what: str, quick: bool) -> Made:
    found: Any = await view.place.ask(lambda s: made(s, what, quick), f"{WORDS[what]}")
    return list(found)


def maker(view: View, words: str, make: Callable[[], Awaitable[Made]], name: str) -> None:
    """A button that makes something for paper, then the links to open and to save it."""
    with Tag("div", "", "choice maker"):

        async def go() -> None:
            found = await view.trying(make())
            if found is None or spot.is_deleted:
                return
            title = f"{view.facts['name']} {name.removesuffix('-full')}"
            spot.clear()
            with spot:
                for kind, said, data in found:
                    where = view.prints.add(data, kind, title)
                    opener(view, where, said, save=kind != "html").mark(f"{name}-{kind}")

        button(words, go, "act", data_key=f"make-{name}").mark(f"make-{name}")
        spot = Tag("span", "", "choice", role="status")
