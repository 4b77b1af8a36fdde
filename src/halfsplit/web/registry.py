"""The pages of a machine, each registered by the module that draws it.

To add a page, put one module into `pages` with one decorated function:

    @machine_page("pins", "Pins", order=40)
    async def pins(view: View) -> None:
        \"\"\"Where every net is on the drawing.\"\"\"
        Tag("h1", "Pins")
        view.live(lambda: view.place.desk.ledger["entries"], draw_entries)

A page that belongs to another names it, ``under="plan"``: it is then linked below the header, on
that page and on its fellows.

It is then served at ``/pins/<machine>``, linked from every page of every machine of its sorts, and
tested for its frame, its headings and its contrast like the others.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from halfsplit.boards.which import Sort

if TYPE_CHECKING:
    from halfsplit.web.view import View

Build = Callable[["View"], Awaitable[None]]


@dataclass(frozen=True)
class Page:
    """A page of a machine: where it is served, what its link says, and who draws it."""

    slug: str
    label: str
    build: Build
    order: int
    sorts: tuple[Sort, ...]
    about: str
    under: str = ""
    loose: bool = False  # whether it is drawn of a file with errors too


PAGES: dict[str, Page] = {}


def machine_page(
    slug: str,
    label: str,
    *,
    order: int,
    sorts: tuple[Sort, ...] = ("assembly",),
    under: str = "",
    loose: bool = False,
) -> Callable[[Build], Build]:
    """Register a page of every machine of some sorts; the lowest `order` is opened by the shelf.

    A `loose` one is drawn whether or not the machine could be opened, and must ask that itself.
    """

    def register(build: Build) -> Build:
        about = (build.__doc__ or "").strip().splitlines()[0]
        PAGES[slug] = Page(slug, label, build, order, sorts, about, under, loose)
        return build

    return register


def pages_of(sort: Sort) -> list[Page]:
    """Pages of a sort of machine that stand in the header, in order."""
    found = [p for p in PAGES.values() if sort in p.sorts and not p.under]
    return sorted(found, key=lambda p: p.order)


def fellows(page: Page) -> list[Page]:
    """A page's head and all below it, in order; empty for one that stands alone."""
    head = page.under or page.slug
    below = sorted((p for p in PAGES.values() if p.under == head), key=lambda p: p.order)
    return [PAGES[head], *below] if below else []


def load_pages() -> None:
    """Import every module of `pages`, so that each registers itself."""
    from halfsplit.web import pages

    for found in pkgutil.iter_modules(pages.__path__):
        importlib.import_module(f"{pages.__name__}.{found.name}")
