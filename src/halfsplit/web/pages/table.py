"""Parts as a table: pasted or sent in with its columns matched, and out as CSV."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING

from nicegui import events, ui

from halfsplit.problems import HalfsplitError, Problem
from halfsplit.web.frame import ASSETS, address
from halfsplit.web.html import Tag, button, link, rows
from halfsplit.web.pieces.sight import scripts
from halfsplit.web.registry import machine_page
from halfsplit.web.sending import file_field
from halfsplit.web.typing_desk import typing_desk
from halfsplit.web.view import View, words_of

if TYPE_CHECKING:
    from halfsplit.bench.tables import Looked

MOST_PASTED = 400_000  # characters; a larger table comes as a file
MOST_SHOWN = 200  # rows of a look
TAKEN = ".csv,.tsv,.txt,.xlsx,text/csv,text/tab-separated-values,text/plain"


@machine_page("table", "Table", order=96, under="type", loose=True)
async def table(view: View) -> None:
    """Parts from a spreadsheet or a parts list, and back."""
    scripts()
    ui.add_head_html(f'<link rel="stylesheet" href="{ASSETS}/typing.css">')
    Tag("h1", "Table")
    TablePage(view)


class TablePage:
    """A table being looked at before it is written."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.desk = typing_desk(view.place.file)
        self.data: bytes | str = ""
        self.header: bool | None = None
        self.columns: dict[int, str] = {}
        self.comma = False
        self.looked: Looked | None = None
        with Tag("section", "", "box"):
            Tag("h2", "A table in")
            Tag(
                "p",
                "Cells copied from a spreadsheet, a CSV file or a workbook: one row a part, with "
                "a column of references. A part in the file already is changed where its cells say "
                "so.",
            )
            self.text = ui.textarea("Cells pasted here")
            self.text.classes("field tall").props("outlined stack-label spellcheck=false")
            self.text.props(f"maxlength={MOST_PASTED} data-key=cells").mark("cells")
            with Tag("div", "", "form"):
                button("Look at it", self.pasted, "act", data_key="look").mark("look")
            file_field(
                view,
                "Or a file: CSV, text with tabs, or a workbook (xlsx)",
                TAKEN,
                self.sent,
                key="table-file",
            )
        self.told = Tag("p", "", "t-wrong", role="alert").mark("told")
        self.said = Tag("p", "", "said", id="said", role="status").mark("said")
        self.box = Tag("div", "", "worked")
        with Tag("section", "", "box"):
            Tag("h2", "The parts out")
            Tag(
                "p",
                "Every part of the file, those of patterns too, under a heading for each field. "
                "Cells that a spreadsheet would run as a formula stand behind a quote, which is "
                "taken off again here.",
            )
            self.out = Tag("div", "", "form")
            with self.out:
                button("Make the table", self.make, "act", data_key="make").mark("make")

    async def pasted(self) -> None:
        """Look at what was pasted."""
        await self._first(str(self.text.value or ""))

    async def sent(self, name: str, data: bytes) -> None:
        """Look at a file that was sent."""
        del name
        await self._first(data)

    async def _first(self, data: bytes | str) -> None:
        self.data, self.header, self.columns, self.comma = data, None, {}, False
        self.said.text = ""
        await self.look()

    async def look(self) -> None:
        """Look at the table by what was said of its columns."""
        from halfsplit.bench.tables import look

        self.told.text = ""
        before = self.looked
        try:
            self.looked = await asyncio.to_thread(
                look,
                self.desk,
                self.data,
                header=self.header,
                columns=self.columns,
                comma=self.comma,
            )
        except HalfsplitError as error:
            self.told.text = " ".join(words_of(error))
            if "references" in str(error) and not self.columns:
                await self._ask_for_references()
            elif self.columns and before is not None:
                self.looked = before  # what was chosen last will not do; the rest stays
            else:
                self.looked = None
                self.box.clear()
            return
        self._draw(self.looked)

    async def _ask_for_references(self) -> None:
        """No column looks like references: the first is taken to be it, and may be changed."""
        told = self.told.text
        self.columns = {0: "reference"}
        await self.look()
        self.told.text = f"{told} The first column is taken for it; change that below if it is not."

    def _draw(self, looked: Looked) -> None:
        self.box.clear()
        with self.box, Tag("section", "", "box"):
            Tag("h2", "What the columns are")
            self._columns(looked)
            rows(looked.table.notes, "hazard")
            self._choices(looked)
            Tag("h2", "What would be written")
            counts = [(looked.count(w), w) for w in ("new", "changed", "same", "wrong")]
            Tag("p", ", ".join(f"{n} {w}" for n, w in counts if n)).mark("counts")
            self._rows(looked)
            self._write(looked)

    def _columns(self, looked: Looked) -> None:
        from halfsplit.assembly.table_match import meanings

        known, first = meanings(), 1 if looked.matching.header else 0
        with Tag("div", "", "t-columns"):
            for k, meaning in enumerate(looked.matching.columns):
                cells = [r[k] for r in looked.table.rows[first : first + 3] if r[k]]
                head = looked.table.rows[0][k] if first else ""
                with Tag("label"):
                    Tag("span", f"{head or f'Column {k + 1}'}: {', '.join(cells)[:60]}")
                    listed = known if meaning in known else [*known, meaning]
                    select = Tag("select", data_key=f"column-{k}").mark(f"column-{k}")
                    with select:
                        for name in listed:
                            chosen = True if name == meaning else None
                            Tag("option", name, value=name, selected=chosen)
                    select.on(
                        "change",
                        partial(self._turned, k),
                        js_handler="(e) => emit(e.target.value)",
                    )

    async def _turned(self, k: int, event: events.GenericEventArguments) -> None:
        await self.turn(k, str(event.args))

    async def turn(self, k: int, meaning: str) -> None:
        """Say what a column is."""
        if self.looked is not None:  # what was guessed of the others stays
            self.columns = dict(enumerate(self.looked.matching.columns))
            for other, said in self.columns.items():
                if said == meaning and meaning != "leave out" and other != k:
                    self.columns[other] = "leave out"
        self.columns[k] = meaning
        await self.look()

    def _choices(self, looked: Looked) -> None:
        with Tag("div", "", "form"):
            headed = looked.matching.header
            words = "The first row is a part too" if headed else "The first row is headings"
            button(words, partial(self._headings, not headed), data_key="header").mark("header")
            if looked.commas or self.comma:
                words = "Commas are not points" if self.comma else "Read commas as decimal points"
                button(words, self._commas, data_key="comma").mark("comma")

    async def _headings(self, header: bool) -> None:
        self.header, self.columns = header, {}
        await self.look()

    async def _commas(self) -> None:
        self.comma = not self.comma
        await self.look()

    def _rows(self, looked: Looked) -> None:
        shown = sorted(looked.rows, key=lambda r: r.what != "wrong")[:MOST_SHOWN]
        scroll = Tag("div", "", "t-scroll", tabindex="0", role="region", aria_label="Rows")
        with scroll, Tag("table", "", "t-table"):
            with Tag("thead"), Tag("tr"):
                for head in ("Line", "Part", "", "In the file, or what is wrong"):
                    Tag("th", head, scope="col") if head else Tag("td", "")
            with Tag("tbody"):
                for row in shown:
                    with Tag("tr"):
                        Tag("td", str(row.line))
                        Tag("td", row.ref)
                        Tag("td", row.what, "bad" if row.what == "wrong" else "")
                        with Tag("td"):
                            if row.entry and row.what != "wrong":
                                Tag("code", row.words())
                            for p in row.problems:
                                bad = "bad" if p.severity == "error" else "doubt"
                                Tag("p", self._words(p), bad)
        if len(looked.rows) > len(shown):
            Tag("p", f"and {len(looked.rows) - len(shown)} more rows", "quiet-words")

    def _words(self, problem: Problem) -> str:
        from halfsplit.bench.typing_in import quoted

        return quoted(str(Problem("", 0, 0, problem.path, problem.wrong, problem.instead)))

    def _write(self, looked: Looked) -> None:
        count, wrong = looked.count("new") + looked.count("changed"), looked.count("wrong")
        if not count:
            Tag("p", "No row says anything the file does not have already.", "quiet-words")
            return
        with Tag("div", "", "form"):
            if wrong:
                words = f"Write {count} parts, leave out {wrong} wrong rows"
                button(words, partial(self.write, True), "danger", data_key="write").mark("write")
            else:
                words = f"Write {count} parts to the file"
                button(words, partial(self.write, False), "act", data_key="write").mark("write")

    async def write(self, leave_out: bool) -> None:
        """Write what is shown, as one edit."""
        from halfsplit.bench.tables import fill

        if self.looked is None:
            return
        words = asyncio.to_thread(fill, self.desk, self.looked, leave_out=leave_out)
        said = await self.view.trying(words)
        if said is None:
            return
        self.looked = None
        self.box.clear()
        with self.box, Tag("p"):
            link("On to typing in", address("type", self.view.place.key), "act")
        self.said.text = f"{said[0].upper()}{said[1:]}. Undo, on the page “Type in”, takes it back."
        self.view.place.changed.emit()

    async def make(self) -> None:
        """Make the table of the file's parts and offer it."""
        from halfsplit.bench.tables import table_text

        file = self.view.place.file
        text = await self.view.trying(asyncio.to_thread(table_text, file))
        if text is None:
            return
        where = self.view.prints.add(b"\xef\xbb\xbf" + text.encode(), "csv", f"{file.stem}-parts")
        self.out.clear()
        with self.out:
            link("Save it as CSV", f"{where}?save=1", "act", data_key="save").mark("save")
            button("Make it again", self.make, data_key="make").mark("make")
