"""Pictures in the app: each is of this machine, and where there is none the page says why."""

from __future__ import annotations

from typing import Any

import pytest
from nicegui import ui
from nicegui.elements.upload_files import SmallFileUpload
from nicegui.testing import User

from tests.web.conftest import App, until

PICTURES = "/pictures/pt3.yaml"


def drawn(user: User) -> str:
    """All drawings on the page."""
    assert user.current_layout is not None
    found = [e for e in user.current_layout.descendants() if isinstance(e, ui.html)]
    return "".join(e.content for e in found)


async def on_raw_rails(app: App) -> Any:
    """The machine on the feed whose tables are solved already, with one reading."""
    await app.user.open("/trail/pt3.yaml")
    (place,) = app.house._places.values()
    await place.write(lambda n: n.set_condition(n.condition_from("raws", None)))
    await place.write(lambda n: n.read("p5", "1.10"))
    return place


async def test_the_circuit_around_a_part_and_on_from_there(app: App) -> None:
    await on_raw_rails(app)
    await app.user.open(PICTURES + "?around=R4")
    await until(lambda: 'data-part="R4"' in drawn(app.user))
    assert 'data-part="C1"' not in drawn(app.user), "that is far from R4"
    app.user.find(marker="go-Q3").click()
    await until(lambda: 'class="part focus" data-part="Q3"' in drawn(app.user))
    await until(lambda: "exp " in drawn(app.user), 120)


async def test_a_click_in_the_drawing_goes_there(app: App) -> None:
    await on_raw_rails(app)
    await app.user.open(PICTURES + "?around=R4")
    await until(lambda: 'data-part="R4"' in drawn(app.user))
    (box,) = [e for e in app.user.find(ui.element).elements if "data-picks" in e.props]
    for listener in list(box._event_listeners.values()):
        if listener.type == "choose":
            box._handle_event({"listener_id": listener.id, "args": {"detail": {"name": "C4"}}})
    await until(lambda: 'class="part focus" data-part="C4"' in drawn(app.user))


async def test_a_name_there_is_not_is_told(app: App) -> None:
    await app.user.open(PICTURES + "?around=Q99x")
    await app.user.should_see("there is no part, net, rail or point Q99x", retries=100)


async def test_a_rail_against_its_load_with_what_was_read(app: App) -> None:
    await on_raw_rails(app)
    await app.user.open(PICTURES + "?picture=load")
    await until(lambda: "P5 against its load, fed by raws" in drawn(app.user), 120)
    assert ">read<" in drawn(app.user)


async def test_no_waveform_is_told_in_its_place(app: App) -> None:
    await on_raw_rails(app)
    await app.user.open(PICTURES + "?picture=wave&net=P5")
    await app.user.should_see("No picture: nothing alternates", retries=600)
    assert "hs-chart" not in drawn(app.user)


@pytest.mark.parametrize("data", [b"<svg>1,2</svg>", b"MZ\x90\0\0,1,2"])
async def test_a_capture_that_is_no_table_is_refused(app: App, data: bytes) -> None:
    await app.user.open(PICTURES + "?picture=wave")
    (receiver,) = app.user.find(marker="csv").elements
    assert isinstance(receiver, ui.upload)
    await receiver.handle_uploads([SmallFileUpload("scope.csv", "text/csv", data)])
    await app.user.should_see("whatever its name says", retries=100)
    await app.user.should_not_see("Captured: scope.csv")
