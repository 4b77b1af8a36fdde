"""A meter by wire on the bench page: shown live, taken by a person only, unplugged without loss."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from nicegui.testing import User

from halfsplit.instruments.simulated import SimulatedMeter
from halfsplit.journal import glance, journal_path
from halfsplit.problems import ProblemsError
from halfsplit.web import meters
from halfsplit.web.meters import MeterDesk, meter_desk
from tests.web.conftest import BENCH, App, until
from tests.web.test_pages import field, heard


@pytest.fixture
def meter(monkeypatch: pytest.MonkeyPatch) -> SimulatedMeter:
    """The meter at every address, so that a test can pull its cable."""
    made = SimulatedMeter(source=lambda _: 4.98, apart=0.02, seed=3, noise=0.0)
    monkeypatch.setattr(meters, "meter_at", lambda text, allowed: made)
    return made


def bodies(app: App) -> list[dict[str, Any]]:
    if not journal_path(app.file).exists():
        return []
    with glance(journal_path(app.file)) as journal:
        return [dict(e.body) for e in journal.entries() if e.kind == "read"]


async def reading(app: App, place: str = "p5") -> MeterDesk:
    """The bench page with a meter being read, to be taken at a place."""
    await app.user.open(BENCH)
    (at,) = app.user.find(marker="at").elements
    at.value = place  # type: ignore[attr-defined]
    (where,) = app.user.find(marker="meter-at").elements
    where.value = "/dev/ttyUSB7"  # type: ignore[attr-defined]
    app.user.find(marker="read-meter").click()
    (open_place,) = app.house._places.values()
    desk = meter_desk(open_place)
    await until(lambda: desk.live is not None and desk.live.fresh)
    return desk


def take(user: User) -> None:
    user.find(marker="take").click()


async def test_nothing_is_stored_until_somebody_takes_it(app: App, meter: SimulatedMeter) -> None:
    desk = await reading(app)
    await until(lambda: desk.held == 1)
    await app.user.should_see("Stood still: 4.980 V", retries=100)
    assert bodies(app) == [] and field(app.user).value == ""
    take(app.user)
    await until(lambda: field(app.user).value == "4.980 V")
    assert bodies(app) == []
    app.user.find(marker="reading").trigger("keydown.enter")
    await until(lambda: len(bodies(app)) == 1)
    (body,) = bodies(app)
    assert (body["net"], body["text"], body["value"]) == ("p5", "4.980 V", 4.98)
    assert body["instrument"]["identity"] == "simulated meter: nothing was measured"
    assert body["instrument"]["settled"] and body["instrument"]["raw"] == "4.980 V"
    await desk.stop()


async def test_taken_and_stored_by_one_press(app: App, meter: SimulatedMeter) -> None:
    desk = await reading(app)
    app.user.find("Take stores it at once").click()
    take(app.user)
    await until(lambda: len(bodies(app)) == 1)
    await desk.stop()


async def test_typed_over_it_is_a_typed_reading(app: App, meter: SimulatedMeter) -> None:
    desk = await reading(app)
    take(app.user)
    await until(lambda: field(app.user).value == "4.980 V")
    field(app.user).value = "4.97"
    app.user.find(marker="reading").trigger("keydown.enter")
    await until(lambda: len(bodies(app)) == 1)
    assert "instrument" not in bodies(app)[0] and bodies(app)[0]["text"] == "4.97"
    await desk.stop()


async def test_what_is_half_typed_is_not_taken_over(app: App, meter: SimulatedMeter) -> None:
    desk = await reading(app)
    field(app.user).value = "4.9"
    take(app.user)
    await app.user.should_see("A reading is half typed", retries=100)
    assert field(app.user).value == "4.9" and bodies(app) == []
    await desk.stop()


async def test_unplugged_it_says_so_and_loses_nothing(app: App, meter: SimulatedMeter) -> None:
    desk = await reading(app)
    take(app.user)
    await until(lambda: field(app.user).value == "4.980 V")
    meter.pull()
    await app.user.should_see("Unplugged", retries=300)
    await app.user.should_see("Last shown: 4.980 V.")
    assert field(app.user).value == "4.980 V"
    app.user.find(marker="reading").trigger("keydown.enter")
    await until(lambda: len(bodies(app)) == 1)
    await until(lambda: heard(app.user) == "")
    field(app.user).value = ""  # as the browser empties it
    app.user.find("Volts").click()  # and whatever the next check would be
    take(app.user)
    await app.user.should_see("Nothing was taken", retries=100)
    meter.plug()
    await until(lambda: desk.live is not None and desk.live.fresh)
    take(app.user)
    await until(lambda: field(app.user).value == "4.980 V")
    await desk.stop()


async def test_ohms_only_when_all_is_off(app: App, meter: SimulatedMeter) -> None:
    desk = await reading(app)
    app.user.find("Ohms").click()
    take(app.user)
    await app.user.should_see("only once the condition says that all is off", retries=100)
    assert meter.quantity == "volts" and bodies(app) == []
    (place,) = app.house._places.values()
    await place.write(lambda n: n.set_condition(n.condition_from("off", None)))
    await until(lambda: meter.quantity == "ohms")
    await desk.stop()


async def test_it_is_let_go_of_when_nobody_looks(app: App, meter: SimulatedMeter) -> None:
    desk = await reading(app)
    live = desk.live
    assert live is not None and app.user.client is not None
    app.user.client.delete()
    await until(lambda: desk.live is None and live.state == "stopped")
    assert not meter._open


async def test_no_file_of_this_computer_is_read_as_a_meter(app: App) -> None:
    await app.user.open(BENCH)
    (place,) = app.house._places.values()
    for address in ("replay:/etc/passwd", "simulated:4.98V"):
        with pytest.raises(ProblemsError, match="not to be used from here"):
            await meter_desk(place).start(address, "volts")
    await app.user.should_not_see("A simulated meter")
    place.pretend = True
    await meter_desk(place).start("simulated:4.98V", "volts")
    await asyncio.sleep(0)
    await meter_desk(place).stop()
