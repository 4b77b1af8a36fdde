"""Pins in the app: pictures come in, places are pinned, and the bench shows where to look."""

from __future__ import annotations

import io
from typing import Any

import httpx
import pytest
from nicegui import core, ui
from nicegui.elements.upload_files import SmallFileUpload
from nicegui.testing import User
from PIL import Image

from halfsplit.assembly.file import load
from halfsplit.bench.pins_file import load_pins, pictures_folder, pins_path
from halfsplit.web.bodies import Bounded
from halfsplit.web.crop import UNITS, box, crop_svg
from halfsplit.web.pieces.sight import Mark
from tests.web.conftest import BENCH, App, until

PINS = "/pins/pt3.yaml"


def photo(size: tuple[int, int] = (400, 300), exif: bytes = b"") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (90, 120, 60)).save(out, "JPEG", exif=exif)
    return out.getvalue()


async def send(user: User, data: bytes, name: str = "board.jpg") -> None:
    (receiver,) = user.find(marker="photo").elements
    assert isinstance(receiver, ui.upload)
    await receiver.handle_uploads([SmallFileUpload(name, "image/jpeg", data)])


async def point(user: User, x: float, y: float) -> None:
    """Tap on the picture; the page gets what its script in the browser would send."""
    (sight,) = [e for e in user.find(ui.element).elements if "data-sight" in e.props]
    for listener in list(sight._event_listeners.values()):
        if listener.type == "point":
            sight._handle_event({"listener_id": listener.id, "args": {"detail": {"x": x, "y": y}}})


def kept(app: App) -> list[tuple[str, str, str | None, float, float]]:
    assembly, _ = load(app.file)
    assert assembly is not None
    pins, problems = load_pins(assembly)
    assert problems == []
    return [(p.what, p.name, p.terminal, p.x, p.y) for p in pins.pins]


def write(user: User, mark: str, text: str) -> None:
    (found,) = user.find(marker=mark).elements
    assert isinstance(found, ui.input)
    found.value = text


async def with_photo(app: App) -> User:
    await app.user.open(PINS)
    await app.user.should_see("No picture yet")
    await send(app.user, photo())
    await app.user.should_see("board.jpg is here", retries=100)
    return app.user


async def test_name_then_tap_and_tap_then_name(app: App) -> None:
    user = await with_photo(app)
    write(user, "name", "P5")
    await point(user, 0.25, 0.5)
    await until(lambda: kept(app) == [("net", "P5", None, 0.25, 0.5)])
    await user.should_see("Pinned: net P5", retries=100)
    await point(user, 0.75, 0.5)
    await user.should_see("what is it?", retries=100)
    write(user, "name", "c4")
    write(user, "lead", "pos")
    user.find(marker="name").trigger("keydown.enter")
    await until(lambda: ("part", "C4", "pos", 0.75, 0.5) in kept(app))


async def test_a_wrong_name_is_told_and_nothing_pinned(app: App) -> None:
    user = await with_photo(app)
    write(user, "name", "Q99x")
    await point(user, 0.25, 0.5)
    await user.should_see(kind=ui.element, content="Q99x", retries=100)
    assert kept(app) == []


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"<svg onload=alert(1)>", "whatever its name says"),
        (b"%PDF-1.7 x", "a PDF"),
        (b"", "empty"),
    ],
)
async def test_what_is_no_picture_is_refused_in_words(app: App, data: bytes, says: str) -> None:
    await app.user.open(PINS)
    await send(app.user, data)
    await app.user.should_see(says, retries=100)
    assert not pictures_folder(app.file).exists()


async def test_only_pictures_of_the_file_of_pins_are_served(app: App) -> None:
    await with_photo(app)
    folder = pictures_folder(app.file)
    (folder / "secret.jpg").write_bytes(photo())
    full, preview = sorted(p.name for p in folder.iterdir() if p.name != "secret.jpg")
    transport = httpx.ASGITransport(core.app)
    async with httpx.AsyncClient(transport=transport, base_url="http://test") as client:
        for name in (full, preview):
            answer = await client.get(f"/files/pt3.yaml/{name}")
            assert answer.status_code == 200 and answer.headers["content-type"] == "image/jpeg"
            assert answer.content == (folder / name).read_bytes()
        for name in ("secret.jpg", "..%2fpt3.yaml", "pt3.pins.yaml", full[:-1]):
            assert (await client.get(f"/files/pt3.yaml/{name}")).status_code == 404, name
        assert (await client.get(f"/files/other.yaml/{full}")).status_code == 404


async def test_problems_of_the_file_are_listed_and_the_rest_works(app: App) -> None:
    user = await with_photo(app)
    write(user, "name", "P5")
    await point(user, 0.25, 0.5)
    await until(lambda: len(kept(app)) == 1)
    text = pins_path(app.file).read_text(encoding="utf-8")
    text += "- {picture: picture-1, x: 3, y: 0.1, net: P5}\n"
    text += "- {picture: picture-9, x: 0, y: 0, net: P5}\n"
    pins_path(app.file).write_text(text, encoding="utf-8")
    await user.open(PINS)
    await user.should_see("In the file of pins")
    await user.should_see("there is no picture")
    await user.should_see("net P5")


async def test_the_bench_shows_where_once_something_is_pinned(app: App) -> None:
    await app.user.open(BENCH)
    await app.user.should_see("Pin a photo of the board", retries=3000)
    (place,) = app.house._places.values()
    first = place.desk.advice.checks[0]["net"]
    await app.user.open(PINS)
    await send(app.user, photo())
    await app.user.should_see("board.jpg is here", retries=100)
    write(app.user, "name", first)
    await point(app.user, 0.25, 0.5)
    await until(lambda: len(kept(app)) == 1)
    await app.user.open(BENCH)

    def told() -> str:
        """What a healthy machine reads, by the limits in the file and then by its circuit."""
        (asked,) = [c for c in place.desk.advice.checks if c["net"] == first]
        return f"healthy {asked['healthy']}".replace("<", "&lt;")

    def drawn() -> str:
        found = [e for e in app.user.find(ui.html).elements if isinstance(e, ui.html)]
        return "".join(e.content for e in found)

    await until(lambda: "red probe: " in drawn() if _any_html(app.user) else False)
    await until(lambda: told() in drawn())
    await app.user.should_not_see("Pin a photo of the board")


def _any_html(user: User) -> bool:
    return bool(user.current_layout and list(user.current_layout.descendants())) and any(
        isinstance(e, ui.html) for e in user.current_layout.descendants()
    )


def test_a_piece_holds_its_marks_and_stays_on_the_picture() -> None:
    for x, y in ((0.0, 0.0), (1.0, 1.0), (0.5, 0.5), (0.99, 0.01)):
        left, top, w, h = box([Mark(x, y, ("a",), "red")], 4000, 3000)
        assert 0 <= left <= x * 4000 <= left + w <= 4000
        assert 0 <= top <= y * 3000 <= top + h <= 3000
    marks = [Mark(0.1, 0.1, ("a",), "red"), Mark(0.5, 0.4, ("b",), "black")]
    left, top, w, h = box(marks, 3000, 4000)
    assert all(left <= m.x * 3000 <= left + w and top <= m.y * 4000 <= top + h for m in marks)
    made = crop_svg("/files/x", 3000, 4000, [Mark(0.1, 0.1, ('<b>"',), "red")], "<i>")
    assert "<b>" not in made and "<i>" not in made and f'viewBox="0 0 {UNITS:g}' in made


class Sink:
    """An application that reads its body."""

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        more = True
        while more:
            more = (await receive()).get("more_body", False)
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"read"})


@pytest.mark.parametrize("announced", [True, False])
@pytest.mark.parametrize(("size", "status"), [(1000, 200), (1001, 413), (500_000, 413)])
async def test_a_body_over_the_limit_is_refused(size: int, status: int, announced: bool) -> None:
    async def pieces() -> Any:
        for start in range(0, size, 400):
            yield b"x" * min(400, size - start)

    transport = httpx.ASGITransport(Bounded(Sink(), 1000))
    async with httpx.AsyncClient(transport=transport, base_url="http://test") as client:
        content = b"x" * size if announced else pieces()
        answer = await client.post("/", content=content)
    assert answer.status_code == status


async def test_a_phones_twenty_megapixels_turned_upright(cold: App) -> None:
    """5184 by 3888, noted as lying on its side: kept whole and upright, shown by a small copy."""
    exif = Image.Exif()
    exif[0x0112] = 6
    await cold.user.open(PINS)
    await send(cold.user, photo((5184, 3888), exif.tobytes()), "IMG_0042.JPG")
    await cold.user.should_see("IMG_0042.JPG is here", retries=1200)
    assembly, _ = load(cold.file)
    assert assembly is not None
    (held,) = load_pins(assembly)[0].pictures.values()
    assert (held.width, held.height) == (3888, 5184)
    with Image.open(pictures_folder(cold.file) / held.file) as whole:
        assert whole.size == (3888, 5184)
    with Image.open(pictures_folder(cold.file) / held.preview) as small:
        assert max(small.size) <= 1600 and small.height > small.width
