"""Typing in and tables in the app, without a browser: what is written, said, refused, picked up."""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from nicegui import ui
from nicegui.elements.upload_files import SmallFileUpload
from nicegui.testing import User, user_simulation

from halfsplit.bench.shelf import Shelf
from halfsplit.journal import journal_path
from halfsplit.web.drafts import Drafts
from halfsplit.web.house import House
from halfsplit.web.server import build
from tests.web.conftest import OURS, _whole, until

__all__ = ["OURS", "_whole"]
START = "assembly: Bench five\ncommon: com\n\nparts:\n"
PATIENT = 300  # tries of a tenth of a second: other tests run beside this one


class Typist:
    """The app on a shelf with one empty machine, and a user who types."""

    def __init__(self, house: House, user: User, file: Path) -> None:
        self.house, self.user, self.file = house, user, file

    def text(self) -> str:
        return self.file.read_text(encoding="utf-8")

    def send(self, what: str, name: str, words: str = "", *ends: str, **more: Any) -> None:
        """What the page's script in the browser would tell."""
        boxes = [e for e in self.user.find(ui.element).elements if "data-typing" in e.props]
        (box,) = boxes
        detail = {"name": name, "words": words, "ends": [*ends], **more}
        for listener in list(box._event_listeners.values()):
            if listener.type == what:
                box._handle_event({"listener_id": listener.id, "args": {"detail": detail}})

    async def sees(self, *words: str) -> None:
        for said in words:
            await self.user.should_see(said, retries=PATIENT)


@pytest.fixture
async def typist(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Typist]:
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))
    folder = tmp_path / "shelf"
    folder.mkdir()
    file = folder / "five.yaml"
    file.write_text(START, encoding="utf-8")
    house = House(Shelf(folder), Drafts(tmp_path / "drafts"))
    async with user_simulation() as user:
        build(house)
        yield Typist(house, user, file)
        house.close()


async def test_a_new_machine_is_begun_on_the_shelf(typist: Typist) -> None:
    user = typist.user
    await user.open("/")
    await user.should_see("A new machine")
    (name,) = user.find(marker="new-name").elements
    assert isinstance(name, ui.input)
    name.value = "Bench supply <b>6</b>"
    user.find(marker="new").click()
    await typist.sees("Type in: Bench supply <b>6</b>")
    made = typist.file.with_name("bench-supply-b-6-b.yaml")
    assert "assembly:" in made.read_text(encoding="utf-8")
    await user.open("/")
    (name,) = user.find(marker="new-name").elements
    assert isinstance(name, ui.input)
    name.value = "five"
    user.find(marker="new").click()
    await typist.sees("is there already")


async def test_lines_are_written_said_taken_back_and_deleted(typist: Typist) -> None:
    await typist.user.open("/type/five.yaml")
    await typist.sees("Parts in the file: none yet", "Not yet: 1")
    typist.send("heard", "R1", "4k7", turn=1)
    await typist.sees("R1: resistor, by its letter")
    assert typist.text() == START
    typist.send("enter", "R1", "4k7", "p5")
    await typist.sees("the net of terminal b is not typed yet")
    assert typist.text() == START
    typist.send("enter", "R1", "4k7", "p5", "com")
    await typist.sees("R1: written, line 5.", "Parts in the file: 1")
    assert typist.text() == START + "  R1: {kind: resistor, value: 4k7, a: p5, b: com}\n"
    typist.send("heard", "C1", "100u", "P5", turn=2)
    await typist.sees("P5 is new, and easily taken for p5")
    typist.send("heard", "R1")
    await typist.sees("R1: resistor, by its letter, line 5 of the file")
    typist.user.find(marker="delete").click()
    await typist.sees("R1: deleted. Undo puts it back.")
    assert typist.text() == START
    typist.user.find(marker="undo").click()
    await typist.sees("Taken back: R1: deleted.")
    typist.user.find(marker="undo").click()
    await typist.sees("Taken back: R1: written.")
    assert typist.text() == START
    typist.user.find(marker="undo").click()
    await typist.sees("nothing was written here")
    assert not journal_path(typist.file).exists(), "typing needs no journal"


async def test_an_edit_in_an_editor_is_picked_up_and_wins(typist: Typist) -> None:
    await typist.user.open("/type/five.yaml")
    typist.send("heard", "R1", "4k7", "p5", "com", turn=1)
    typist.file.write_text(START + "  R1: {kind: resistor, value: 9k1, a: p5, b: com}\n")
    await typist.sees("The file was changed elsewhere", "new: R1")
    typist.send("enter", "R1", "4k7", "p5", "com")
    await typist.sees("R1 stands in the file already")
    assert "9k1" in typist.text()
    typist.send("enter", "R1", "4k7", "p5", "com")
    await typist.sees("R1: changed")
    assert "4k7" in typist.text() and "9k1" not in typist.text()
    broken = typist.text() + " oops"
    typist.file.write_text(broken)
    await typist.sees("cannot be read now", "five.yaml:")
    typist.send("enter", "R2", "1k", "p5", "com")
    await until(lambda: typist.user.find(marker="wrong").elements.pop().text != "")  # type: ignore[attr-defined]
    assert typist.text() == broken
    (place,) = typist.house._loose.values()
    assert typist.house.drafts.fields(place.machine)["typed_words"] == "1k"


async def test_odd_messages_write_nothing_outside_and_end_nothing(typist: Typist) -> None:
    await typist.user.open("/type/five.yaml")
    await typist.sees("Parts in the file: none yet")
    before = sorted(typist.file.parent.iterdir())
    for name in ("../x", "a b", "R1\n  X: {}", "x" * 9000, "__class__", "R1'\"</script>"):
        typist.send("enter", name, "4k7", "p5", "com")
        typist.send("walk", name, step="up")
        typist.send("recall", name, dirty=[])
    for odd in (None, 7, [], {"ends": 5}, {"name": None, "words": {}, "ends": [None] * 50}):
        (box,) = [e for e in typist.user.find(ui.element).elements if "data-typing" in e.props]
        for listener in list(box._event_listeners.values()):
            box._handle_event({"listener_id": listener.id, "args": {"detail": odd}})
    typist.send("enter", "R1", "4k7", "p5", "com")
    await until(lambda: "\n  R1: " in typist.text())  # in line with the braces above
    assert sorted(typist.file.parent.iterdir()) == before
    assert typist.text().startswith(START)


async def test_a_file_half_typed_leads_from_its_other_pages_to_typing(typist: Typist) -> None:
    await typist.user.open("/bench/five.yaml")
    await typist.sees("This machine could not be opened", "the file lists no part", "Type in")
    await typist.user.open("/type/none.yaml")
    await typist.sees("There is no such page")


async def test_a_table_is_looked_at_matched_and_written_as_one_edit(typist: Typist) -> None:
    user = typist.user
    await user.open("/table/five.yaml")
    (cells,) = user.find(marker="cells").elements
    assert isinstance(cells, ui.textarea)
    cells.value = "Bauteil;Wert;Netz 1;Netz 2\nR1;4,7k;p5;com\nR2;<i>1k</i>;p5;com\n"
    user.find(marker="look").click()
    await typist.sees("comma for its decimal point", "2 wrong", "<i>1k</i>")
    user.find(marker="comma").click()
    await typist.sees("1 new, 1 wrong")
    assert typist.text() == START
    user.find(marker="write").click()
    await typist.sees("1 parts new, 0 changed, 1 rows left out")
    assert typist.text() == START + "  R1: {kind: resistor, value: 4.7k, a: p5, b: com}\n"
    (receiver,) = user.find(ui.upload).elements
    assert isinstance(receiver, ui.upload)
    await receiver.handle_uploads([SmallFileUpload("x.xlsx", "text/csv", b"PK\x03\x04...")])
    await typist.sees("this workbook cannot be read")
    user.find(marker="make").click()
    await typist.sees("Save it as CSV")
    (saved,) = user.find(marker="save").elements
    token = str(saved.props["href"]).split("/")[3]
    made = typist.house.prints.find(token)
    assert made is not None
    assert made.data.decode("utf-8-sig") == (
        "reference,kind,value,a,b\r\nR1,resistor,4.7k,p5,com\r\n"
    )
    await user.open("/type/five.yaml")
    user.find(marker="undo").click()
    await typist.sees("Taken back: a table")
    assert typist.text() == START
