"""What goes wrong at a bench: power cuts, a full disk, a lost network, two devices, two servers."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

from tests.browser.conftest import PROGRAM, Serve, Visit
from tests.browser.test_story import BENCH, clean, readings, said


def type_in(page: Any, text: str) -> None:
    page.locator("[data-key=reading]").fill(text)
    shown = text.partition(" ")[2]
    page.locator("#heard.good", has_text=shown).wait_for()


def test_nothing_is_lost_when_the_server_is_killed(serve: Serve, visit: Visit, shelf: Path) -> None:
    """A stored reading stays stored, once; a half-typed one is back in its field."""
    first = serve()
    page = visit(first, BENCH).page
    type_in(page, "p5 1.10")
    page.keyboard.press("Enter")
    said(page, "P5 1.10 V")
    type_in(page, "n12 -1.7")
    page.wait_for_timeout(600)  # the draft is written a moment after the last key
    first.kill()
    page.locator("#connection", has_text="No connection").wait_for()
    again = serve("--port", str(first.port))
    page.locator("#connection").wait_for(state="hidden")
    page.locator("#heard.good", has_text="N12 -1.70 V").wait_for()
    assert page.locator("[data-key=reading]").input_value() == "n12 -1.7"
    page.locator("[data-key=reading]").press("End")
    page.keyboard.type("1")
    page.locator("#heard.good", has_text="N12 -1.71 V").wait_for()
    page.keyboard.press("Enter")
    said(page, "N12 -1.71 V")
    assert readings(shelf) == [("p5", "1.10"), ("n12", "-1.71")]
    assert again.process.poll() is None


def test_killed_in_the_middle_of_an_entry_it_is_stored_or_back_in_its_field(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    """Power goes a moment after Enter: never lost, never stored twice, whenever that moment was."""
    server = serve()
    page = visit(server, BENCH).page
    for number, moment in enumerate((0, 15, 60, 200)):
        text = f"p5 1.{number}1"
        type_in(page, text)
        page.wait_for_timeout(600)  # the draft is on disk, as after any pause to look at the meter
        page.keyboard.press("Enter")
        page.wait_for_timeout(moment)
        server.kill()
        server = serve("--port", str(server.port))
        page.locator("#connection").wait_for(state="hidden")
        page.locator("[data-key=reading]").wait_for()
        page.wait_for_timeout(500)
        value = text.partition(" ")[2]
        if page.locator("[data-key=reading]").input_value():
            page.locator("[data-key=reading]").press("Enter")
            said(page, f"P5 {value} V")
        assert [t for _, t in readings(shelf)].count(value) == 1, f"killed {moment} ms after Enter"


def test_a_key_typed_while_the_answer_is_under_way_is_kept(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    page = visit(serve(), BENCH).page
    for number in range(5):
        type_in(page, f"p5 1.{number}")
        page.keyboard.press("Enter")
        page.locator("[data-key=reading]").fill("n12 -1")  # does not wait for the answer
        said(page, f"P5 1.{number}0 V")
        page.wait_for_timeout(300)
        assert page.locator("[data-key=reading]").input_value() == "n12 -1"
    assert readings(shelf) == [("p5", f"1.{number}") for number in range(5)]


def test_two_devices_see_the_same(serve: Serve, visit: Visit, shelf: Path) -> None:
    server = serve()
    bench, tablet = (visit(server, BENCH) for _ in range(2))
    tablet.page.locator("[data-key=reading]").fill("12")
    type_in(bench.page, "n12 -1.71")
    bench.page.keyboard.press("Enter")
    for watched in (bench, tablet):
        said(watched.page, "N12 -1.71 V")
    bench.page.locator("[data-key=load-half]").click()
    tablet.page.locator("[data-key=load-half][aria-pressed=true]").wait_for()
    # What somebody is typing on the other device is left alone.
    assert tablet.page.locator("[data-key=reading]").input_value() == "12"
    assert bench.page.locator("[data-key=reading]").input_value() == ""
    for watched in (bench, tablet):
        clean(watched)


def test_what_is_typed_survives_a_dropped_network(serve: Serve, visit: Visit, shelf: Path) -> None:
    page = visit(serve(), BENCH).page
    type_in(page, "p5 1.1")
    page.context.set_offline(True)
    page.evaluate("window.socket.io.engine.close()")
    page.locator("#connection", has_text="No connection").wait_for()
    page.locator("[data-key=reading]").press_sequentially("0")
    page.context.set_offline(False)
    page.locator("#connection").wait_for(state="hidden")
    page.locator("#heard.good", has_text="P5 1.10 V").wait_for()
    assert page.locator("[data-key=reading]").input_value() == "p5 1.10"
    page.locator("[data-key=reading]").press("Enter")
    said(page, "P5 1.10 V")
    assert readings(shelf) == [("p5", "1.10")]


def test_a_second_server_on_the_same_shelf_is_told_of_the_first(serve: Serve, shelf: Path) -> None:
    first = serve()
    second = subprocess.run(
        [*PROGRAM, "app", str(shelf)], capture_output=True, text=True, timeout=60, check=False
    )
    assert second.returncode == 5
    assert first.address in second.stderr and f"process {first.told['process']}" in second.stderr
    assert "Traceback" not in second.stderr


def test_a_journal_in_use_is_said_on_the_page_and_by_the_command(
    serve: Serve, visit: Visit, shelf: Path
) -> None:
    page = visit(serve(), BENCH).page
    page.locator("[data-key=reading]").wait_for()
    command = subprocess.run(
        [*PROGRAM, "read", str(shelf / "hd40" / "pt3.yaml"), "p5=1"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert command.returncode == 5 and "in use by process" in command.stderr
    assert readings(shelf) == []
