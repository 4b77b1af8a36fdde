"""Plain HTML elements for the pages: real buttons, headings and lists, styled by one stylesheet.

Text always goes in as text, never as markup, so what somebody typed cannot become a script.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable
from datetime import datetime
from functools import partial
from html import escape
from typing import Any

from nicegui import ui
from nicegui.elements.mixins.text_element import TextElement

Handler = Callable[..., Any] | Callable[..., Awaitable[Any]]


class Tag(TextElement):
    """An HTML element with text and attributes (`_` at the end of a name is dropped, else `-`)."""

    def __init__(self, tag: str, text: str = "", classes: str = "", **attributes: Any) -> None:
        super().__init__(tag=tag, text=text)
        if classes:
            self.classes(classes)
        for name, value in attributes.items():
            if value is not None:
                self.props[name.rstrip("_").replace("_", "-")] = value


class Markup(str):
    """HTML text in which everything that was typed is escaped already."""


def markup(tag: str, *inside: str, classes: str = "", **attributes: str | None) -> Markup:
    """An element as HTML text, for long lists that nobody changes piece by piece: one element of
    the framework in place of hundreds. What is `inside` is escaped, unless it is Markup itself;
    attributes are named as for :class:`Tag`."""
    named = {"class": classes or None, **attributes}
    said = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(str(value))}"'
        for name, value in named.items()
        if value is not None
    )
    within = "".join(i if isinstance(i, Markup) else escape(i) for i in inside)
    return Markup(f"<{tag}{said}>{within}</{tag}>")


def joined(*pieces: Markup | None) -> Markup:
    """Pieces of HTML text one after the other."""
    return Markup("".join(p for p in pieces if p))


def drawn(text: Markup, classes: str = "") -> ui.html:
    """HTML text as an element of the page; set its `content` to draw it anew."""
    return ui.html(text, sanitize=False).classes(f"drawn {classes}")


def button(text: str, handler: Handler, classes: str = "", **attributes: Any) -> Tag:
    """A button that calls `handler` without arguments."""
    made = Tag("button", text, classes, type="button", **attributes)
    made.on("click", lambda: handler(), args=[])
    return made


def link(text: str, href: str, classes: str = "", **attributes: Any) -> Tag:
    """A link within the app."""
    return Tag("a", text, classes, href=href, **attributes)


class Choice:
    """Buttons of which one is pressed: (value, words) each; `handler` gets the value tapped.

    They stay the same buttons whatever is chosen, so a tap cannot fall on one that is just being
    drawn anew, and the focus stays where it is.
    """

    def __init__(
        self,
        options: Iterable[tuple[str, str]],
        chosen: str,
        handler: Callable[[str], Any],
        *,
        label: str,
        key: str,
    ) -> None:
        self.chosen = chosen
        self._buttons: dict[str, Tag] = {}
        with Tag("div", "", "choice", role="group", aria_label=label) as self.group:
            for value, words in options:
                self._buttons[value] = button(
                    words,
                    partial(handler, value),
                    aria_pressed=_said(value == chosen),
                    data_key=f"{key}-{value}",
                )
                self._buttons[value].mark(f"{key}-{value}")

    def show(self, chosen: str) -> None:
        """Show another one pressed."""
        for value, made in self._buttons.items():
            if (value == chosen) != (value == self.chosen):
                made.props["aria-pressed"] = _said(value == chosen)
                made.update()
        self.chosen = chosen


def _said(pressed: bool) -> str:
    return "true" if pressed else "false"


def field(
    label: str,
    value: str,
    changed: Callable[[str], Any],
    *,
    classes: str = "",
    **attributes: Any,
) -> ui.input:
    """A line of text with its label; `changed` gets every change."""
    made = ui.input(label, value=value, on_change=lambda e: changed(str(e.value or "")))
    made.classes(f"field {classes}").props("outlined stack-label autocomplete=off spellcheck=false")
    for name, text in attributes.items():
        made.props[name.replace("_", "-")] = text
    return made


def clock(at: str, *, day: bool = True) -> str:
    """A journal's time by the clock of this computer, which is the one on the bench."""
    local = datetime.fromisoformat(at).astimezone()
    return local.strftime("%Y-%m-%d %H:%M" if day else "%H:%M")


def details(summary: str, *, open_: bool = False, classes: str = "", key: str = "") -> Tag:
    """A part that folds; use as a context manager."""
    made = Tag("details", "", classes, data_key=key or None)
    if open_:
        made.props["open"] = True
    with made:
        Tag("summary", summary)
    return made


def rows(items: Iterable[str], classes: str = "", tag: str = "ul") -> Tag:
    """A list of lines."""
    with Tag(tag, "", classes) as made:
        for item in items:
            Tag("li", item)
    return made
