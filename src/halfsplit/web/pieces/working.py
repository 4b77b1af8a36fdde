"""A part of a page that must be worked out, and what is typed to have it done."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Iterable, Sequence
from typing import Any, Generic, TypeVar

from nicegui import background_tasks

from halfsplit.web.html import Tag, button, field
from halfsplit.web.view import View

T = TypeVar("T")


class Worked(Generic[T]):
    """Something worked out on request and drawn; `again` works it out afresh.

    What was drawn last stays until there is something newer, and says when it is behind.
    """

    def __init__(
        self,
        view: View,
        verb: Callable[[], Awaitable[T]],
        draw: Callable[[T], Any],
        *,
        about: str = "",
        words: str = "Work it out",
        key: str = "work",
        at_once: bool = True,
        offered: bool = True,
    ) -> None:
        """`offered`: whether a button for it stands here; else the form above has one."""
        self.view, self.verb, self._draw = view, verb, draw
        self.offered = offered
        self.words, self.key = words, key
        self._drawn = False
        self.box = Tag("div", "", "worked")
        with self.box:
            Tag("p", about or "Being worked out …", "quiet-words")
            if not at_once and offered:
                button(words, self.again, "act", data_key=key).mark(key)
        if at_once:
            background_tasks.create(self.again(), name=words)

    async def again(self) -> T | None:
        """Work it out and draw it; None when it failed, and the page said why."""
        return await self.of(self.verb())

    async def of(self, verb: Awaitable[T]) -> T | None:
        """Draw what another verb returns in place of it."""
        last = self.view.ledger.get("last")
        found = await self.view.trying(verb)
        if self.box.is_deleted:
            return found
        if found is None:
            if not self._drawn:
                self._offer()
            return None
        self._drawn = True
        # An entry the verb itself stored does not make what it returned old.
        last = max(last or 0, self.view.ledger.get("last") or 0)
        self.box.clear()
        with self.box:
            self._draw(found)
            self.view.live(lambda: self.view.ledger.get("last") != last, self._late, tag="div")
        return found

    def _offer(self) -> None:
        self.box.clear()
        if not self.offered:
            return
        with self.box:
            button(self.words, self.again, "act", data_key=self.key).mark(self.key)

    def _late(self, is_late: bool) -> None:
        if is_late:
            with Tag("p", "", "line"):
                Tag("span", "Entries came since this was worked out.", "behind")
                button("Work it out again", self.again, data_key=f"{self.key}-again")


class Fields:
    """Fields of a form, kept as drafts under `name`, so that they survive a dropped connection."""

    def __init__(self, view: View, name: str, labels: dict[str, str]) -> None:
        self.view, self.name = view, name
        self._fields = {}
        for key, label in labels.items():
            made = field(label, view.draft(f"{name}-{key}"), self._keeper(key))
            made.props["data-key"] = f"{name}-{key}"
            made.mark(f"{name}-{key}")
            self._fields[key] = made

    def _keeper(self, key: str) -> Callable[[str], None]:
        return lambda text: self.view.keep_draft(**{f"{self.name}-{key}": text})

    def text(self, key: str) -> str:
        """A field's text without blanks at its ends."""
        return str(self._fields[key].value or "").strip()

    def given(self, key: str) -> str | None:
        """A field's text, None when it is empty."""
        return self.text(key) or None

    def clear(self) -> dict[str, str]:
        """Empty the fields and their drafts; returns what :meth:`restore` puts back."""
        held = {key: self.text(key) for key in self._fields}
        self._put(dict.fromkeys(held, ""))
        return held

    def restore(self, held: dict[str, str]) -> None:
        """Put texts back, of a form that was refused."""
        self._put(held)

    def _put(self, texts: dict[str, str]) -> None:
        self.view.keep_draft(**{f"{self.name}-{key}": text for key, text in texts.items()})
        for key, text in texts.items():
            if not self._fields[key].is_deleted:  # else it was drawn anew, from its draft
                self._fields[key].value = text

    def enter(self, key: str, handler: Callable[[], Any]) -> None:
        """Have Enter in a field do something."""
        self._fields[key].on("keydown.enter", handler, args=[])


# A number and its unit stay on one line where there is room for both.
_UNIT = re.compile(r"(?<=\d) (?=(?:[mkMµ]?[VAΩ]|%)(?!\w))")
SHORT = 9  # letters of a cell that is not broken over lines, such as 500 mA


def grid(heads: Sequence[str], rows: Iterable[Sequence[Any]], *, label: str = "") -> None:
    """A table with its first column as headings of the rows; it scrolls in itself."""
    with (
        Tag("div", "", "wide-table", tabindex="0", role="region", aria_label=label or heads[0]),
        Tag("table", "", "outcomes"),
    ):
        with Tag("thead"), Tag("tr"):
            for head in heads:
                Tag("th", head, scope="col")
        with Tag("tbody"):
            for row in rows:
                with Tag("tr"):
                    for place, cell in enumerate(row):
                        if place == 0:
                            Tag("th", str(cell), scope="row")
                        else:
                            words = _UNIT.sub("\u00a0", str(cell))
                            Tag("td", words, "number" if len(words) <= SHORT else "")


def drawing(svg: str, name: str) -> None:
    """An SVG of our own drawing on a page, on white paper in either theme."""
    from nicegui import ui

    from halfsplit.report.page import bare

    with Tag("figure", "", "drawing", tabindex="0", role="group", aria_label=name):
        ui.html(bare(svg), sanitize=False)


def opener(view: View, address: str, words: str, *, save: bool = False, plain: bool = False) -> Tag:
    """A link to a print: in a tab of its own, or with `save` to be downloaded."""
    where = f"{address}?save=1" if save else address
    more = {"download": ""} if save else {"target": "_blank", "rel": "noopener"}
    classes = "act plain" if plain or save else "act"
    return Tag("a", words, classes, href=where, **more)
