"""The shelf: every machine, where it was left, and what to do next on it."""

from __future__ import annotations

import asyncio
from contextlib import aclosing
from typing import Any
from urllib.parse import urlencode

from nicegui import Client, background_tasks, ui

from halfsplit.bench.shelf import Found, Listed, glimpse
from halfsplit.problems import HalfsplitError
from halfsplit.web.frame import address, frame
from halfsplit.web.house import House
from halfsplit.web.html import Markup, Tag, button, clock, drawn, field, joined, link, markup
from halfsplit.web.registry import pages_of
from halfsplit.web.view import words_of

SAYS = {
    "assembly": "",
    "boards": "a file of boards",
    "console": "a console file",
}


async def shelf_page(house: House, search: str, page: int) -> None:
    """All machines below the folder, a page at a time, the one last worked on first."""
    listed = await asyncio.to_thread(house.shelf.page, search, page)
    glimpses = await asyncio.to_thread(lambda: [glimpse(f) for f in listed.rows])
    with frame("Shelf"):
        Tag("h1", "On the shelf")
        _search(search)
        many = "machine" if listed.total == 1 else "machines"
        about = f"{listed.total} {many}" + (f" with “{search}”" if search else "")
        Tag("p", f"{about} under {house.shelf.folder}", "about")
        if not listed.rows:
            Tag(
                "p",
                "Nothing here yet. Type a machine in below, put an assembly file into this folder, "
                "or start the program in the folder that has them.",
                "empty",
            )
        with Tag("ul", "", "shelf"):
            places = [_row(found, row) for found, row in zip(listed.rows, glimpses, strict=True)]
        _pager(listed, search)
        _beginning(house)
    unread = [
        (found, spot)
        for found, row, spot in zip(listed.rows, glimpses, places, strict=True)
        if row["hazards"] is None and found.sort == "assembly"
    ]
    filling = _fill(house, ui.context.client, unread)
    background_tasks.create(filling, name="hazards of the shelf")


async def _fill(house: House, client: Client, unread: list[tuple[Found, ui.html]]) -> None:
    """Read the files nobody has read since they changed, and tell their hazards.

    Once the page stands, and in a process of its own: reading twenty files here would hold up every
    page of the server by seconds, and on a computer that never did it by many.
    """
    if not unread:
        return
    try:
        await client.connected(timeout=60.0)
    except TimeoutError:  # whoever asked is gone
        return
    spots = {found.key: spot for found, spot in unread}
    async with aclosing(house.ahead([found for found, _ in unread])) as rows:
        async for row in rows:
            spot = spots.pop(row["key"])
            if spot.is_deleted:
                return
            spot.content = _hazards(row)
    for spot in spots.values():
        if not spot.is_deleted:
            words = "Its hazards could not be read here; its own pages tell them."
            spot.content = markup("p", words, classes="trouble")


def _beginning(house: House) -> None:
    """A new machine: its name, and on to typing it in."""
    typed = {"name": ""}
    told = None

    async def go() -> None:
        assert told is not None
        try:
            key = await asyncio.to_thread(house.shelf.begin, typed["name"])
        except HalfsplitError as error:
            told.text = " ".join(words_of(error))
            return
        ui.navigate.to(address("type", key))

    with Tag("section", "", "box"):
        Tag("h2", "A new machine")
        with Tag("div", "", "form"):
            entry = field(
                "Its name",
                "",
                lambda text: typed.update(name=text),
                data_shortcut="n",
                data_says="a new machine, to be typed in",
                data_key="new-name",
            )
            entry.mark("new-name")
            entry.on("keydown.enter", go, args=[])
            button("Type it in", go, "act", data_key="new").mark("new")
        told = Tag("p", "", "trouble", role="alert")


def _search(search: str) -> None:
    typed = {"text": search}

    def go() -> None:
        ui.navigate.to("/?" + urlencode({"search": typed["text"]}))

    with Tag("div", "", "finder", role="search"):
        entry = field(
            "Find a machine",
            search,
            lambda text: typed.update(text=text),
            data_shortcut="f",
            data_says="find a machine",
        )
        entry.on("keydown.enter", go, args=[])
        button("Find", go, data_key="find")
        if search:
            link("All machines", "/", "act quiet")


def _row(found: Found, row: dict[str, Any]) -> ui.html:
    """One machine; returns where its hazards are told. Its links stay as they are while those are
    still read, so that a tap on one is never lost."""
    with Tag("li", "", f"card {row['state'].replace(' ', '-')}"):
        drawn(joined(_who(found, row), _left(row)), "parts")
        unread = row["hazards"] is None and found.sort == "assembly"
        reading = markup("p", "Hazards: reading the file …", classes="quiet-words")
        spot = drawn(reading if unread else _hazards(row), "hazards")
        drawn(_doors(found, row), "parts")
    return spot


def _who(found: Found, row: dict[str, Any]) -> Markup:
    pages = pages_of(found.sort)
    name = markup("span", row["name"])
    if pages:
        name = markup("a", row["name"], href=address(pages[0].slug, found.key), data_key=found.key)
    more = [row["machine"], found.key, SAYS[found.sort]]
    where = markup("p", " · ".join(m for m in more if m), classes="where")
    return markup("div", markup("h2", name), where, classes="who")


def _left(row: dict[str, Any]) -> Markup:
    found = [_pair("State", row["state"], f"state {row['state'].replace(' ', '-')}")]
    if row["condition"]:
        found.append(_pair("Now", row["condition"]))
    readings = f"{row['readings']} reading" + ("" if row["readings"] == 1 else "s")
    last = f", last entry {clock(row['at'])}" if row["at"] else ""
    found.append(_pair("Journal", readings + last))
    if row["open_items"]:
        found.append(_pair("Open items", "; ".join(row["open_items"]), "open-item"))
    if row["next"]:
        stale = f" (as of entry {row['next_at']}, more came since)" if row["stale"] else ""
        found.append(_pair("Next", row["next"] + stale, "todo"))
    if row["trouble"]:
        found.append(_pair("Trouble", row["trouble"], "trouble"))
    return markup("dl", *found, classes="left")


def _doors(found: Found, row: dict[str, Any]) -> Markup:
    pages = pages_of(found.sort)
    if not pages:
        return markup("p", f"No page yet: halfsplit resume {found.key}", classes="quiet-words")
    shown = [*pages[:3], *(p for p in pages[3:] if p.loose)]
    links = [
        markup(
            "a",
            page.label,
            classes="act" if place == 0 else "act plain",
            href=address(page.slug, found.key),
            aria_label=f"{page.label}: {row['name']}",
        )
        for place, page in enumerate(shown)
    ]
    return markup("p", *links, classes="doors")


def _hazards(row: dict[str, Any]) -> Markup:
    if row["hazards"]:
        return markup("ul", *(markup("li", h) for h in row["hazards"]), classes="hazard")
    return markup("p", row["trouble"], classes="trouble") if row["trouble"] else Markup()


def _pair(name: str, value: str, classes: str = "") -> Markup:
    return markup("div", markup("dt", name), markup("dd", value, classes=classes))


def _pager(listed: Listed, search: str) -> None:
    if listed.pages == 1:
        return

    def at(page: int) -> str:
        return "/?" + urlencode({"search": search, "page": page})

    with Tag("nav", "", "pager", aria_label="Pages of the shelf"):
        if listed.page > 1:
            link("Page before", at(listed.page - 1), "act")
        Tag("span", f"Page {listed.page} of {listed.pages}")
        if listed.page < listed.pages:
            link("Page after", at(listed.page + 1), "act")
