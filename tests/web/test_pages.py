"""The pages as a simulated user finds them: what is typed is stored, told, and told everywhere."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

import pytest
from nicegui import ui
from nicegui.testing import User

from halfsplit.bench.ahead import Reader
from halfsplit.bench.shelf import Found, Shelf
from halfsplit.journal import Journal, glance, journal_path
from halfsplit.web import house, server
from halfsplit.web.drafts import Drafts
from halfsplit.web.registry import PAGES
from tests.bringup.test_surroundings import TEXT
from tests.web.conftest import BENCH, App, until
from tests.web.test_pictures_page import drawn


def read_in(file: Path) -> list[tuple[str, str]]:
    with glance(journal_path(file)) as journal:
        return [(e.body["net"], e.body["text"]) for e in journal.entries() if e.kind == "read"]


def field(user: User, mark: str = "reading") -> ui.input:
    (found,) = user.find(marker=mark).elements
    assert isinstance(found, ui.input)
    return found


def heard(user: User) -> str:
    (found,) = user.find(marker="heard").elements
    return str(getattr(found, "text", ""))


async def enter(user: User, text: str) -> None:
    field(user).value = text
    await until(lambda: bool(heard(user)))
    user.find(marker="reading").trigger("keydown.enter")


async def test_the_shelf_lists_the_machine_with_its_hazards(app: App) -> None:
    await app.user.open("/")
    await app.user.should_see("Power tray PT-3")
    await app.user.should_see("fresh")
    await app.user.should_see("C1 may hold 4.2 J at 16 V", retries=900)
    assert not journal_path(app.file).exists(), "looking at the shelf made a journal"


async def test_what_is_typed_is_told_before_it_is_stored(app: App) -> None:
    await app.user.open(BENCH)
    field(app.user).value = "p5 4.98"
    await until(lambda: heard(app.user) == "P5 4.98 V, fed by mains, load none")
    field(app.user).value = "p5 4.98.1"
    await until(lambda: "4.98.1" in heard(app.user))
    assert read_in(app.file) == []


async def test_a_reading_is_on_disk_and_said_back(app: App) -> None:
    await app.user.open(BENCH)
    await enter(app.user, "n12 -1.71")
    await app.user.should_see(marker="said", content="N12 -1.71 V", retries=100)
    assert read_in(app.file) == [("n12", "-1.71")]
    (place,) = app.house._places.values()
    await until(lambda: app.house.drafts.fields(place.machine) == {})


async def test_both_devices_are_told_and_a_half_typed_reading_is_left_alone(app: App) -> None:
    async with AsyncExitStack() as stack:
        other = await app.another(stack)
        await app.user.open(BENCH)
        await other.open(BENCH)
        field(other).value = "p12 11."
        await enter(app.user, "n12 -1.71")
        for user in (app.user, other):
            await user.should_see(marker="said", content="N12 -1.71 V", retries=100)
        assert field(other).value == "p12 11."
        assert len(app.house._places) == 1


async def test_a_refused_reading_stays_in_its_field(app: App) -> None:
    await app.user.open(BENCH)
    await enter(app.user, "p5 4.98.1")
    await app.user.should_see(kind=ui.element, content="4.98.1")
    assert field(app.user).value == "p5 4.98.1" and read_in(app.file) == []
    await enter(app.user, "p5 4000")
    await app.user.should_see("It did show that: store it", retries=100)
    app.user.find("It did show that: store it").click()
    await until(lambda: read_in(app.file) == [("p5", "4000")])


async def test_a_full_disk_is_said_and_the_reading_kept(app: App) -> None:
    await app.user.open(BENCH)
    (place,) = app.house._places.values()

    def fill(noter: Any) -> None:
        """SQLite's own refusal of one page more, as when the disk has none left."""
        pages = noter.journal._db.execute("PRAGMA page_count").fetchone()[0]
        noter.journal._db.execute(f"PRAGMA max_page_count = {pages}")

    await place.look(fill)
    seen = 0
    for number in range(40):  # what room there is in the last page is used up first
        before = len(read_in(app.file))
        await enter(app.user, f"p5 1.{number:02d}")
        await until(lambda before=before: len(read_in(app.file)) > before or _alerted(app.user))
        if _alerted(app.user):
            seen = number
            break
    await app.user.should_see("NOT stored")
    await app.user.should_see("What you typed is still in the field.")
    assert field(app.user).value == f"p5 1.{seen:02d}"
    assert len(read_in(app.file)) == seen
    await place.look(lambda n: n.journal._db.execute("PRAGMA max_page_count = 1000000"))
    user = app.user
    user.find(marker="reading").trigger("keydown.enter")
    await until(lambda: len(read_in(app.file)) == seen + 1)


def _alerted(user: User) -> bool:
    return bool(
        [e for e in user.find(ui.element).elements if "NOT stored" in str(getattr(e, "text", ""))]
    )


async def test_a_draft_comes_back_after_a_restart_and_is_not_stored_twice(
    app: App, tmp_path: Path
) -> None:
    await app.user.open(BENCH)
    field(app.user).value = "p5 1.1"
    (place,) = app.house._places.values()
    await until(lambda: bool(heard(app.user)))
    await asyncio.sleep(0.5)
    kept = Drafts(tmp_path / "drafts").fields(place.machine)
    assert kept["reading"] == "p5 1.1" and kept["ticket"].startswith("app-")
    # The server dies after the reading is on disk and before the draft is taken away.
    app.user.find(marker="reading").trigger("keydown.enter")
    await until(lambda: read_in(app.file) == [("p5", "1.1")])
    app.house.drafts.put(place.machine, **kept)
    await app.user.open(BENCH)
    assert field(app.user).value == ""
    with glance(journal_path(app.file)) as journal:
        assert [e.key for e in journal.entries()] == [kept["ticket"]]


async def test_a_journal_in_use_elsewhere_is_said(app: App) -> None:
    with Journal.open(journal_path(app.file)):
        await app.user.open(BENCH)
        await app.user.should_see("This machine could not be opened")
        await app.user.should_see("in use by process")
    await app.user.open(BENCH)
    await app.user.should_see("Condition now")


async def test_a_broken_file_is_told_line_by_line(app: App) -> None:
    text = app.file.read_text(encoding="utf-8").replace("volts: 230V", "volts: banana", 1)
    app.file.write_text(text, encoding="utf-8")
    await app.user.open(BENCH)
    await app.user.should_see("This machine could not be opened")
    await app.user.should_see("banana")


async def test_only_what_the_shelf_listed_is_opened(app: App, tmp_path: Path) -> None:
    outside = tmp_path / "outside.yaml"
    outside.write_text(app.file.read_text(encoding="utf-8"), encoding="utf-8")
    for path in ("/bench/../outside.yaml", f"/bench/{outside}", "/bench/%2e%2e/outside.yaml"):
        await app.user.open(path)
        await app.user.should_see("There is no such page")
    assert app.house._places == {} and not journal_path(outside).exists()


async def test_every_page_opens_and_says_what_it_is(app: App) -> None:
    for slug, page in PAGES.items():
        assert page.about.endswith("."), f"{slug} does not say what it shows"
        if "assembly" not in page.sorts:
            continue  # those of boards and consoles are opened in test_board_pages.py
        await app.user.open(f"/{slug}/pt3.yaml")
        await app.user.should_see(page.label)


async def test_a_machine_nobody_looks_at_is_free_for_others(app: App) -> None:
    await app.user.open(BENCH)
    (place,) = app.house._places.values()
    app.house.leave(place)
    await until(lambda: not place.desk.clerk.thread.is_alive())
    with Journal.open(journal_path(app.file), wait=0):
        pass
    assert app.house._places == {}


async def test_the_shelf_tells_where_each_was_left_and_finds_by_words(app: App) -> None:
    """Open items, hazards and the next check stand on the shelf when one comes back, without the
    machine being opened; a search leaves out what has not all its words."""
    for k in range(23):  # more than one page of the shelf
        other = app.file.with_name(f"other{k:02d}.yaml")
        other.write_text(
            f"assembly: Other {k:02d}\nmachine: Spare\nparts: {{}}\n", encoding="utf-8"
        )
    await app.user.open(BENCH)
    (place,) = app.house._places.values()
    await place.write(lambda n: n.set_condition(n.condition_from("raws", "bench")))
    await place.write(lambda n: n.read("p5", "1.10"))
    await place.write(lambda n: n.change("R12 lift a"))
    desk = place.desk
    await until(lambda: desk.advice.last == desk.ledger["last"] and not desk.advice.early, 300)
    headline = place.desk.advice.headline()
    await app.user.open("/")
    await app.user.should_see("24 machines under")
    await app.user.should_see("Page 1 of 2")
    await app.user.should_see("fed by raws, load bench", retries=50)
    await app.user.should_see("R12 lead a lifted")
    await app.user.should_see("1 reading, last entry")
    assert headline
    await app.user.should_see(headline)
    await app.user.should_see("C1 may hold", retries=100)
    await app.user.open("/?search=spare+07")
    await app.user.should_see("1 machine with “spare 07”")
    await app.user.should_see("Other 07")
    await app.user.should_not_see("Power tray PT-3")
    await app.user.open("/?page=2")
    await app.user.should_see("Page 2 of 2")
    await app.user.open("/?search=nonesuch")
    await app.user.should_see("0 machines with “nonesuch”")


async def test_a_part_tested_on_its_own_is_stored(app: App) -> None:
    await app.user.open(BENCH)
    (part,) = app.user.find(marker="note-part").elements
    part.value = "C4"  # type: ignore[attr-defined]
    await app.user.should_see(marker="tested-False", retries=100)
    app.user.find(marker="tested-False").click()
    await until(lambda: _proved(app.file) == [("C4", False)])


def _proved(file: Path) -> list[tuple[str, bool]]:
    if not journal_path(file).exists():
        return []
    with glance(journal_path(file)) as journal:
        return [(e.body["part"], e.body["good"]) for e in journal.entries() if e.kind == "prove"]


async def test_a_machine_slow_to_open_does_not_hold_up_its_page(
    app: App, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page is there at once and goes on when the machine is; one that cannot be opened is told
    in its place."""
    monkeypatch.setattr(server, "PATIENCE", 0.0)
    await app.user.open(BENCH)
    await app.user.should_see("Opening …")
    await app.user.should_see("To the shelf")
    (place,) = await _soon(lambda: [*app.house._places.values()])
    await place.opened()
    await app.user.open(BENCH)  # as the page itself does then
    await app.user.should_see("Condition now")
    app.house.leave(place)
    app.house.leave(place)
    await until(lambda: not place.desk.clerk.thread.is_alive())
    app.file.write_text("assembly: Broken\nparts: {R1: {kind: banana}}\n", encoding="utf-8")
    await app.user.open(BENCH)
    await app.user.should_see("Opening …")
    await app.user.should_see("This machine could not be opened", retries=100)
    await app.user.should_see("there is no kind “banana”")  # what was typed, not a page to go to


async def _soon(found: Callable[[], list[Any]]) -> list[Any]:
    await until(lambda: bool(found()))
    return found()


async def test_links_of_the_shelf_are_there_while_its_files_are_still_read(
    app: App, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Files are read by another process: the server has its own loop free, and a link is never
    drawn anew under the finger. A reader that fails is said."""
    begun = []

    class Failing(Reader):
        def __init__(self, asked: Sequence[Found]) -> None:
            begun.append([f.key for f in asked])
            super().__init__(asked)
            if len(begun) == 1:
                self._process.kill()

    monkeypatch.setattr(house, "Reader", Failing)
    await app.user.open("/")
    await app.user.should_see("Hazards: reading the file …")
    (links,) = [e for e in app.user.find(kind=ui.html).elements if 'class="doors"' in e.content]
    assert f'href="{BENCH}"' in links.content
    await app.user.should_see("could not be read here", retries=900)
    await app.user.open("/")
    await app.user.should_see("C1 may hold 4.2 J at 16 V, its rating", retries=900)
    await app.user.open("/")
    await app.user.should_see("C1 may hold 4.2 J at 16 V, its rating")
    assert begun == [["pt3.yaml"]] * 2, "read once, then known"


async def test_what_was_undone_is_said(app: App) -> None:
    await app.user.open(BENCH)
    await enter(app.user, "n12 -1.71")
    await app.user.should_see("Stored as entry 1", retries=100)
    await enter(app.user, "n1x -2.4")
    await app.user.should_see(marker="said", content="n1x -2.40 V", retries=100)
    app.user.find(marker="undo").click()
    await app.user.should_see(marker="said", content="Taken back: n1x -2.40 V", retries=100)
    await app.user.should_see("Undone: entry 2")
    await app.user.should_see("The last in force is entry 1: N12 -1.71 V")


def test_a_shelf_of_one(shelf: Path) -> None:
    assert [f.key for f in Shelf(shelf).scan()] == ["pt3.yaml"]


async def test_the_suspects_tell_verdicts_signs_and_what_contradicts(app: App) -> None:
    """A small machine of its own: a lamp behind R1, dark at no volts; R1 tested bad, then good."""
    (app.file.parent / "panel.yaml").write_text(TEXT, encoding="utf-8")
    await app.user.open("/bench/panel.yaml")
    (place,) = app.house._places.values()
    await place.write(lambda n: n.observe("", "LP1", sign="dark"))
    await until(lambda: "LP1 dark (#1)" in drawn(app.user))
    assert "No reading yet" not in drawn(app.user), "a sign weighs too"
    await place.write(lambda n: n.read("lp", "0.00"))
    await place.write(lambda n: n.read("p12", "11.9"))
    await place.write(lambda n: n.prove("R1", False, ""))
    await until(lambda: "48 times likelier with R1 open" in drawn(app.user))
    assert "1 reading tells nothing either way: p12." in drawn(app.user)
    assert "R2 short: R1 tested bad (#4)" in drawn(app.user)
    await app.user.should_not_see("Contradictory")
    await place.write(lambda n: n.prove("R1", True, ""))
    await until(lambda: "Contradictory: R1: tested bad (#4)" in drawn(app.user))
    await app.user.should_see(kind=ui.element, content="Contradictory: R1: tested bad (#4)")
