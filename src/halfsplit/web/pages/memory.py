"""Memory: what a test printed is pasted here; its causes come back ranked, with positions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from nicegui import ui

from halfsplit.web.frame import address
from halfsplit.web.html import Choice, Tag, button, details, link, rows
from halfsplit.web.pieces.working import Worked, grid
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.racks import RackBench

LARGEST = 2_000_000  # characters of a pasted print


@machine_page("memory", "Memory", order=30, sorts=("boards",))
async def memory(view: View) -> None:
    """From what a memory test printed to the chip, line or rail, and which test to run next."""
    Tag("h1", "Memory")
    names = view.facts["memories"]
    if not names:
        Tag("p", "No board of this file has a memory.", "note")
        return
    MemoryPage(view, names)


class MemoryPage:
    """The print as pasted, and what it means."""

    def __init__(self, view: View, names: list[str]) -> None:
        self.view, self.board, self.cut = view, names[0], False
        with Tag("section", "", "box"):
            if len(names) > 1:
                boards = Choice([(n, n) for n in names], self.board, self._board, label="Board",
                                key="board")  # fmt: skip
                self.boards: Choice | None = boards
            else:
                self.boards = None
            self.text = ui.textarea(
                "What the test printed: its own messages, or address, written, read in columns",
                value=view.draft("memory"),
                on_change=lambda e: view.keep_draft(memory=str(e.value or "")),
            )
            self.text.classes("field tall").props("outlined stack-label spellcheck=false")
            self.text.props["data-key"] = "print"
            self.text.mark("print")
            with Tag("div", "", "choice"):
                button("What it means", self._judge, "act", data_key="judge").mark("judge")
                self.how = Choice(
                    [("whole", "It ran to its end"), ("cut", "It was cut short")],
                    "whole",
                    self._cut,
                    label="The print",
                    key="cut",
                )
        self.spot = Tag("div", "", "worked", role="status")
        with details("March tests, and what each finds", key="march"):
            Worked(view, self._march, _march, about="Tries every single fault on four cells.",
                   words="List them", key="march-work", at_once=False)  # fmt: skip

    def _board(self, name: str) -> None:
        self.board = name
        if self.boards is not None:
            self.boards.show(name)

    def _cut(self, how: str) -> None:
        self.cut = how == "cut"
        self.how.show(how)

    async def _march(self) -> dict[str, Any]:
        from halfsplit.bench.rack_sheets import march_sheet

        return await self.view.place.work(march_sheet, "what march tests find")

    async def _judge(self) -> None:
        from halfsplit.bench.rack_sheets import memory_sheet

        text = str(self.text.value or "")
        if not text.strip():
            self.view.alert(["Paste what the test printed first."])
            return
        if len(text) > LARGEST:
            self.view.alert(["That is over 2 MB: paste the failing lines only."])
            return

        def verb(bench: RackBench) -> dict[str, Any]:
            return memory_sheet(bench, text, board=self.board, cut=self.cut)

        found = await self.view.trying(self.view.place.rack(verb))
        if found is None or self.spot.is_deleted:
            return
        self.spot.clear()
        with self.spot:
            _told(self.view, found)


def _told(view: View, data: dict[str, Any]) -> None:
    with Tag("section", "", "next"):
        for line in data["advice"]:
            Tag("p", line, "note")
        for line in data["unread"]:
            Tag("p", f"Left out, {line}", "warn")
        for code in data["codes"]:
            Tag("p", f"{code['printed']}: {code['means']}")
            if code["straps"]:
                Tag("p", "Straps before chips, they cost nothing.", "note")
                link("Which straps", address("settings", view.place.key), "act plain")
        if data["causes"]:
            first = data["causes"][0]
            Tag("p", data["caution"], "hazard")
            Tag("p", f"Likeliest, {_share(first['share'])}", "eyebrow")
            Tag("h2", first["name"], "what")
            where = ", ".join(first["where"]) or "not on this board"
            Tag("p", where, "big").mark("where")
            Tag("p", f"Why: {first['why']}")
            Tag("p", f"Make sure: {first['confirm']}", "note")
        elif data["clear"]:
            where = " at an address of this board" if data["outside"] else " in this print"
            Tag("h2", f"Nothing failed{where}", "what")
        if data["march"]:
            m = data["march"]
            Tag("p", f"Run next: {m['name']}, {m['length']} accesses a word: {m['text']}", "do")
    if data["causes"][1:] or data["second"]:
        with Tag("section", "", "box"):
            Tag("h2", "Then")
            _causes(data["causes"][1:])
            if data["second"]:
                Tag("h3", "Of the failures the first does not explain")
                _causes(data["second"])
    if data["first"]:
        with Tag("section", "", "box"):
            Tag("h2", "First failures")
            lines = [
                [f["address"], f["difference"], ", ".join(f["bits"]), f["bank"]]
                for f in data["first"]
            ]
            grid(("Address", "Differs by", "Bits", "Bank"), lines)
    if data["outside"]:
        Tag("p", f"Outside this board, left out: {', '.join(data['outside'])}", "quiet-words")
    if data["unused"]:
        count = len(data["unused"])
        words = f"{count} line{'' if count == 1 else 's'} not understood: {data['unused'][0]}"
        Tag("p", words, "quiet-words")


def _causes(causes: list[dict[str, Any]]) -> None:
    rows(
        [
            f"{_share(c['share'])} {c['name']}: {', '.join(c['where']) or 'not on this board'}. "
            f"{c['why']}"
            for c in causes
        ],
        "causes",
        tag="ol",
    )


def _share(share: float) -> str:
    return "> 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def _march(data: dict[str, Any]) -> None:
    kinds = list(data["tests"][0]["finds"])
    lines = [
        [t["name"], f"{t['length']}N", *(f"{f['found']}/{f['of']}" for f in t["finds"].values())]
        for t in data["tests"]
    ]
    grid(("Test", "A word", *kinds), lines, label="March tests")
    rows([f"{t['name']}: {t['text']}" for t in data["tests"]], "tree")
    Tag("p", "^ upward, v downward, * either way; w0 write 0, r1 read and expect 1.", "quiet-words")
    Tag("p", "None of them waits: a pause test finds cells that do not hold.", "quiet-words")
