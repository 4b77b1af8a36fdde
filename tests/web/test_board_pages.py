"""Boards and the console as pages: the fourth demo's story, a port that is only a pair of files."""

from __future__ import annotations

import asyncio
import os
import shutil
import tty
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from nicegui import ui
from nicegui.elements.upload_files import SmallFileUpload
from nicegui.testing import User, user_simulation

from halfsplit.bench.shelf import Shelf
from halfsplit.journal import glance, journal_path
from halfsplit.web.drafts import Drafts
from halfsplit.web.house import House
from halfsplit.web.registry import PAGES
from halfsplit.web.server import build
from halfsplit.web.uploads import log_in
from tests.web.conftest import until

DEMO = Path(__file__).resolve().parents[2] / "examples" / "quillon16"


class Two:
    """The app on a shelf with the boards and the console of the demo."""

    def __init__(self, house: House, user: User, folder: Path) -> None:
        self.house, self.user, self.folder = house, user, folder

    def entries(self, name: str, kind: str) -> list[dict[str, Any]]:
        with glance(journal_path(self.folder / name)) as journal:
            return [dict(e.body) for e in journal.entries() if e.kind == kind]

    def typed(self, mark: str, text: str) -> None:
        (found,) = self.user.find(marker=mark).elements
        found.value = text  # type: ignore[attr-defined]

    def words(self, mark: str) -> list[str]:
        found = self.user.find(marker=mark).elements
        return [str(e.text) for e in found]  # type: ignore[attr-defined]


@pytest.fixture
async def two(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Two]:
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))
    folder = tmp_path / "shelf"
    folder.mkdir()
    for name in ("boards.yaml", "console.yaml"):
        shutil.copy(DEMO / name, folder)
    house = House(Shelf(folder), Drafts(tmp_path / "drafts"))
    async with user_simulation() as user:
        build(house)
        yield Two(house, user, folder)
        await asyncio.to_thread(house.close)


async def test_a_board_is_refused_until_it_is_measured(two: Two) -> None:
    user = two.user
    await user.open("/boards/boards.yaml")
    await user.should_see(marker="next-board", content="BP")
    user.find(marker="fit").click()
    await user.should_see("dead ohms of P5 at its edge", retries=100)
    assert two.entries("boards.yaml", "board-in") == []
    for rail, text in (("P5", "22"), ("P12", "OL"), ("N12", "OL")):
        two.typed(f"slot-BP-ohm-{rail}", text)
    user.find(marker="store-BP").click()
    await until(lambda: len(two.entries("boards.yaml", "slot")) == 3)
    assert two.entries("boards.yaml", "slot")[0]["value"] == 22.0
    user.find(marker="fit").click()
    await until(lambda: two.entries("boards.yaml", "board-in") == [{"board": "BP"}])
    await user.should_see("BP is in: read it before the next goes in", retries=100)
    # The next one is refused; a reason passes it, and stays visible.
    user.find(marker="fit").click()
    await user.should_see(marker="why-anyway", retries=100)
    await user.should_see("volts of P5 at the slot with BP in")
    two.typed("why-anyway", "spare memory, nothing to lose")
    user.find(marker="do-anyway").click()
    await until(lambda: len(two.entries("boards.yaml", "board-in")) == 2)
    await user.should_see("ML32: spare memory, nothing to lose", retries=100)
    user.find(marker="rail-P12").click()
    await user.should_see("N5 must read", retries=100)
    assert two.entries("boards.yaml", "rail-on") == []


async def test_e4_leads_to_the_straps(two: Two) -> None:
    user = two.user
    await user.open("/settings/boards.yaml")
    await user.should_see(marker="found-ML32.W1=out", retries=200)
    for item in ("ML32.W1=out", "ML32.W2=in", "ML32.W3=in", "CP1.JP1=out", "SL2.SW2-6=on"):
        user.find(marker=f"found-{item}").click()
        await until(lambda item=item: _strap(item) in two.entries("boards.yaml", "strap"))
        await user.should_see(marker=f"found-{item}", retries=200)
    two.typed("code-shown", "E4")
    user.find(marker="code").click()
    await user.should_see(marker="blamed", content="ML32 W1: out → in", retries=200)
    assert sorted(two.words("blamed")) == ["CP1 JP1: out → in", "ML32 W1: out → in"]
    user.find(marker="moved-ML32.W1").click()
    await until(lambda: two.entries("boards.yaml", "strap")[-1]["moved"])
    await user.should_see("W1: in, found out; wanted in", retries=200)


def _strap(item: str) -> dict[str, Any]:
    name, _, position = item.partition("=")
    board, _, strap = name.partition(".")
    return {"board": board, "strap": strap, "position": position, "moved": False}


async def test_e6_and_e5_lead_to_the_line_and_the_chip(two: Two) -> None:
    user = two.user
    await user.open("/memory/boards.yaml")
    two.typed("print", "E6 A=.... X=0408")
    user.find(marker="judge").click()
    await user.should_see(marker="where", content="MA3, driver U5", retries=200)
    await user.should_see("change no chip")
    two.typed("print", "LO 0000 HI 7FFF\nM1 OK\nE5 A=5A3C W=0020 R=0000")
    user.find(marker="judge").click()
    await user.should_see(marker="where", content="U35", retries=200)
    assert len(two.entries("boards.yaml", "memory")) == 2
    two.typed("print", "E5 A=5A3C W=zz R=0000")
    user.find(marker="judge").click()
    await user.should_see("1 line not understood", retries=200)
    user.find(marker="march-work").click()
    await user.should_see("March C-", retries=600)


async def test_the_cable_with_its_reasons_and_the_one_left_behind(two: Two) -> None:
    user = two.user
    await user.open("/wire/console.yaml")
    await user.should_see(marker="verdict", content="This cable will do", retries=200)
    await user.should_see("Ties within one plug")
    two.typed("idle-volts", "T1.2=9V")
    user.find(marker="plan").click()
    await user.should_see(marker="verdict", content="Explain that reading", retries=200)
    two.typed("idle-volts", "T9.2=9V")
    user.find(marker="plan").click()
    await user.should_see("it names no end of this cable", retries=200)
    user.find(marker="cable-as-found").click()
    await user.should_see("Wrong: ", retries=200)


async def test_a_cable_through_converters_is_whole_on_the_page(two: Two) -> None:
    user = two.user
    await user.open("/wire/console.yaml")
    await user.should_see(marker="verdict", content="This cable will do", retries=200)
    user.find(marker="end-b-T3").click()
    await user.should_see(marker="converters", retries=300)
    await user.should_see("1489: four receivers, TIA-232 to logic")
    await user.should_see("J3 to the converters")
    await user.should_see("T3 to the converters")
    await user.should_see("They are fed with")
    await user.should_see("Converters first alone, then with one machine joined, measure")
    await user.should_see("Drawing")


async def test_a_switch_and_garbage(two: Two) -> None:
    user = two.user
    await user.open("/line/console.yaml")
    await user.should_see("SL-2 SW2 stands at 1110 1110", retries=200)
    user.find(marker="garbage-cable-as-found").click()
    two.typed("garbage-typed", "HELLO")
    two.typed("garbage-appeared", "H\\xc5\\x8cLO")
    user.find(marker="garbage").click()
    await user.should_see(marker="cause", retries=900)
    await user.should_see("The cable: ")


def captured(text: str, rate: int, samples: int) -> bytes:
    """A line at TTL levels as a logic analyser saves it: start bit, 8 bits low first, even parity,
    a stop bit, pauses of none to two bits; `samples` a second."""
    bits = [1] * 20
    for place, letter in enumerate(text.encode()):
        data = [(letter >> k) & 1 for k in range(8)]
        bits += [0, *data, sum(data) % 2, 1, *([1] * (place % 3))]
    bits += [1] * 20
    rows = ["time,D0"]
    for k in range(int(len(bits) / rate * samples)):
        rows.append(f"{k / samples:.7f},{5.0 * bits[int(k / samples * rate)]:.1f}")
    return "\n".join(rows).encode()


async def test_a_captured_line_is_told(two: Two) -> None:
    user = two.user
    await user.open("/line/console.yaml")
    (receiver,) = user.find(marker="capture").elements
    assert isinstance(receiver, ui.upload)

    async def send(data: bytes) -> None:
        await receiver.handle_uploads([SmallFileUpload("line.csv", "text/csv", data)])

    await send(b"MZ\x90\0\0,1,2")
    await user.should_see("whatever its name says", retries=200)
    told = "SELF TEST 3 FAILED AT 1A2B, PRESS R TO RETRY"
    await send(captured(told, 1200, 48_000))
    await user.should_see(marker="captured", content="1200 Bd 8E1", retries=600)
    await user.should_see(told)


async def test_a_port_is_heard_and_nothing_is_sent_that_was_not_typed(two: Two) -> None:
    machine, ours = os.openpty()
    tty.setraw(machine)
    tty.setraw(ours)
    os.set_blocking(machine, False)
    user = two.user
    await user.open("/console/console.yaml")
    two.typed("port-name", os.ttyname(ours))
    user.find(marker="connect").click()
    await user.should_see(marker="connected", retries=200)
    os.write(machine, b"E4 SIZE 0\r\n<script>alert(1)</script>\r\n")
    await user.should_see("memory is missing where it must begin", retries=300)
    await user.should_see("&lt;script&gt;", retries=200)
    await user.should_not_see("<script>")
    with pytest.raises(BlockingIOError):
        os.read(machine, 100)
    two.typed("send-text", "GO")
    user.find(marker="send").click()
    came = bytearray()
    for _ in range(300):
        try:
            came += os.read(machine, 100)
        except BlockingIOError:
            await asyncio.sleep(0.02)
        if came:
            break
    assert bytes(came) == b"GO\r"
    user.find(marker="break").click()
    await user.should_see("(break)", retries=300)
    user.find(marker="disconnect").click()
    await user.should_see(marker="connect", retries=200)
    os.close(machine)
    os.close(ours)
    ways = [e["way"] for e in two.entries("console.yaml", "console")]
    assert ways.count("out") == 1 and ways.count("break") == 1


async def test_a_pasted_log_is_kept_explained_and_read_back(two: Two) -> None:
    user = two.user
    await user.open("/console/console.yaml")
    await user.should_see("The log is empty", retries=200)
    two.typed("log", "QM 2.1\nE5 A=5A3C W=0020 R=0000\n")
    user.find(marker="keep-log").click()
    await user.should_see("2 lines, 2 of them known", retries=200)
    user.find(marker="newest").click()
    await user.should_see(marker="log-page", content="2 lines", retries=200)
    await user.should_see("bits 0020 differ")


async def test_a_log_of_two_megabytes_comes_a_page_at_a_time(two: Two) -> None:
    line = "E4 SIZE 0 and some words to make it long\r\n"
    text = "".join(f"{k:06d} {line}" for k in range(2_000_000 // (len(line) + 7)))
    await two.user.open("/console/console.yaml")
    (place,) = two.house._places.values()
    from halfsplit.bench import console as consoles

    await place.console(lambda file, j: consoles.paste(file, j, text, {"from": "big.log"}))
    two.user.find(marker="newest").click()
    await two.user.should_see(marker="log-page", content="lines", retries=300)
    shown = int(two.words("log-page")[0].rpartition(", ")[2].split()[0])
    assert 500 < shown < 2000, "a page is no page"
    await two.user.should_see("040815")
    two.user.find(marker="earlier").click()
    await until(lambda: not _seen(two.user, "040815"))


def _seen(user: User, text: str) -> bool:
    try:
        return bool(user.find(text).elements)
    except AssertionError:
        return False


async def test_pages_of_one_sort_are_not_pages_of_another(two: Two) -> None:
    await two.user.open("/bench/boards.yaml")
    await two.user.should_see("There is no such page")
    await two.user.open("/console/boards.yaml")
    await two.user.should_see("There is no such page")
    assert two.house._places == {}
    await two.user.open("/")
    await two.user.should_see("Quillon-16")


async def test_every_page_of_boards_and_consoles_opens(two: Two) -> None:
    for slug, page in PAGES.items():
        for sort in set(page.sorts) - {"assembly"}:
            await two.user.open(f"/{slug}/{sort}.yaml")
            await two.user.should_see(page.label)
            await two.user.should_not_see("There is no such page")


@pytest.mark.parametrize(
    ("data", "wrong"),
    [(b"", "empty"), (b"\x89PNG\r\n\x1a\n....", "png"), (b"%PDF-1.7", "pdf"), (b"x" * 99, "more")],
)
def test_a_log_that_is_none_is_refused(data: bytes, wrong: str) -> None:
    from halfsplit.problems import ProblemsError

    with pytest.raises(ProblemsError, match=wrong):
        log_in("../../log.txt", data, 98)
    assert log_in("../../log.txt", b"\x00\xff E4", 98) == ("log.txt", "\x00ÿ E4")
