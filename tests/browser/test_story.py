"""Demo 1 from the shelf to the repaired tray: C4 is short, and the pages lead to it.

The first two readings are those of :data:`halfsplit.cli.demo.READINGS`, the third what the same
specimen would read where the page proposes to; all invented with the machine.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from halfsplit.journal import glance, journal_path
from tests.browser.conftest import Serve, Visit, Watched

BENCH = "/bench/hd40/pt3.yaml"
TYPED = [("p5", "1.10"), ("n12", "-1.71"), ("b1", "-3.05")]  # the last where the page says to


def entries(shelf: Path) -> list[tuple[str, dict[str, Any]]]:
    with glance(journal_path(shelf / "hd40" / "pt3.yaml")) as journal:
        return [(e.kind, dict(e.body)) for e in journal.entries()]


def readings(shelf: Path) -> list[tuple[str, str]]:
    return [(b["net"], b["text"]) for kind, b in entries(shelf) if kind == "read"]


def said(page: Any, words: str) -> None:
    page.locator("#said", has_text=words).wait_for()


def clean(watched: Watched) -> None:
    """Nothing left this computer, and the browser had nothing to complain of."""
    assert watched.asked and watched.outside == []
    assert watched.complaints == []


def by_mouse(page: Any, shelf: Path) -> None:
    page.get_by_role("link", name="Power tray PT-3", exact=True).click()
    page.get_by_role("group", name="Fed by").get_by_role("button", name="raws").click()
    page.get_by_role("group", name="Load").get_by_role("button", name="bench").click()
    page.get_by_role("button", name="bench", pressed=True).wait_for()
    page.get_by_text("Read somewhere else, or something else").click()
    for net, text in TYPED:
        if net == "b1":
            page.locator(".goes-to", has_text="volts at b1").wait_for()
        else:
            page.get_by_role("combobox", name="Red lead on").fill(net)
        page.get_by_role("textbox", name="Reading").fill(text)
        page.locator("#heard.good").wait_for()
        page.get_by_role("button", name="Store", exact=True).first.click()
        said(page, f"{text} V")
    page.locator(".next .what", has_text="C4 short").wait_for()
    page.get_by_role("button", name="New C4 fitted").click()
    page.get_by_text("Mind: ").first.wait_for()


def by_keys(page: Any, shelf: Path) -> None:
    page.get_by_role("heading", name="On the shelf").wait_for()
    link = page.get_by_role("link", name="Power tray PT-3", exact=True)
    for _ in range(30):
        page.keyboard.press("Tab")
        if link.evaluate("e => e === document.activeElement"):
            break
    page.keyboard.press("Enter")
    page.locator("[data-key=reading]").wait_for()
    for name in ("feed-raws", "load-bench"):
        tab_to(page, name)
        page.keyboard.press("Enter")
        page.locator(f"[data-key={name}][aria-pressed=true]").wait_for()
    for net, text in TYPED:
        page.keyboard.press("r")
        if net == "b1":
            page.locator(".goes-to", has_text="volts at b1").wait_for()
        page.keyboard.type(text if net == "b1" else f"{net} {text}")
        page.keyboard.press("Enter")
        said(page, f"{text} V")
        page.keyboard.press("Escape")
    page.locator(".next .what", has_text="C4 short").wait_for()
    tab_to(page, "fit-C4")
    page.keyboard.press("Enter")
    page.get_by_text("Mind: ").first.wait_for()


def tab_to(page: Any, key: str) -> None:
    """Walk there by Tab alone, as somebody without a mouse must be able to."""
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.key || ''") == key:
            return
    raise AssertionError(f"Tab never came to {key}")


@pytest.mark.parametrize(
    ("way", "width", "height"),
    [(by_mouse, 1280, 800), (by_keys, 1280, 800), (by_mouse, 800, 1280)],
    ids=["mouse", "keyboard", "tablet"],
)
def test_the_story_of_the_shorted_capacitor(
    serve: Serve,
    visit: Visit,
    shelf: Path,
    way: Callable[[Any, Path], None],
    width: int,
    height: int,
) -> None:
    watched = visit(serve(), viewport={"width": width, "height": height})
    page = watched.page
    way(page, shelf)
    page.locator(".next", has_text="C4 short").get_by_text("replaced").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= width, "scrolls sideways"
    assert readings(shelf) == TYPED
    last = [b for kind, b in entries(shelf) if kind == "condition"][-1]
    now = last["condition"]
    assert (now["feed"], now["load"], now["changes"][0]["part"]) == ("raws", "bench", "C4")
    clean(watched)
