"""Every page for everybody: contrast, names, labels, focus that shows, targets a glove can hit.

Rules are axe-core's (WCAG 2.1, levels A and AA); what it does not measure is measured here.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from halfsplit.journal import Journal, journal_path
from tests.browser.conftest import EXAMPLES, PATIENCE, Serve, Server, Visit, filled
from tests.web.test_plan_pages import STEPS

PAGES = ("/", "/bench/hd40/pt3.yaml", "/resume/hd40/pt3.yaml", "/trail/hd40/pt3.yaml")
PAGES += ("/leans/hd40/pt3.yaml", "/bench/no/such.yaml")
PAGES += ("/pins/hd40/pt3.yaml", "/pictures/hd40/pt3.yaml")
BRING_UP = ("plan", "ladder", "protect", "reform", "discharge", "gates", "report")
PAGES += tuple(f"/{slug}/hd40/pt3.yaml" for slug in BRING_UP)
PAGES += tuple(f"/{slug}/quillon16/boards.yaml" for slug in ("boards", "settings", "memory"))
PAGES += tuple(f"/{slug}/quillon16/console.yaml" for slug in ("console", "wire", "line"))
SMALLEST = 48  # px, of anything to press
# Without preload: axe's own asking for style sheets would bring up the framework's loading bar.
RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]},
    "preload": False,
}
# The number itself is what somebody reads from an arm's length.
READING_FONT = 40  # px

SMALL = """least => [...document.querySelectorAll("button, summary, input, a.act, nav a")]
  .filter(e => e.getClientRects().length && !e.closest(".skip"))
  .map(e => (e.matches("input") ? e.closest(".q-field__control") || e : e))
  .map(e => [e.textContent.trim().slice(0, 30), e.getBoundingClientRect()])
  .filter(([t, r]) => r.height < least - 0.5 || r.width < least - 0.5)
  .map(([t, r]) => `${t}: ${r.width} x ${r.height}`)"""
FOCUSED = """() => { const e = document.activeElement;
  const seen = e.closest(".q-field") ? e.closest(".q-field__control") : e;
  const s = getComputedStyle(seen);
  return [e.tagName, (e.dataset.key || e.textContent || "").trim().slice(0, 30),
          s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2]; }"""


def settled(page: Any) -> None:
    page.locator("h1").first.wait_for()
    page.wait_for_timeout(1500)


@pytest.fixture(scope="module")
def served(
    warm_cache: Path, tmp_path_factory: pytest.TempPathFactory, chromium: Any
) -> Iterator[Server]:
    """A server whose machine has a plan and some readings, so that its pages have something on
    them; boards and a console lie beside it."""
    folder, cache = filled(warm_cache, tmp_path_factory.mktemp("served"))
    shutil.copytree(EXAMPLES / "quillon16", folder / "quillon16")
    with Journal.open(journal_path(folder / "hd40" / "pt3.yaml")) as journal:
        journal.append("plan", {"steps": STEPS, "unsolved": []})
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HALFSPLIT_CACHE", str(cache))
        server = Server(folder)
        try:
            _read(chromium, server)
            yield server
        finally:
            server.stop()


def _read(chromium: Any, server: Server) -> None:
    page = chromium.new_page()
    page.set_default_timeout(PATIENCE)
    page.goto(server.address + "/bench/hd40/pt3.yaml")
    for key in ("feed-raws", "load-bench"):
        page.locator(f"[data-key={key}]").click()
        page.locator(f"[data-key={key}][aria-pressed=true]").wait_for()
    for text in ("p5 1.10", "n12 -1.71", "n1x -2.40"):
        page.locator("[data-key=reading]").fill(text)
        page.locator("#heard.good").wait_for()
        page.keyboard.press("Enter")
        page.locator("#said", has_text=text.partition(" ")[2]).wait_for()
    page.locator(".next .what", has_text="C4 short").wait_for()
    page.close()


@pytest.mark.parametrize("path", PAGES)
def test_everybody_can_read_and_press_all_of_it(served: Server, visit: Visit, path: str) -> None:
    """One visit, looked at in both widths and both themes: nothing to press is small, nothing
    scrolls sideways, and axe finds nothing."""
    page = visit(served, path, color_scheme="light").page
    settled(page)
    for width in (1280, 800):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate(SMALL, SMALLEST) == [], width
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        if path == PAGES[1]:
            size = page.locator("[data-key=reading]").evaluate(
                "e => parseFloat(getComputedStyle(e).fontSize)"
            )
            assert size >= READING_FONT
    for fold in page.locator("details").all():
        fold.evaluate("e => { e.open = true }")
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        page.wait_for_function("t => document.documentElement.dataset.theme === t", arg=theme)
        told = [
            f"{theme} {v['id']}: {n['html'][:160]} {n.get('failureSummary', '')[:300]}"
            for v in Axe().run(page, options=RULES).response["violations"]
            for n in v["nodes"]
        ]
        assert told == []


def test_focus_shows_wherever_tab_goes(served: Server, visit: Visit) -> None:
    page = visit(served, PAGES[1]).page
    settled(page)
    unseen, names = [], []
    for _ in range(60):
        page.keyboard.press("Tab")
        tag, name, shows = page.evaluate(FOCUSED)
        if tag == "BODY":
            break
        names.append(name)
        if not shows:
            unseen.append((tag, name))
    assert unseen == []
    assert "reading" in names and "undo" in names
    assert names.index("feed-mains") < names.index("reading") < names.index("undo")


def test_the_list_of_keys_opens_and_closes_by_key(served: Server, visit: Visit) -> None:
    page = visit(served, PAGES[1]).page
    settled(page)
    page.keyboard.press("?")
    dialog = page.get_by_role("dialog", name="Keys")
    dialog.wait_for()
    assert "the reading field" in dialog.inner_text()
    page.keyboard.press("Escape")
    dialog.wait_for(state="hidden")
    page.keyboard.press("r")
    assert page.evaluate("document.activeElement.dataset.key") == "reading"


def test_the_theme_is_kept(served: Server, visit: Visit) -> None:
    page = visit(served, "/", color_scheme="light").page
    settled(page)
    page.get_by_role("button", name="Switch to dark").click()
    page.reload()
    settled(page)
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"


def test_words_from_a_file_are_words(serve: Serve, visit: Visit, shelf: Path) -> None:
    """A name that is markup is shown as typed and runs nothing."""
    evil = "<img src=x onerror=document.title='run'>"
    file = shelf / "hd40" / "pt3.yaml"
    text = file.read_text(encoding="utf-8").replace(
        "assembly: Power tray PT-3", f'assembly: "{evil}"'
    )
    file.write_text(text, encoding="utf-8")
    page = visit(serve(), "/bench/hd40/pt3.yaml").page
    settled(page)
    assert evil in page.locator(".brand .machine").inner_text()
    page.get_by_text("Seen, heard, smelt").click()
    page.get_by_label("In words, if more is to be said").fill(evil)
    page.get_by_role("button", name="Store the words alone").click()
    page.locator("#said", has_text="onerror").wait_for()
    assert page.locator("main img").count() == 0
    assert "run" not in page.title().split()
