"""A machine typed in by keys alone in a browser, from an empty folder to a solved circuit."""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image, ImageDraw

from halfsplit.assembly.file import load
from tests.browser.conftest import PROGRAM, Server, Visit
from tests.browser.test_access import RULES, SMALL, SMALLEST, settled
from tests.browser.test_pictures import READY, until
from tests.browser.test_story import clean

# An unloaded divider, solved by hand below.
DIVIDER = [
    ("S1", "supply 12V", "raw", "com"),
    ("R1", "1k 1%", "raw", "mid"),
    ("R2", "2k 1%", "mid", "com"),
]
MID = 8.0  # V: 12 V through 1 kΩ and 2 kΩ, by hand


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    """A server on an empty folder."""
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))
    folder = tmp_path / "shelf"
    folder.mkdir()
    server = Server(folder)
    yield server
    server.stop()


def ready(page: Any) -> None:
    page.wait_for_function("document.activeElement.id === 'typed-name'")


def typed(page: Any, name: str, *fields: str) -> None:
    """A line as hands type it: no waiting for the page between keys."""
    for place, text in enumerate((name, *fields)):
        if place:
            page.keyboard.press("Tab")
        page.keyboard.type(text)
    page.keyboard.press("Enter")


def values(page: Any) -> list[str]:
    got = page.evaluate("[...document.querySelectorAll('input[data-typed]')].map(i => i.value)")
    return [str(v) for v in got]


@pytest.mark.parametrize("width", [1280, 800])
def test_from_an_empty_folder_to_a_solved_circuit_by_keys_alone(
    empty: Server, visit: Visit, width: int
) -> None:
    watched = visit(empty, "/", viewport={"width": width, "height": 800})
    page, keys = watched.page, watched.page.keyboard
    page.get_by_role("heading", name="A new machine").wait_for()
    page.locator("[data-key=new-name]").wait_for()
    keys.press("n")
    keys.type("Divider 8 V")
    keys.press("Enter")
    page.get_by_role("heading", name="Type in: Divider 8 V").wait_for()
    file = empty.folder / "divider-8-v.yaml"
    ready(page)

    typed(page, *DIVIDER[0])
    page.locator("#said", has_text="S1: written").wait_for()
    assert "S1: {kind: supply, volts: 12V, pos: raw, neg: com}" in file.read_text("utf-8")
    # Two lines in one go, faster than any answer.
    typed(page, *DIVIDER[1])
    typed(page, *DIVIDER[2])
    page.locator("#said", has_text="R2: written").wait_for()
    until(page, lambda: values(page)[:2] == ["R3", ""])

    # A slip in a net shows before it is written, and suggestions mend it.
    keys.type("R3")
    keys.press("Tab")
    keys.type("1M")
    keys.press("Tab")
    keys.type("M_id")
    page.locator(".t-hint.warn", has_text="easily taken for mid").wait_for()
    keys.press("Shift+Home")
    keys.type("mi")
    page.locator("#t-list li", has_text="mid").wait_for()
    keys.press("ArrowDown")
    keys.press("Enter")
    keys.press("Tab")
    keys.press("Enter")  # a terminal is missing: said, and the field is where the keys go
    page.locator(".t-wrong", has_text="the net of terminal b is not typed yet").wait_for()
    page.wait_for_function("document.activeElement.id === 'typed-end-1'")
    keys.type("com")
    keys.press("Enter")
    page.locator("#said", has_text="R3: written").wait_for()

    # An entry called back by its name and changed; what was written last taken back.
    until(page, lambda: values(page)[0] == "R4")
    keys.type("R3")
    keys.press("Tab")
    until(page, lambda: values(page)[2:4] == ["mid", "com"])
    keys.type("10M")
    keys.press("Enter")
    page.locator("#said", has_text="R3: changed").wait_for()
    assert "R3: {kind: resistor, value: 10M, a: mid, b: com}" in file.read_text("utf-8")
    keys.press("Escape")
    keys.press("u")
    page.locator("#said", has_text="Taken back: R3: changed").wait_for()
    keys.press("u")
    page.locator("#said", has_text="Taken back: R3: written").wait_for()
    assert "R3" not in file.read_text("utf-8")

    keys.press("e")
    ready(page)
    typed(page, "P8", "rail 7.5..8.5V", "mid")
    page.locator("#said", has_text="P8: written").wait_for()
    page.get_by_role("heading", name="Nothing is missing").wait_for()
    assembly, problems = load(file)
    assert assembly is not None and problems == []
    found = expected(file)
    assert abs(found - MID) < 0.01 * MID
    until(page, lambda: not values(page)[1])
    keys.press("Escape")
    keys.press("?")
    page.get_by_role("dialog", name="Keys").wait_for()
    said = page.get_by_role("dialog", name="Keys").text_content()
    assert "write the line to the file" in said and "take back what was written last" in said
    keys.press("Escape")
    keys.press("Escape")
    keys.press("1")
    page.locator(".next").first.wait_for()
    clean(watched)


def expected(file: Path) -> float:
    """What the command line says the rail should read."""
    done = subprocess.run(
        [*PROGRAM, "expect", str(file), "P8", "--json"],
        env=dict(os.environ), capture_output=True, text=True, check=True,
    )  # fmt: skip
    return float(json.loads(done.stdout)[0]["mean"])


@pytest.fixture
def half(empty: Server) -> Server:
    """A server with a file half typed, a slip in it, and a scan."""
    from halfsplit.assembly.draft import draft
    from halfsplit.bench.pinning import add_picture

    file = empty.folder / "half.yaml"
    lines = ["assembly: Half typed", "parts:"]
    lines += [f"  R{k}: {{kind: resistor, value: 4k7, a: n{k}, b: n{k + 1}}}" for k in range(1, 13)]
    lines += ["  C1: {kind: electrolytic, valeu: 100u, pos: n1, neg: com}", ""]
    file.write_text("\n".join(lines), encoding="utf-8")
    scan = Image.new("RGB", (1200, 800), "white")
    pen = ImageDraw.Draw(scan)
    for k in range(12):
        pen.rectangle((60 + 90 * k, 300, 110 + 90 * k, 325), outline="black", width=3)
    path = empty.folder.parent / "scan.png"
    scan.save(path)
    assembly = draft(file).assembly
    assert assembly is not None
    add_picture(assembly, path.read_bytes(), "sheet 3")
    return empty


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_and_all_fits_at_both_widths(
    half: Server, visit: Visit, theme: str
) -> None:
    for width in (1280, 800):
        size = {"width": width, "height": 800}
        page = visit(half, "/type/half.yaml", color_scheme=theme, viewport=size).page
        settled(page)
        page.wait_for_function(READY)
        ready(page)
        page.keyboard.type("Q1")
        page.keyboard.press("Tab")
        page.keyboard.type("2N3055")
        page.keyboard.press("Tab")
        page.keyboard.type("n1")
        page.locator("#t-list").wait_for()
        page.locator(".t-hint.known").wait_for()
        check(page, width)
        before = page.evaluate("document.querySelector('.sheet-of').style.transform")
        page.keyboard.press("Alt+ArrowRight")
        page.keyboard.press("Alt++")
        after = page.evaluate("document.querySelector('.sheet-of').style.transform")
        assert before != after and values(page)[2] == "n1", "the scan does not move from the field"
        page = visit(half, "/table/half.yaml", color_scheme=theme, viewport=size).page
        settled(page)
        page.locator("[data-key=cells]").fill("R1\t04. Jul\ta\tb\nR20\t1k\ta\tb\n")
        page.locator("[data-key=look]").focus()
        page.keyboard.press("Enter")
        page.locator(".t-table").wait_for()
        check(page, width)


def check(page: Any, width: int) -> None:
    found = Axe().run(page, options=RULES).response["violations"]
    assert [f"{v['id']}: {n['html'][:160]}" for v in found for n in v["nodes"]] == []
    assert page.evaluate(SMALL, SMALLEST) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_an_edit_in_an_editor_is_shown_and_what_is_half_typed_stays(
    half: Server, visit: Visit
) -> None:
    file = half.folder / "half.yaml"
    watched = visit(half, "/type/half.yaml")
    page = watched.page
    page.locator(".trouble", has_text="valeu").wait_for()
    ready(page)
    page.keyboard.type("R13")
    page.keyboard.press("Tab")
    page.keyboard.type("2k2")
    text = file.read_text("utf-8").replace("valeu", "value")
    file.write_text(text + "  Q7: {type: 2N3055, c: n3, b: n4, e: com}\n", encoding="utf-8")
    page.locator("#said", has_text="new: Q7").wait_for()
    page.locator(".trouble", has_text="valeu").wait_for(state="detached")
    assert values(page)[:2] == ["R13", "2k2"]
    page.reload()
    until(page, lambda: values(page)[:2] == ["R13", "2k2"])
    ready(page)
    page.keyboard.press("ArrowUp")
    until(page, lambda: values(page)[0] == "Q7" and values(page)[2:5] == ["n3", "n4", "com"])
    clean(watched)
