"""The bench: where to put the probe, one field for what it shows, and what that means."""

from __future__ import annotations

from halfsplit.web.html import Tag
from halfsplit.web.pieces.card import meaning, next_card
from halfsplit.web.pieces.condition import condition_strip, hazards
from halfsplit.web.pieces.entries import entries, observations
from halfsplit.web.pieces.live import LiveMeter
from halfsplit.web.pieces.reading import ReadingForm
from halfsplit.web.pieces.suspects import suspects
from halfsplit.web.pieces.where import where
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View


@machine_page("bench", "Bench", order=10)
async def bench(view: View) -> None:
    """The next check, the reading, the suspects."""
    condition_strip(view)
    with Tag("div", "", "columns"):
        with Tag("div", "", "first"):
            next_card(view)
            form = ReadingForm(view)
            LiveMeter(view, form)
            meaning(view)
            observations(view)
        with Tag("div", "", "second"):
            where(view)
            suspects(view)
            hazards(view)
            entries(view)
    await form.hear()  # of a draft that came back
