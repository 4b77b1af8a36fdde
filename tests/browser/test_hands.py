"""Hands, ears and a foot at the bench: fingers on a tablet, a voice, a beep."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from halfsplit.assembly.file import load
from halfsplit.bench.pinning import add_picture
from tests.browser.conftest import Serve, Visit
from tests.browser.test_pictures import PINS, READY, pinned, turned_photo, until
from tests.browser.test_story import BENCH, clean, readings, said

# A voice and a loudspeaker no test machine has; what would be heard is written down instead.
HEARD = """(() => { window.heard = []; window.beeps = [];
  const voice = { lang: "en-GB", localService: true, name: "test" };
  const far = { lang: "en-GB", localService: false, name: "elsewhere" };
  window.SpeechSynthesisUtterance = function (text) { this.text = text; };
  Object.defineProperty(window, "speechSynthesis", { value: {
    getVoices: () => [far, voice], addEventListener: () => {}, cancel: () => {},
    speak: (u) => window.heard.push([u.voice.name, u.text]) } });
  window.AudioContext = function () { return { state: "running", currentTime: 0, destination: {},
    resume: () => Promise.resolve(),
    createGain: () => ({ gain: { setValueAtTime() {}, linearRampToValueAtTime() {} },
                         connect: (x) => x }),
    createOscillator: () => ({ frequency: {}, connect: (x) => x, stop() {},
                               start() { window.beeps.push(this.frequency.value); } }) }; };
})()"""


def test_what_was_stored_is_said_aloud_by_a_voice_of_this_computer(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    server = serve()
    watched = visit(server, "/")
    page = watched.page
    page.add_init_script(HEARD)
    page.goto(server.address + BENCH)
    page.get_by_role("button", name="Aloud").click()
    page.locator("[data-key=reading]").fill("n12 -1.71")
    page.locator("#heard.good").wait_for()
    page.keyboard.press("Enter")
    said(page, "N12 -1.71 V")
    page.wait_for_function("window.heard.some(([, text]) => text.includes('minus 1.71 volts'))")
    assert {voice for voice, _ in page.evaluate("window.heard")} == {"test"}
    count = len(page.evaluate("window.heard"))
    page.get_by_role("button", name="Aloud").click()
    page.locator("[data-key=reading]").fill("p5 1.10")
    page.locator("#heard.good").wait_for()
    page.keyboard.press("Enter")
    said(page, "P5 1.10 V")
    page.wait_for_timeout(300)
    assert len(page.evaluate("window.heard")) == count, "it went on talking"
    clean(watched)


def test_a_beep_when_it_stood_still_and_space_takes_it(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    server = serve("--simulated-meter")
    watched = visit(server, "/")
    page = watched.page
    page.add_init_script(HEARD)
    page.goto(server.address + BENCH)
    page.get_by_text("Read somewhere else, or something else").click()
    page.get_by_role("combobox", name="Red lead on").fill("p5")
    page.evaluate("localStorage.setItem('halfsplit-beep', 'on')")
    page.get_by_text("Read a meter by wire").click()
    page.locator("[data-key=simulated]").click()
    # A thousandth of a volt of noise, and how many samples it takes hangs on what else goes on.
    page.locator(".held", has_text=re.compile(r"Stood still: 4\.9(79|8)")).wait_for()
    page.wait_for_function("window.beeps.length === 1")
    page.locator("[data-key=take-store]").click()
    assert readings(shelf) == []
    page.locator("body").click(
        position={"x": 2, "y": 2}
    )  # the foot presses, whatever has the focus
    page.keyboard.press("Space")
    said(page, "P5 4.9")
    assert len(readings(shelf)) == 1
    clean(watched)


def test_two_fingers_zoom_one_moves_and_a_tap_pins(serve: Serve, visit: Visit, shelf: Path) -> None:
    assembly, _ = load(shelf / "hd40" / "pt3.yaml")
    assert assembly is not None
    add_picture(assembly, turned_photo(), "board")
    size = {"width": 800, "height": 1280}
    watched = visit(serve(), PINS, viewport=size, has_touch=True)
    page = watched.page
    page.wait_for_function(READY)
    box = page.locator(".sight").bounding_box()
    at = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    fingers = page.context.new_cdp_session(page)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        listed = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(points)]
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": listed})

    def wide() -> float:
        return float(page.locator(".sheet-of").bounding_box()["width"])

    before, scrolled = wide(), page.evaluate("scrollY")
    touch("touchStart", (at[0] - 40, at[1]), (at[0] + 40, at[1]))
    for reach in (60, 90, 120):
        touch("touchMove", (at[0] - reach, at[1]), (at[0] + reach, at[1]))
    touch("touchEnd")
    until(page, lambda: abs(wide() / before - 3.0) < 0.1)  # 120 over 40
    assert page.evaluate("scrollY") == scrolled and pinned(shelf) == [], "a pinch is no tap"

    where = page.locator(".sheet-of").bounding_box()
    touch("touchStart", at)
    touch("touchMove", (at[0] - 50, at[1] - 30))
    touch("touchEnd")
    until(page, lambda: page.locator(".sheet-of").bounding_box()["x"] < where["x"] - 30)
    assert pinned(shelf) == []

    page.get_by_role("combobox", name="Its name").fill("C4")
    sheet = page.locator(".sheet-of").bounding_box()
    touch("touchStart", at)
    touch("touchEnd")
    until(page, lambda: len(pinned(shelf)) == 1)
    (name, x, y) = pinned(shelf)[0]
    assert name == "C4"
    assert abs(x - (at[0] - sheet["x"]) / sheet["width"]) < 0.01
    assert abs(y - (at[1] - sheet["y"]) / sheet["height"]) < 0.01
    clean(watched)


def test_who_leaves_the_field_is_not_put_back_into_it(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    """Something is drawn anew each second at a bench; a key then still is a key, and on a tablet
    no keyboard springs up again."""
    server = serve()
    here, there = (visit(server, BENCH).page for _ in range(2))
    here.locator("[data-key=reading]").click()
    here.keyboard.press("Escape")
    there.locator("[data-key=load-half]").click()
    here.locator("[data-key=load-half][aria-pressed=true]").wait_for()
    assert here.evaluate("document.activeElement === document.body")
    here.keyboard.press("?")
    here.get_by_role("dialog", name="Keys").wait_for()
    assert _value(here) == ""


def _value(page: Any) -> str:
    return str(page.locator("[data-key=reading]").input_value())


def test_the_condition_stays_in_sight_and_an_alert_too(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    page = visit(serve(), BENCH, viewport={"width": 800, "height": 1000}).page
    page.locator("details[data-key=observe]").wait_for()
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    assert page.evaluate("scrollY") > 300, "there is nothing to scroll"
    at = page.locator("[data-key=load-half]").bounding_box()
    assert 0 <= at["y"] < 200, "feed and load went out of sight"
    page.locator("[data-key=load-half]").click()
    page.locator("[data-key=load-half][aria-pressed=true]").wait_for()
    page.get_by_text("Parts and switches").click()
    page.locator("[data-key=did-words]").fill("C4 banana")
    page.locator("[data-key=did-store]").click()
    page.locator(".alert p").first.wait_for()
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    at = page.locator(".alert").bounding_box()
    assert 0 <= at["y"] < 300, "what went wrong is said out of sight"
