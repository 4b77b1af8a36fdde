"""Taking back the last entry of a rack or a console."""

from __future__ import annotations

from typing import Any

from halfsplit.web.html import Tag, button
from halfsplit.web.view import View


def undo_button(view: View) -> None:
    """A button that undoes the last entry, by a new one."""

    async def undo() -> None:
        await view.trying(view.place.undo())

    made = button(
        "Undo the last entry",
        undo,
        "quiet",
        data_key="undo",
        data_shortcut="u",
        data_says="undo the last entry (then Enter)",
    )
    made.mark("undo")

    def draw(undone: dict[str, Any] | None) -> None:
        if undone is not None:
            Tag("span", f"Entry {undone['seq']} is undone: {undone['words']}")

    view.live(lambda: view.ledger["undone"], draw, "span", "undone", role="status")
