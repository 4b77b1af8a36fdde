"""Pins and the meter by wire in a browser: a phone's photo, mouse, keys, a cable pulled out."""

from __future__ import annotations

import io
import os
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image, ImageDraw

from halfsplit.assembly.file import load
from halfsplit.bench.pinning import add_picture, put_pin
from halfsplit.bench.pins_file import load_pins
from halfsplit.journal import glance, journal_path
from tests.browser.conftest import Serve, Visit
from tests.browser.test_access import RULES, SMALL, SMALLEST, settled
from tests.browser.test_story import clean
from tests.instruments.servers import pty

BENCH, PINS = "/bench/hd40/pt3.yaml", "/pins/hd40/pt3.yaml"
PICTURES = "/pictures/hd40/pt3.yaml"
TURNED = 6  # EXIF orientation: stored lying on its side, to be turned a quarter clockwise
PIXEL = """([x, y]) => {
  const i = document.querySelector(".sight img"), c = document.createElement("canvas");
  const w = c.width = i.naturalWidth, h = c.height = i.naturalHeight, g = c.getContext("2d");
  g.drawImage(i, 0, 0);
  return [w, h, ...g.getImageData(x * w, y * h, 1, 1).data].slice(0, 4); }"""
READY = """() => { const i = document.querySelector(".sight img");
  return i && i.complete && i.naturalWidth && document.querySelector(".sheet-of").style.width; }"""


def turned_photo() -> bytes:
    """600 by 800 as people see it, its top right eighth red; stored turned, as a phone does."""
    seen = Image.new("RGB", (600, 800), (40, 90, 50))
    ImageDraw.Draw(seen).rectangle((450, 0, 599, 199), fill=(230, 20, 20))
    stored = seen.transpose(Image.Transpose.ROTATE_90)
    exif = Image.Exif()
    exif[0x0112] = TURNED
    out = io.BytesIO()
    stored.save(out, "JPEG", quality=95, exif=exif)
    return out.getvalue()


def pinned(shelf: Path) -> list[tuple[str, float, float]]:
    assembly, _ = load(shelf / "hd40" / "pt3.yaml")
    assert assembly is not None
    pins, problems = load_pins(assembly)
    assert problems == []
    return [(p.name, p.x, p.y) for p in pins.pins]


def until(page: Any, true: Any, seconds: float = 45.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it never came to be so"
        page.wait_for_timeout(50)


def test_a_phone_photo_is_pinned_by_mouse_and_by_keys_and_shows_on_the_bench(
    serve: Serve, visit: Visit, shelf: Path, tmp_path: Path
) -> None:
    photo, liar = tmp_path / "board.jpg", tmp_path / "trick.jpg"
    photo.write_bytes(turned_photo())
    liar.write_bytes(b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>")
    server = serve()
    watched = visit(server, PINS)
    page = watched.page
    page.get_by_role("heading", name="No picture yet").wait_for()
    page.locator("input[data-key=photo]").set_input_files(str(liar))
    page.locator(".alert", has_text="its name says").wait_for()
    page.locator("input[data-key=photo]").set_input_files(str(photo))
    page.wait_for_function(READY)
    wide, high, red, green = page.evaluate(PIXEL, [0.9, 0.1])
    assert (wide, high) == (600, 800) and red > 200 > green, "it is not the right way up"

    # By mouse: a name, then a tap on the red eighth.
    page.get_by_role("combobox", name="Its name").fill("B1")
    at = page.locator(".sheet-of").bounding_box()
    page.mouse.click(at["x"] + 0.875 * at["width"], at["y"] + 0.125 * at["height"])
    until(page, lambda: len(pinned(shelf)) == 1)
    name, x, y = pinned(shelf)[0]
    assert name.lower() == "b1" and abs(x - 0.875) < 0.01 and abs(y - 0.125) < 0.01
    page.locator(".pin.red .plate", has_text="b1").wait_for()

    # Zoomed in and moved by the mouse, a tap still lands where it points.
    page.mouse.move(at["x"] + 0.5 * at["width"], at["y"] + 0.5 * at["height"])
    page.mouse.wheel(0, -300)
    page.mouse.down()
    page.mouse.move(at["x"] + 0.4 * at["width"], at["y"] + 0.4 * at["height"], steps=5)
    page.mouse.up()
    assert len(pinned(shelf)) == 1, "dragging is no tap"
    at = page.locator(".sheet-of").bounding_box()
    box = page.locator(".sight").bounding_box()
    px, py = box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"]
    page.get_by_role("combobox", name="Its name").fill("C4")
    page.mouse.click(px, py)
    until(page, lambda: len(pinned(shelf)) == 2)
    _, x, y = pinned(shelf)[1]
    assert abs(x - (px - at["x"]) / at["width"]) < 0.005
    assert abs(y - (py - at["y"]) / at["height"]) < 0.005

    # By keys alone: the whole picture, right and down from its middle, Enter.
    page.get_by_role("combobox", name="Its name").fill("com")
    page.locator("[data-key=sight]").focus()
    for key in ("0", "+", "ArrowRight", "ArrowDown", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    until(page, lambda: len(pinned(shelf)) == 3)
    _, x, y = pinned(shelf)[2]
    assert x > 0.55 and y > 0.55

    page.goto(server.address + BENCH)
    page.get_by_role("group", name="Fed by").get_by_role("button", name="raws").click()
    page.get_by_role("group", name="Load").get_by_role("button", name="bench").click()
    for text in ("p5 1.10", "n12 -1.71"):
        page.locator("[data-key=reading]").fill(text)
        page.locator("#heard.good").wait_for()
        page.keyboard.press("Enter")
        page.locator("#said", has_text=text.partition(" ")[2]).wait_for()
    drawn = page.locator(".where-at svg").first
    drawn.locator("text", has_text="healthy").wait_for()
    assert "red probe: " in drawn.text_content()
    clean(watched)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_on_pages_with_pictures(
    serve: Serve, visit: Visit, shelf: Path, theme: str
) -> None:
    assembly, _ = load(shelf / "hd40" / "pt3.yaml")
    assert assembly is not None
    name, _ = add_picture(assembly, turned_photo(), "board")
    put_pin(assembly, name, 0.8, 0.2, net="p5")
    put_pin(assembly, name, 0.3, 0.6, part="C4")
    put_pin(assembly, name, 0.5, 0.7, net="com")
    server = serve()
    for path in (PINS, PICTURES, BENCH, f"{PICTURES}?picture=load"):
        page = visit(server, path, color_scheme=theme, viewport={"width": 800, "height": 800}).page
        settled(page)
        for fold in page.locator("details").all():
            fold.evaluate("e => { e.open = true }")
        if path == PINS:
            page.wait_for_function(READY)
        if "load" in path:
            page.locator(".hs-chart").wait_for()
        found = Axe().run(page, options=RULES).response["violations"]
        told = [f"{path} {v['id']}: {n['html'][:160]}" for v in found for n in v["nodes"]]
        assert told == []
        assert page.evaluate(SMALL, SMALLEST) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= 800, path


def test_a_meter_by_wire_is_taken_by_the_foot_switch_and_its_cable_pulled(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    watched = visit(serve(), BENCH)
    page = watched.page
    page.get_by_text("Read somewhere else, or something else").click()
    page.get_by_role("combobox", name="Red lead on").fill("p5")
    page.get_by_text("Read a meter by wire").click()
    with pty() as (machine, name):
        going = threading.Event()

        def send() -> None:
            while not going.is_set():
                os.write(machine, b"4.980 VDC\r\n")
                going.wait(0.1)

        sender = threading.Thread(target=send, daemon=True)
        sender.start()
        page.get_by_role("textbox", name="Where the meter is").fill(name)
        page.get_by_role("button", name="Read it").click()
        page.locator(".held", has_text="Stood still: 4.980 V").wait_for()
        assert not journal_path(shelf / "hd40" / "pt3.yaml").exists() or _readings(shelf) == []
        page.wait_for_function("document.activeElement.id === 'take'")
        page.keyboard.press("Space")
        page.locator("#heard.good").wait_for()
        assert page.locator("[data-key=reading]").input_value() == "4.980 V"
        going.set()
        sender.join()
    page.locator(".live-meter", has_text="Last shown: 4.980 V").wait_for()
    assert page.locator("[data-key=reading]").input_value() == "4.980 V"
    page.locator("[data-key=reading]").focus()
    page.keyboard.press("Enter")
    page.locator("#said", has_text="4.98 V").wait_for()
    (body,) = _readings(shelf)
    assert (body["net"], body["text"]) == ("p5", "4.980 V")
    assert body["instrument"]["place"] == name and body["instrument"]["settled"]
    clean(watched)


def _readings(shelf: Path) -> list[dict[str, Any]]:
    with glance(journal_path(shelf / "hd40" / "pt3.yaml")) as journal:
        return [dict(e.body) for e in journal.entries() if e.kind == "read"]
