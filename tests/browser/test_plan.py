"""A bring-up plan walked by keys: refused too early, ticked, taken up after a kill."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from halfsplit.journal import Journal, glance, journal_path
from tests.browser.conftest import Serve, Visit
from tests.browser.test_story import clean
from tests.web.test_plan_pages import STEPS

PLAN = "/plan/hd40/pt3.yaml"


def entries(shelf: Path, kind: str) -> list[dict[str, Any]]:
    with glance(journal_path(shelf / "hd40" / "pt3.yaml")) as journal:
        return [dict(e.body) for e in journal.entries() if e.kind == kind]


def at_step(page: Any, words: str) -> None:
    page.locator(".walk", has_text=words).wait_for()


def test_the_plan_is_walked_refused_and_taken_up_again(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    with Journal.open(journal_path(shelf / "hd40" / "pt3.yaml")) as journal:
        journal.append("plan", {"steps": STEPS, "unsolved": []})
    server = serve()
    watched = visit(server, PLAN, viewport={"width": 800, "height": 1280})
    page = watched.page
    page.set_default_timeout(90_000)  # what leans on what is worked out first
    at_step(page, "Step 1 of 4, 0 done")
    page.locator("[data-key=drawn-F1]").click()
    page.locator("[data-key=drawn-F1][aria-pressed=true]").wait_for()
    page.keyboard.press("n")
    at_step(page, "Step 2 of 4")
    page.keyboard.press("n")
    at_step(page, "Step 3 of 4")
    page.locator("[data-key=begin]").click()
    page.get_by_text("“Rails to common, dead” comes first").wait_for()
    assert "anyway" not in page.locator(".alert").inner_text()
    assert entries(shelf, "condition") == []
    page.keyboard.press("p")
    at_step(page, "Step 2 of 4")
    page.locator("[data-key=step-note]").fill("8 ohm both ways")
    page.keyboard.press("Enter")
    page.get_by_text("Noted: 8 ohm both ways", exact=True).wait_for()
    assert entries(shelf, "step") == [{"step": "ohms", "note": "8 ohm both ways"}]
    assert page.evaluate("document.documentElement.scrollWidth") <= 800, "scrolls sideways"
    clean(watched)
    server.kill()
    again = visit(serve(), PLAN).page
    at_step(again, "of 4, 1 done")  # which step was looked at is a draft; what was done is not
    again.locator("[data-key=step-ohms]").click()
    at_step(again, "Step 2 of 4, 1 done")
    again.get_by_text("Noted: 8 ohm both ways", exact=True).wait_for()
