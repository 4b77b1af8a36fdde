"""Pins on pictures: kept in a file people can read and mend, found again at every check."""

from __future__ import annotations

import errno
import io
import os
import shutil
import threading
from pathlib import Path

import pytest
from PIL import Image
from tests.simulator import tray

from halfsplit.assembly.file import load
from halfsplit.assembly.model import Assembly
from halfsplit.bench import opening
from halfsplit.bench.opening import check_file
from halfsplit.bench.pinning import add_picture, put_pin, remove_picture, remove_pin
from halfsplit.bench.pins import MOST, where, where_check, where_net, where_parts
from halfsplit.bench.pins_file import Pins, load_pins, pictures_folder, pins_path
from halfsplit.problems import HalfsplitError, NotFoundError, ProblemsError


def photo(shade: int = 90, size: tuple[int, int] = (400, 300)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (shade, 120, 60)).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture
def pt3(tmp_path: Path) -> Assembly:
    file = tmp_path / "pt3.yaml"
    shutil.copy(tray.EXAMPLE, file)
    assembly, _ = load(file)
    assert assembly is not None
    return assembly


def pins(assembly: Assembly) -> Pins:
    found, problems = load_pins(assembly)
    assert problems == []
    return found


def spots(assembly: Assembly, name: str) -> list[tuple[str, str, bool]]:
    return [(s.picture, s.label, s.exact) for s in where(assembly, pins(assembly), name)]


def lead_on(assembly: Assembly, net: str) -> tuple[str, str]:
    """A part and its terminal on a net."""
    for ref, part in assembly.parts.items():
        for terminal, on in part.terminals().items():
            if on == net:
                return ref, terminal
    raise AssertionError(net)


def test_no_file_is_no_pins(pt3: Assembly) -> None:
    assert pins(pt3).pins == () and where(pt3, pins(pt3), "P5") == []
    assert not pins_path(pt3.file).exists()


def test_pinned_once_found_ever_after(pt3: Assembly) -> None:
    name, picture = add_picture(pt3, photo(), "component side")
    assert name == "picture-1" and (picture.width, picture.height) == (400, 300)
    put_pin(pt3, name, 0.25, 0.5, net="P5")
    put_pin(pt3, name, 0.123456, 0.75, part="C4")
    again = pins(pt3)
    assert [(p.what, p.name, p.x, p.y) for p in again.pins] == [
        ("net", "P5", 0.25, 0.5),
        ("part", "C4", 0.1235, 0.75),
    ]
    assert again.pictures[name].title == "component side"
    (spot,) = where(pt3, again, "p5")
    assert (spot.picture, spot.x, spot.y, spot.label, spot.exact) == (name, 0.25, 0.5, "P5", True)
    assert where(pt3, again, "c4")[0].probe == "look"
    folder = pictures_folder(pt3.file)
    assert {p.name for p in folder.iterdir()} == {picture.file, picture.preview}


def test_the_best_place_known_for_a_net(pt3: Assembly) -> None:
    """Pinned itself, else a point on it, else a lead on it, else a part with a lead on it."""
    point, data = next((k, p) for k, p in pt3.points.items() if p.net not in pt3.rails)
    net = data.net
    ref, terminal = lead_on(pt3, net)
    a, b = add_picture(pt3, photo(10))[0], add_picture(pt3, photo(60))[0]
    put_pin(pt3, a, 0.1, 0.1, part=ref)
    assert spots(pt3, net) == [(a, f"{ref}, its lead {terminal}", False)]
    put_pin(pt3, a, 0.2, 0.1, part=ref, terminal=terminal)
    assert spots(pt3, net) == [(a, f"{ref} {terminal}", True)]
    put_pin(pt3, b, 0.3, 0.1, part=ref)
    assert spots(pt3, net) == [
        (a, f"{ref} {terminal}", True),
        (b, f"{ref}, its lead {terminal}", False),
    ], "each picture shows the best it has"
    put_pin(pt3, a, 0.4, 0.1, point=point)
    assert spots(pt3, net)[0][1].startswith(point) and len(spots(pt3, net)) == 2
    assert spots(pt3, point) == [(a, point, True)]
    put_pin(pt3, a, 0.5, 0.1, net=net)
    assert spots(pt3, net)[0] == (a, pt3.net_label(net), True)


def test_a_point_that_was_not_pinned_is_shown_by_its_net(pt3: Assembly) -> None:
    point, data = next(iter(pt3.points.items()))
    a = add_picture(pt3, photo())[0]
    put_pin(pt3, a, 0.4, 0.6, net=data.net)
    assert [(s.x, s.y) for s in where(pt3, pins(pt3), point)] == [(0.4, 0.6)]


def test_a_lead_of_another_net_says_nothing_of_this_one(pt3: Assembly) -> None:
    a = add_picture(pt3, photo())[0]
    ref, part = next((r, p) for r, p in pt3.parts.items() if len(set(p.terminals().values())) > 1)
    (first, net), (_, other) = list(part.terminals().items())[:2]
    put_pin(pt3, a, 0.1, 0.1, part=ref, terminal=first)
    assert where_net(pt3, pins(pt3), net) and not where_net(pt3, pins(pt3), other)


def test_both_probes_of_a_check(pt3: Assembly) -> None:
    a = add_picture(pt3, photo())[0]
    put_pin(pt3, a, 0.1, 0.2, net="p5")
    put_pin(pt3, a, 0.3, 0.4, net="com")
    put_pin(pt3, a, 0.5, 0.6, net="n12")
    put_pin(pt3, a, 0.7, 0.8, part="C4")
    found = pins(pt3)
    red, black = where_check(pt3, found, "p5")
    assert (red.probe, red.x, black.probe, black.x) == ("red", 0.1, "black", 0.3)
    assert where_check(pt3, found, "p5", "n12")[-1].x == 0.5
    (look,) = where_check(pt3, found, "C4", quantity="look")
    assert (look.probe, look.label) == ("look", "C4")
    assert [s.label for s in where_parts(found, ["C4", "R3", "C4"])] == ["C4"]


def test_common_is_not_shown_everywhere(pt3: Assembly) -> None:
    a = add_picture(pt3, photo())[0]
    on_common = [r for r, p in pt3.parts.items() if pt3.common in p.terminals().values()]
    for k, ref in enumerate(on_common[: MOST + 3]):
        put_pin(pt3, a, 0.1 + 0.05 * k, 0.5, part=ref)
    assert len(where(pt3, pins(pt3), "com")) == MOST


def test_names_that_are_not(pt3: Assembly) -> None:
    a = add_picture(pt3, photo())[0]
    for wrong in ({"net": "nonesuch"}, {"part": "R99"}, {"point": "TP99"}, {},
                  {"net": "p5", "part": "C4"}, {"net": "p5", "terminal": "a"},
                  {"part": "C4", "terminal": "wiper"}):  # fmt: skip
        with pytest.raises(ProblemsError):
            put_pin(pt3, a, 0.5, 0.5, **wrong)
    for x in (-0.1, 1.1, float("nan"), float("inf")):
        with pytest.raises(ProblemsError):
            put_pin(pt3, a, x, 0.5, net="p5")
    with pytest.raises(ProblemsError, match="no picture"):
        put_pin(pt3, "picture-9", 0.5, 0.5, net="p5")
    with pytest.raises(NotFoundError, match="did you mean"):
        where(pt3, pins(pt3), "n122")
    assert pins(pt3).pins == ()


def test_moved_and_taken_out(pt3: Assembly) -> None:
    a, b = add_picture(pt3, photo(10))[0], add_picture(pt3, photo(60))[0]
    put_pin(pt3, a, 0.5, 0.5, net="p5")
    moved = put_pin(pt3, a, 0.505, 0.502, net="p5")
    put_pin(pt3, a, 0.8, 0.8, net="p5")
    put_pin(pt3, b, 0.5, 0.5, net="p5")
    assert [(p.picture, p.x) for p in pins(pt3).pins] == [(a, 0.505), (a, 0.8), (b, 0.5)]
    remove_pin(pt3, moved)
    assert [p.x for p in pins(pt3).pins] == [0.8, 0.5]
    with pytest.raises(NotFoundError):
        remove_pin(pt3, moved)
    remove_picture(pt3, a)
    assert [p.picture for p in pins(pt3).pins] == [b] and list(pins(pt3).pictures) == [b]
    assert add_picture(pt3, photo(200))[0] not in (b,)


def test_the_same_picture_twice_is_one(pt3: Assembly) -> None:
    assert add_picture(pt3, photo(), "a")[0] == add_picture(pt3, photo(), "b")[0]
    assert len(pins(pt3).pictures) == 1


@pytest.mark.parametrize(
    "title", ["../../../etc/passwd", "a\0b\nc: d", "\ud800x", "{[*&!|>'\"%@`", "- x: 1", "  "]
)
def test_titles_are_text_and_no_path(pt3: Assembly, title: str) -> None:
    name, picture = add_picture(pt3, photo(), title)
    assert pins(pt3).pictures[name].title == picture.title
    assert {p.name for p in pt3.file.parent.iterdir()} == {
        "pt3.yaml", "pt3.pins.yaml", "pt3.pictures"
    }  # fmt: skip


def test_comments_of_the_file_survive(pt3: Assembly) -> None:
    a = add_picture(pt3, photo())[0]
    put_pin(pt3, a, 0.1, 0.1, net="p5")
    path = pins_path(pt3.file)
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# Where nets")
    mine = text.replace("pins:\n", "pins:\n# measured with the board upside down\n")
    path.write_text(mine, encoding="utf-8")
    put_pin(pt3, a, 0.2, 0.2, net="n12")
    after = path.read_text(encoding="utf-8")
    assert "# measured with the board upside down" in after and "# Where nets" in after
    assert after.replace("- {picture: picture-1, x: 0.2, y: 0.2, net: n12}\n", "") == mine


BAD = """\
pictures:
  board: {file: ../../secret.png, width: 400, height: 300}
  gone: {file: 0123456789abcdef0123456789abcdef.jpg, width: 400, height: 300}
  odd: 7
pins:
  - {picture: gone, x: 0.5, y: 0.5, net: p5}
  - {picture: gone, x: 1.5, y: 0.5, net: p5}
  - {picture: gone, x: 0.5, y: 0.5, net: nonesuch}
  - {picture: gone, x: 0.5, y: 0.5, part: C4, terminal: wiper}
  - {picture: nowhere, x: 0.5, y: 0.5, part: C4}
  - {picture: gone, x: 0.5, y: 0.5}
  - {picture: gone, x: 0.5, y: 0.5, nett: p5}
  - 12
pinz: 1
"""


def test_a_bad_file_is_told_line_by_line_and_never_written_over(pt3: Assembly) -> None:
    path = pins_path(pt3.file)
    path.write_text(BAD, encoding="utf-8")
    found, problems = load_pins(pt3)
    assert [p.name for p in found.pins] == ["p5"], "what is right is used"
    told = {p.line: p for p in problems}
    assert set(told) == {2, 3, 4, 7, 8, 9, 10, 11, 12, 13, 14}
    assert told[3].severity == "doubt" and "is not there" in told[3].wrong
    assert "no name a picture was kept under" in told[2].wrong
    assert told[9].instead == "pos or neg"
    assert all(p.file == str(path) and p.instead for p in problems if p.line not in (3, 7, 8))
    with pytest.raises(ProblemsError):
        put_pin(pt3, "gone", 0.5, 0.5, net="p5")
    with pytest.raises(ProblemsError):
        add_picture(pt3, photo())
    assert path.read_text(encoding="utf-8") == BAD
    assert not pictures_folder(pt3.file).exists()


@pytest.mark.parametrize(
    "text", ["", "# only a comment\n", "pins: 7\n", "pictures: [1]\n", "- a\n", "a: {b\n", "\0",
             "pictures:\npins:\n", "&a pins: *a\n", "pins: &x [*x]\n"]
)  # fmt: skip
def test_any_text_is_read_or_told(pt3: Assembly, text: str) -> None:
    pins_path(pt3.file).write_text(text, encoding="utf-8")
    found, problems = load_pins(pt3)
    assert found.pins == () and all(p.wrong for p in problems)
    if not any(p.severity == "error" for p in problems):
        name, _ = add_picture(pt3, photo())
        put_pin(pt3, name, 0.5, 0.5, net="p5")
        assert len(pins(pt3).pins) == 1


def test_check_tells_of_the_pins_too(pt3: Assembly, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "healthy_doubts", lambda _: [])  # takes seconds
    before = check_file(pt3.file)
    pins_path(pt3.file).write_text("pins:\n  - {picture: a, x: 0, y: 0, net: p5}\n", "utf-8")
    (new,) = [p for p in check_file(pt3.file) if p not in before]
    assert new.file.endswith("pt3.pins.yaml") and new.line == 2


def test_a_full_disk_leaves_the_file_as_it_was(
    pt3: Assembly, monkeypatch: pytest.MonkeyPatch
) -> None:
    a = add_picture(pt3, photo())[0]
    put_pin(pt3, a, 0.1, 0.1, net="p5")
    before = pins_path(pt3.file).read_bytes()

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(HalfsplitError, match="No space left"):
        put_pin(pt3, a, 0.2, 0.2, net="n12")
    assert pins_path(pt3.file).read_bytes() == before
    assert not list(pt3.file.parent.glob(".*"))


def test_two_devices_at_once_lose_no_pin(pt3: Assembly) -> None:
    a = add_picture(pt3, photo())[0]
    nets = pt3.nets()[:16]

    def device(mine: list[str]) -> None:
        for k, net in enumerate(mine):
            put_pin(pt3, a, 0.05 * k, 0.5, net=net)

    both = [threading.Thread(target=device, args=(nets[k::2],)) for k in range(2)]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join()
    assert sorted(p.name for p in pins(pt3).pins) == sorted(nets)
