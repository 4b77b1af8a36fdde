"""Typing a machine in beside its scan: a line a part, on disk at once, the file always right."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING, Any

from nicegui import ui

from halfsplit.problems import HalfsplitError
from halfsplit.web.frame import ASSETS, address
from halfsplit.web.html import Choice, Tag, button, details, link, rows
from halfsplit.web.pieces.sight import Mark, marks, scripts, sight
from halfsplit.web.pieces.typed_form import TypedForm
from halfsplit.web.pinboard import pinboard
from halfsplit.web.registry import machine_page
from halfsplit.web.sending import file_field
from halfsplit.web.typing_desk import typing_desk
from halfsplit.web.view import View, words_of

if TYPE_CHECKING:
    from halfsplit.bench.pins_file import Pin

TAKEN = "image/jpeg,image/png,image/webp,image/tiff"
WATCH = 1.0  # s between two looks at the file on disk
MOST_LISTED = 12  # problems shown before the fold


@machine_page("type", "Type in", order=95, loose=True)
async def type_in(view: View) -> None:
    """The circuit, part by part, from the drawing into the file."""
    page = TypingPage(view)
    page.state = await asyncio.to_thread(page.desk.state)
    page.seen_stamp = await asyncio.to_thread(page.desk.stamp)
    try:
        await page.board.look()
    except HalfsplitError as error:
        page.trouble = words_of(error)
    page.draw()


class TypingPage:
    """One device's look at a file being typed."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.desk = typing_desk(view.place.file)
        self.board = pinboard(view.place)
        self.state: dict[str, Any] = {}
        self.seen_stamp: Any = ()
        self.trouble: list[str] = []
        self.picture = ""
        self._alone = False

    def draw(self) -> None:
        """The whole page."""
        scripts()
        ui.add_head_html(
            f'<link rel="stylesheet" href="{ASSETS}/typing.css">'
            f'<script src="{ASSETS}/typing.js"></script>'
        )
        self._alone = not self._pictures()
        Tag("h1", f"Type in: {self.state['name']}")
        with Tag("div", "", "columns even with-scan" if not self._alone else "with-scan"):
            if not self._alone:
                with Tag("div", "", "first"), Tag("section", "", "box", aria_label="The scan"):
                    self._stage()
            with Tag("div", "", "second"):
                self.form = TypedForm(self.view, self.desk, self._written)
                with self.form.tools:
                    self._tools()
                self.view.live(lambda: self.state["wrong"], self._wrong)
                self.view.live(self._listed, self._rows, "section", "box")
                self.view.live(lambda: (self.state["not_yet"], self.state["loads"]), self._not_yet)
                self._sending()
        self.form.lists(self.state["nets"])
        ui.timer(WATCH, self._watch)

    def _tools(self) -> None:
        for name, words, verb, says in (
            ("undo", "Undo", self.undo, "take back what was written last"),
            ("delete", "Delete this entry", self.delete, "delete the entry named in the field"),
        ):
            made = button(words, verb, "", data_key=name, id=name, data_shortcut=name[0])
            made.props["data-says"] = says
            made.mark(name)

    # -- the scan ----------------------------------------------------------------------------------

    def _pictures(self) -> list[tuple[str, str, int, int]]:
        held = self.board.pins
        found = held.pictures if held else {}
        return [(n, p.title or n, p.width, p.height) for n, p in found.items()]

    def _stage(self) -> None:
        pictures = self._pictures()
        self.picture = self.picture or pictures[0][0]
        name, title, wide, high = next(p for p in pictures if p[0] == self.picture)
        if len(pictures) > 1:
            self.choice = Choice(
                [(n, t) for n, t, *_ in pictures], name, self._turn, label="Picture", key="of"
            )
        self.stage = Tag("div")
        with self.stage:
            self._sheet(name, title, (wide, high))

    def _sheet(self, name: str, title: str, size: tuple[int, int]) -> None:
        source = partial(self.board.source, name)
        spots = sight(source(whole=False), source(whole=True), size, title, self._pointed)
        with spots:
            marks([Mark(p.x, p.y, (_words(p),), "look") for p in self._pins(name)])

    def _pins(self, name: str) -> list[Pin]:
        held = self.board.pins
        return held.on(name) if held else []

    def _turn(self, name: str) -> None:
        self.picture = name
        self.choice.show(name)
        self.stage.clear()
        with self.stage:
            _, title, wide, high = next(p for p in self._pictures() if p[0] == name)
            self._sheet(name, title, (wide, high))

    async def _pointed(self, x: float, y: float) -> None:
        """A tap on the scan: what is pinned nearest is shown in the fields, if it is an entry."""
        near = [p for p in self._pins(self.picture) if (p.x - x) ** 2 + (p.y - y) ** 2 < 0.03**2]
        named = [p for p in near if p.part is not None]
        if named:
            await self.form.show(named[0].name)

    def _sending(self) -> None:
        with Tag("section", "", "box"):
            Tag("h2", "A scan to type from" if self._alone else "More pictures")
            file_field(self.view, "Scans of the drawing", TAKEN, self.take, key="photo")
            Tag("p", "JPEG, PNG, WebP or TIFF up to 40 MB.", "quiet-words")

    async def take(self, name: str, data: bytes) -> None:
        """A picture was sent: it stands beside the line from now on."""
        from halfsplit.bench.pinning import add_picture

        words = (data, name.rpartition(".")[0])
        if await self.view.trying(self.board.do(add_picture, *words)) is not None:
            self.view.go(address("type", self.view.place.key))

    # -- the file ----------------------------------------------------------------------------------

    def _wrong(self, told: list[str]) -> None:
        if not told and not self.trouble:
            return
        with Tag("section", "", "box"):
            Tag("h2", "Wrong in the file")
            rows([*told[:MOST_LISTED], *self.trouble], "trouble t-list-of")
            if len(told) > MOST_LISTED:
                Tag("p", f"and {len(told) - MOST_LISTED} more", "quiet-words")

    def _not_yet(self, told: tuple[list[str], bool]) -> None:
        listed, loads = told
        if not self.state["readable"]:
            return
        with Tag("section", "", "box"):
            if not listed:
                Tag("h2", "Nothing is missing" if loads else "Nothing else is missing")
                if loads:
                    Tag(
                        "p", "The file can be used: readings, suspects and checks are on its pages."
                    )
                    link("To the bench", address("bench", self.view.place.key), "act")
                return
            Tag("h2", f"Not yet: {len(listed)}")
            Tag("p", "Loose ends of a circuit half typed; the next parts end most.", "quiet-words")
            with details("Which", key="not-yet"):
                rows(listed[: 10 * MOST_LISTED], "t-list-of")

    def _listed(self) -> tuple[list[list[Any]], int, dict[str, list[str]]]:
        return self.state["rows"], self.state["parts"], self.state["others"]

    def _rows(self, shown: tuple[list[list[Any]], int, dict[str, list[str]]]) -> None:
        listed, count, others = shown
        if not self.state["readable"]:
            Tag("h2", "The file cannot be read as it stands")
            return
        last = ", the last of them" if count > len(listed) else ""
        Tag("h2", f"Parts in the file: {count or 'none yet'}{last}")
        if not listed:
            Tag("p", "Begin at the source: J1 mains 230V, or S1 supply 12V ohms=0.2R.")
        with Tag("ul", "", "t-rows"):
            for _, name, words, ends, line in listed:
                with Tag("li"):
                    made = button("", partial(self.form.show, name), data_key=f"row-{name}")
                    made.props["title"] = f"line {line}"
                    with made:
                        Tag("b", name)
                        Tag("span", words)
                        Tag("span", " · ".join(ends), "nets")
        for section, names in others.items():
            Tag("p", f"{section}: {', '.join(names)}", "quiet-words")

    async def _watch(self) -> None:
        """Look whether somebody else changed the file."""
        now, ours = await asyncio.to_thread(self.desk.seen)  # ours: written here or on another page
        if now == self.seen_stamp:
            return
        before = self.state
        self.seen_stamp = now
        await self._again()
        if not ours:
            self.form.said.text = changed_words(before, self.state)

    async def _written(self) -> None:
        self.seen_stamp = self.desk.own or self.seen_stamp  # what came after is somebody else's
        await self._again()

    async def _again(self) -> None:
        self.state = await asyncio.to_thread(self.desk.state)
        if not self.form.box.is_deleted:
            self.form.lists(self.state["nets"])
        self.view.place.changed.emit()

    async def undo(self) -> None:
        """Take back what was written last."""
        said = await self.view.trying(asyncio.to_thread(self.desk.undo))
        if said is not None:
            self.form.said.text = f"{said[0].upper()}{said[1:]}."
        await self._written()

    async def delete(self) -> None:
        """Take the entry whose name is typed out of the file."""
        name = self.form.name
        said = await self.view.trying(asyncio.to_thread(self.desk.remove, name))
        if said is None:
            return
        self.form.clear(name)
        self.form.said.text = f"{said}. Undo puts it back."
        await self._written()


def changed_words(before: dict[str, Any], now: dict[str, Any]) -> str:
    """What somebody else did to the file, in a few words."""
    if not now["readable"]:
        changed = "The file was changed elsewhere and cannot be read now"
        return f"{changed}; nothing is written until it can."
    old, new = set(before["names"]), set(now["names"])
    came = [n for n in now["names"] if n not in old]
    went = [n for n in before["names"] if n not in new]
    parts = [f"new: {', '.join(came[:6])}"] if came else []
    parts += [f"gone: {', '.join(went[:6])}"] if went else []
    told = f" ({'; '.join(parts)})" if parts else ""
    return f"The file was changed elsewhere and has been read again{told}. It counts."


def _words(pin: Pin) -> str:
    return f"{pin.name} {pin.terminal}" if pin.terminal else pin.name
