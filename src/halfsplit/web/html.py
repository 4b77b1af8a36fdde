"""Plain HTML elements for the pages: real buttons, headings and lists, styled by one stylesheet.

Text always goes in as text, never as markup, so what somebody typed cannot become a script.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable
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


def button(text: str, handler: Handler, classes: str = "", **attributes: Any) -> Tag:
    """A button that calls `handler` without arguments."""
    made = Tag("button", text, classes, type="button", **attributes)
    made.on("click", lambda: handler(), args=[])
    return made


def link(text: str, href: str, classes: str = "", **attributes: Any) -> Tag:
    """A link within the app."""
    return Tag("a", text, classes, href=href, **attributes)


def choice(
    options: Iterable[tuple[str, str]],
    chosen: str,
    handler: Callable[[str], Any],
    *,
    label: str,
    key: str,
) -> Tag:
    """Buttons of which one is pressed: (value, words) each; `handler` gets the value tapped."""
    with Tag("div", "", "choice", role="group", aria_label=label) as group:
        for value, words in options:
            pressed = "true" if value == chosen else "false"
            button(
                words,
                lambda value=value: handler(value),
                aria_pressed=pressed,
                data_key=f"{key}-{value}",
            )
    return group


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
