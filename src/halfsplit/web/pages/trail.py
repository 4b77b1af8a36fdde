"""How suspicion moved, entry by entry."""

from __future__ import annotations

from functools import partial
from typing import Any

from halfsplit.bench.trail import Step
from halfsplit.bench.trail import trail as walk
from halfsplit.bench.words import percent
from halfsplit.web.html import Tag, button
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

STEPS = 12  # entries back; each is the whole sum with the entries up to it


@machine_page("trail", "Trail", order=30)
async def trail(view: View) -> None:
    """Who led after each entry, and who was dropped by which."""
    Tag("h1", "How suspicion moved")
    box = Tag("section", "", "box")

    async def work() -> None:
        asked = view.place.ask(lambda session: walk(session, STEPS), "how suspicion moved")
        steps = await view.trying(asked)
        if box.is_deleted:
            return
        box.clear()
        with box:
            _draw(steps)
            button("Work it out again", work, data_key="again")

    with box:
        Tag(
            "p",
            f"Worked out for the last {STEPS} entries; each is the whole sum again.",
            "quiet-words",
        )
        button("Work it out", work, "act", data_key="again")
    from nicegui import background_tasks

    background_tasks.create(partial(work)(), name="trail")


def _draw(steps: list[Step] | None) -> Any:
    if steps is None:
        Tag("p", "Not worked out.", "quiet-words")
        return
    if not steps:
        Tag("p", "Nothing in the journal weighs on the suspects yet.", "quiet-words")
    with Tag("ol", "", "steps"):
        for step in reversed(steps):
            with Tag("li", "", "step"):
                more = f" and {len(step.lead) - 3} more" if step.lead[3:] else ""
                Tag("h2", f"{step.number}. {step.words}")
                Tag(
                    "p",
                    f"Then led: {', '.join(step.lead[:3])}{more}, {percent(step.weight)} "
                    f"(before {percent(step.before)})",
                )
                for name, reason in step.dropped:
                    Tag("p", f"Dropped {name}: {reason}", "quiet-words")
