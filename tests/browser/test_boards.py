"""The fourth demo on pages: from the message E4 to two straps, from E5 to one chip."""

from __future__ import annotations

import shutil
from pathlib import Path

from halfsplit.journal import glance, journal_path
from tests.browser.conftest import EXAMPLES, Serve, Visit
from tests.browser.test_story import clean

FOUND = ("ML32.W1=out", "ML32.W2=in", "ML32.W3=in", "CP1.JP1=out")


def test_e4_to_the_straps_and_e5_to_the_chip(serve: Serve, visit: Visit, shelf: Path) -> None:
    shutil.copytree(EXAMPLES / "quillon16", shelf / "quillon16")
    watched = visit(serve())
    page = watched.page
    page.get_by_role("link", name="Quillon-16: boards", exact=True).click()
    # A board is refused before it is measured.
    page.locator("[data-key=fit]").click()
    page.locator(".alert", has_text="dead ohms of P5 at its edge").wait_for()
    for rail, text in (("P5", "22"), ("P12", "OL"), ("N12", "OL")):
        page.locator(f"[data-key=slot-BP-ohm-{rail}]").fill(text)
    page.locator("[data-key=store-BP]").click()
    page.locator("[data-key=slot-BP-ohm-P5]").wait_for()
    page.locator(".owed").wait_for(state="hidden")
    page.locator("[data-key=fit]").click()
    page.get_by_text("BP is in: read it before the next goes in").wait_for()

    page.get_by_role("link", name="Settings", exact=True).click()
    for item in FOUND:
        page.locator(f'[data-key="found-{item}"]').click()
        page.locator(f'[data-key="found-{item}"][aria-pressed=true]').wait_for()
    page.locator("[data-key=code-shown]").fill("E4")
    page.keyboard.press("Enter")
    page.locator(".causes li").first.wait_for()
    straps = page.locator(".causes li strong").all_inner_texts()
    assert straps == ["ML32 W1: out → in", "CP1 JP1: out → in"]
    assert page.locator(".drawing svg").count() == 3
    page.locator('[data-key="moved-ML32.W1=in"]').click()
    page.get_by_text("W1: in, found out; wanted in").wait_for()

    page.get_by_role("link", name="Memory", exact=True).click()
    page.locator("[data-key=print]").fill("LO 0000 HI 7FFF\nM1 OK\nE5 A=5A3C W=0020 R=0000")
    page.locator("[data-key=judge]").click()
    page.locator(".next .what", has_text="chip U35").wait_for()
    with glance(journal_path(shelf / "quillon16" / "boards.yaml")) as journal:
        kinds = [e.kind for e in journal.entries()]
    assert [kinds.count(k) for k in ("slot", "board-in", "strap", "memory")] == [3, 1, 5, 1]
    clean(watched)


def test_a_log_sent_as_a_file_and_a_picture_that_says_it_is_one(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    shutil.copytree(EXAMPLES / "quillon16", shelf / "quillon16")
    watched = visit(serve(), "/console/quillon16/console.yaml")
    page = watched.page
    chooser = page.locator("input[type=file]").first
    chooser.wait_for(state="attached")
    log = b"".join(b"%06d E4 SIZE 0\r\n" % k for k in range(120_000))
    chooser.set_input_files({"name": "big.log", "mimeType": "text/plain", "buffer": log})
    page.get_by_text("120000 lines, 120000 of them known").wait_for(timeout=120_000)
    page.locator("[data-key=newest]").click()
    page.locator(".log", has_text="119999 E4 SIZE 0").first.wait_for()
    page.locator("[data-key=earlier]").click()
    page.locator("[data-key=later]").wait_for()
    picture = b"\x89PNG\r\n\x1a\n" + bytes(99)
    chooser.set_input_files({"name": "log.txt", "mimeType": "text/plain", "buffer": picture})
    page.locator(".alert", has_text="it is a png file").wait_for()
    clean(watched)
