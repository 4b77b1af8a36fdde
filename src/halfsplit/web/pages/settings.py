"""Straps and switches: as found, as wanted, what to move, and what disagrees between boards."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from halfsplit.web.html import Tag, button, rows
from halfsplit.web.pieces.undo import undo_button
from halfsplit.web.pieces.working import Fields, Worked, drawing
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.racks import RackBench


@machine_page("settings", "Settings", order=20, sorts=("boards",))
async def settings(view: View) -> None:
    """Straps as found and as wanted, what to move, what disagrees, and what a message blames."""
    Tag("h1", "Settings")
    SettingsPage(view)


class SettingsPage:
    """The sheet, for the wanted configuration of the file or with something else wanted."""

    def __init__(self, view: View) -> None:
        self.view = view
        with Tag("section", "", "box"), Tag("div", "", "form"):
            self.code = Fields(view, "code", {"shown": "Message or lamps shown, such as E4"})
            self.code.enter("shown", self._explain)
            button("What can be behind it", self._explain, "act", data_key="code").mark("code")
        self.blamed = Tag("div", "", "blamed", role="status")
        with Tag("section", "", "box"), Tag("div", "", "form"):
            label = "Wanted otherwise than in the file: CP1.map=15-bit, memory=0000..7FFF"
            self.want = Fields(view, "want", {"what": label})
            self.want.enter("what", self._again)
            button("Work it out", self._again, data_key="want").mark("want")
            undo_button(view)
        self.shown: Worked[dict[str, Any]] = Worked(view, self._ask, self._draw)
        self._last = view.ledger["last"]
        view.place.changed.subscribe(self._told)

    def _told(self) -> None:
        from nicegui import background_tasks

        if self.shown.box.is_deleted:
            self.view.place.changed.unsubscribe(self._told)
        elif self._last != self.view.ledger["last"]:
            self._last = self.view.ledger["last"]
            background_tasks.create(self.shown.again(), name="settings again")

    async def _again(self) -> None:
        await self.shown.again()

    async def _ask(self) -> dict[str, Any]:
        from halfsplit.bench.rack_sheets import settings_sheet, settings_svg

        want = [w.strip() for w in self.want.text("what").split(",") if w.strip()]

        def verb(bench: RackBench) -> dict[str, Any]:
            return settings_sheet(bench, want) | {"svg": settings_svg(bench, want)}

        return await self.view.place.rack(verb)

    async def _explain(self) -> None:
        from halfsplit.bench.rack_sheets import code_sheet

        text = self.code.text("shown")
        if not text:
            self.view.alert(["Type the message or the lamps first."])
            return
        verb = self.view.place.rack(lambda bench: code_sheet(bench, text))
        found = await self.view.trying(verb)
        if found is None or self.blamed.is_deleted:
            return
        self.blamed.clear()
        with self.blamed, Tag("section", "", "next"):
            Tag("h2", found["means"], "what")
            for line in found["order"]:
                Tag("p", line)
            with Tag("ol", "", "causes"):
                for b in found["settings"]:
                    with Tag("li"):
                        straps = "; ".join(b["straps"]) or "as recorded"
                        Tag("strong", straps, "big").mark("blamed")
                        Tag("p", f"{b['setting']}, {b['means']}")
                        Tag("p", b["why"], "quiet-words")
            for name in found["look"]:
                Tag("p", f"Look at {name}.")

    def _draw(self, sheet: dict[str, Any]) -> None:
        for odd in sheet["at_odds"]:
            Tag("p", f"{odd['kind']}: {odd['words']}", "hazard")
        if sheet["move"]:
            with Tag("section", "", "next"):
                Tag("p", "To move", "eyebrow")
                Tag("p", sheet["caution"], "hazard")
                with Tag("ul", "", "moves"):
                    for m in sheet["move"]:
                        with Tag("li", "", "line"):
                            Tag("strong", m["words"], "big")
                            item = f"{m['board']}.{m['strap']}={m['to']}"
                            made = button(f"{m['strap']} moved",
                                          partial(self._record, item, True), "act",
                                          data_key=f"moved-{item}")  # fmt: skip
                            made.mark(f"moved-{m['board']}.{m['strap']}")
        elif not sheet["look"] and not sheet["left"]:
            Tag("p", "Every strap is as wanted, and the boards agree.", "said")
        if sheet["look"]:
            count = len(sheet["look"])
            Tag("p", f"{count} straps were not looked at yet: tap how each was found.", "note")
        rows([f"Still at odds: {odd['words']}" for odd in sheet["left"]], "hazard")
        rows([f"Would agree as well, changing: {', '.join(o)}" for o in sheet["others"]])
        for board in sheet["boards"]:
            self._board(board, sheet["svg"].get(board["board"], ""))

    def _board(self, board: dict[str, Any], svg: str) -> None:
        with Tag("section", "", "box board"):
            Tag("h2", board["board"])
            with Tag("div", "", "straps"):
                if svg:
                    drawing(svg, f"Straps of {board['board']}")
                with Tag("div"):
                    for s in board["settings"]:
                        self._setting(board["board"], s)

    def _setting(self, board: str, s: dict[str, Any]) -> None:
        with Tag("div", "", "setting"):
            now = s["now"] if s["now"] is not None else "not known"
            now += "" if s["recorded"] or s["now"] is None else " (rest as delivered)"
            Tag("h3", f"{s['setting']}: {s['means']}")
            Tag("p", f"Now {now}, wanted {s['wanted']}",
                "behind" if s["changed"] else "quiet-words")  # fmt: skip
            for p in s["positions"]:
                self._strap(board, p, s["words"])

    def _strap(self, board: str, p: dict[str, Any], words: list[str]) -> None:
        with Tag("div", "", "line strap"):
            found = f", found {p['found']}" if p["found"] and p["found"] != p["now"] else ""
            now = p["now"] or "not looked at"
            Tag("span", f"{p['strap']}: {now}{found}; wanted {p['to']}")
            with Tag("div", "", "choice", role="group", aria_label=f"{p['strap']} is"):
                for word in words:
                    item = f"{board}.{p['strap']}={word}"
                    made = button(
                        f"{word}",
                        partial(self._record, item, False),
                        aria_pressed="true" if p["now"] == word else "false",
                        aria_label=f"{board} {p['strap']} found {word}",
                        data_key=f"found-{item}",
                    )
                    made.mark(f"found-{item}")

    async def _record(self, item: str, moved: bool) -> None:
        verb = self.view.place.rack(lambda bench: bench.record_straps([item], moved=moved))
        await self.view.trying(verb)
