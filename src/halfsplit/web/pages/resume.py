"""Where you left off: what was true, what is lifted or charged, who is suspect, what to do next."""

from __future__ import annotations

from typing import Any

from halfsplit.web.frame import address
from halfsplit.web.html import Tag, clock, link, rows
from halfsplit.web.pieces.card import meaning, next_card
from halfsplit.web.pieces.condition import hazards
from halfsplit.web.pieces.suspects import suspects
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View


@machine_page("resume", "Where I left off", order=20)
async def resume(view: View) -> None:
    """What was true when you left, what is open, and what comes next and why."""

    def was(now: dict[str, Any]) -> None:
        Tag("h2", "What was true")
        Tag("p", now["condition_words"], "big")
        if now["at"]:
            Tag("p", f"last entry {clock(now['at'])}", "quiet-words")
        else:
            Tag("p", "Nothing was ever entered of this machine.", "quiet-words")

    def open_(now: dict[str, Any]) -> None:
        Tag("h2", "Lifted, bypassed, removed, passed over")
        items = [*now["open_items"]]
        items += [f"{o['gate']} was overridden: {o['why']}" for o in now["overrides"]]
        if items:
            rows(items, "open-items")
        else:
            Tag("p", "No open item.", "quiet-words")

    def last(found: list[dict[str, Any]]) -> None:
        Tag("h2", "Last read and seen")
        if not found:
            Tag("p", "Nothing yet.", "quiet-words")
        with Tag("ol", "", "entries"):
            for e in found:
                with Tag("li"):
                    Tag("span", f"{e['seq']}", "seq")
                    Tag("span", clock(e["at"]), "time")
                    Tag("span", e["words"])

    Tag("h1", f"{view.facts['machine'] or view.facts['name']}: where I left off")
    with Tag("div", "", "columns even"):
        with Tag("div", "", "first"):
            view.live(lambda: view.ledger, was, "section", "box")
            view.live(lambda: view.ledger, open_, "section", "box")
            hazards(view)
            view.live(
                lambda: [e for e in view.ledger["entries"] if e["kind"] != "condition"][-8:],
                last,
                "section",
                "box",
            )
        with Tag("div", "", "second"):
            next_card(view)
            meaning(view)
            link("To the bench", address("bench", view.place.key), "act")
            suspects(view, most=3)
