"""Pages that work something out for minutes: loads, protection, plan, waveform, report."""

from __future__ import annotations

import io
import math
from typing import Any

from nicegui import ui
from nicegui.elements.upload_files import SmallFileUpload
from nicegui.testing import User
from pypdf import PdfReader

from halfsplit.journal import glance, journal_path
from tests.web.conftest import App, until
from tests.web.test_pictures_page import drawn, on_raw_rails
from tests.web.test_plan_pages import options

LONG = 3000  # tries of 0.1 s; the machine may run five other things


def entries(app: App, kind: str) -> list[dict[str, Any]]:
    with glance(journal_path(app.file)) as journal:
        return [dict(e.body) for e in journal.entries() if e.kind == kind]


def typed(user: User, mark: str, text: str) -> None:
    (found,) = user.find(marker=mark).elements
    found.value = text  # type: ignore[attr-defined]


def said(user: User) -> list[str]:
    """All words on the page; a number and its unit are kept on one line there."""
    words = (str(getattr(e, "text", "")) for e in user.find(ui.element).elements)
    return [w.replace("\xa0", " ") for w in words]


async def test_loads_from_the_resistors_at_hand(app: App) -> None:
    """The 5 A rail at half load: 2.5 A at 5 V is 2 ohm, two of 1 ohm in series; at the upper limit
    of 5.25 V they take 5.25 * 5.25 / 2 = 13.8 W."""
    await on_raw_rails(app)
    user = app.user
    await user.open("/ladder/pt3.yaml")
    typed(user, "ladder-stock", "banana")
    user.find(marker="ladder").click()
    await user.should_see("banana", retries=LONG)
    typed(user, "ladder-stock", "1R/50W*4, 10R/25W*6, 47R/10W*4")
    user.find(marker="ladder").click()
    await user.should_see("1R0/50W + 1R0/50W", retries=LONG)
    words = said(user)
    assert {"2.50 A", "14 W"} <= set(words)
    assert [w for w in ("P5", "P12", "N12") if w not in words] == []


async def test_trips_measured_are_judged_stored_and_told(app: App) -> None:
    """The design notes have the crowbar of P5 fire between 5.8 and 6.6 V; 7.5 V is none of it."""
    await on_raw_rails(app)
    user = app.user
    await user.open("/protect/pt3.yaml")
    user.find(marker="work").click()
    await user.should_see("P5: crowbar", retries=LONG)
    user.find(marker="store-crowbar-P5").click()
    await user.should_see("Nothing is entered yet", retries=LONG)
    for mark in ("one", "two", "three"):
        typed(user, f"crowbar-P5-{mark}", "6.2V")
    user.find(marker="store-crowbar-P5").click()
    await user.should_see(marker="verdict", content="P5 crowbar: as it should be", retries=LONG)
    (body,) = entries(app, "protect")
    assert (body["rail"], body["test"], body["passed"]) == ("P5", "crowbar", True)
    assert body["volts"] == [6.2, 6.2, 6.2]
    for mark in ("one", "two", "three"):
        typed(user, f"crowbar-P5-{mark}", "7.5V")
    user.find(marker="store-crowbar-P5").click()
    await user.should_see(marker="verdict", content="P5 crowbar: not proved", retries=LONG)
    assert [b["passed"] for b in entries(app, "protect")] == [True, False]
    typed(user, "over-current-P5-knee", "lots")
    user.find(marker="store-over-current-P5").click()
    await user.should_see("lots", retries=LONG)
    assert len(entries(app, "protect")) == 2


async def test_a_plan_is_written_and_every_step_speaks_of_pages(app: App) -> None:
    await on_raw_rails(app)
    user = app.user
    await user.open("/plan/pt3.yaml")
    await user.should_see("No bring-up plan yet", retries=LONG)
    user.find(marker="write").click()
    await user.should_see("Step 1 of", retries=2 * LONG)
    (body,) = entries(app, "plan")
    titles = [s["title"] for s in body["steps"]]
    assert titles[0] == "Fuses to drawing" and titles[-1] == "Boards"
    for k, step in enumerate(body["steps"], 1):
        user.find(marker=f"step-{step['key']}").click()
        await user.should_see(f"Step {k} of {len(titles)}", retries=100)
        assert options(user) == []


async def test_a_report_has_what_was_read_on_screen_and_on_paper(app: App) -> None:
    await on_raw_rails(app)
    user = app.user
    await user.open("/report/pt3.yaml")
    for what in ("report", "worksheet"):
        user.find(marker=f"make-{what}").click()
        await user.should_see(marker=f"{what}-pdf", retries=LONG)
        (page,) = user.find(marker=f"{what}-html").elements
        served = await user.http_client.get(page.props["href"])
        assert "Power tray PT-3" in served.text and "<script" not in served.text
        (pdf,) = user.find(marker=f"{what}-pdf").elements
        paper = PdfReader(io.BytesIO((await user.http_client.get(pdf.props["href"])).content))
        words = " ".join(p.extract_text() for p in paper.pages)
        assert "Power tray PT-3" in words
        if what == "report":
            assert "1.10 V" in served.text and "1.10 V" in words


def scope() -> bytes:
    """What a scope may save of a reservoir: 10 ms of saw on 8.3 V, three periods, 5 kHz samples."""
    rows = ["time,CH1"]
    for k in range(150):
        t = k / 5000
        rows.append(f"{t:.6f},{8.3 - 60.0 * math.fmod(t, 0.01):.4f}")
    return "\n".join(rows).encode()


async def test_a_captured_waveform_is_laid_over_the_expected_one(app: App) -> None:
    await on_raw_rails(app)
    user = app.user
    await user.open("/pictures/pt3.yaml?picture=wave&net=v5r")
    user.find(marker="feed-mains").click()
    await until(lambda: "hs-chart" in drawn(user), 300)
    assert ">captured<" not in drawn(user)
    (receiver,) = user.find(marker="csv").elements
    assert isinstance(receiver, ui.upload)
    await receiver.handle_uploads([SmallFileUpload("scope.csv", "text/csv", scope())])
    await user.should_see("Captured: scope.csv", retries=LONG)
    await until(lambda: ">captured<" in drawn(user), 300)
    user.find(marker="leave-out").click()
    await until(lambda: "hs-chart" in drawn(user) and ">captured<" not in drawn(user), 300)
