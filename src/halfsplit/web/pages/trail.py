"""How suspicion moved, entry by entry."""

from __future__ import annotations

from typing import TYPE_CHECKING

from halfsplit.bench.words import percent
from halfsplit.web.html import Tag
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session
    from halfsplit.bench.trail import Step

STEPS = 12  # entries back; each is the whole sum with the entries up to it


@machine_page("trail", "Trail", order=30)
async def trail(view: View) -> None:
    """Who led after each entry, and who was dropped by which."""
    Tag("h1", "How suspicion moved")
    about = f"Worked out for the last {STEPS} entries; each is the whole sum again."
    view.worked(_walk, _draw, what="how suspicion moved", about=about)


def _walk(session: Session) -> list[Step]:
    from halfsplit.bench.trail import trail as walk

    return walk(session, STEPS)


def _draw(steps: list[Step]) -> None:
    if not steps:
        Tag("p", "Nothing in the journal weighs on the suspects yet.", "quiet-words")
        return
    with Tag("ol", "", "steps box"):
        for step in reversed(steps):
            with Tag("li", "", "step"):
                more = f" and {len(step.lead) - 3} more" if step.lead[3:] else ""
                lead = f"{', '.join(step.lead[:3])}{more}"
                Tag("h2", f"{step.number}. {step.words}")
                Tag(
                    "p", f"Then led: {lead}, {percent(step.weight)} (before {percent(step.before)})"
                )
                for name, reason in step.dropped:
                    Tag("p", f"Dropped {name}: {reason}", "quiet-words")
