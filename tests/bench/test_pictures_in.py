"""Pictures sent in: what is taken and what refused, and that nothing but pixels stays."""

from __future__ import annotations

import errno
import io
import os
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, PngImagePlugin

from halfsplit.bench.pictures_in import LARGEST, PREVIEW, keep_picture, kind_of, preview_of
from halfsplit.problems import HalfsplitError, ProblemsError

RED, BLUE = (230, 20, 20), (20, 20, 230)


def drawn(width: int = 120, height: int = 80, mode: str = "RGB") -> Image.Image:
    """Blue, with a red top left quarter."""
    picture = Image.new("RGB", (width, height), BLUE)
    picture.paste(RED, (0, 0, width // 2, height // 2))
    return picture.convert(mode)


def as_bytes(picture: Image.Image, kind: str, **more: Any) -> bytes:
    out = io.BytesIO()
    picture.save(out, kind, **more)
    return out.getvalue()


def chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png(width: int, height: int, data: bytes, *extra: bytes) -> bytes:
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    return (
        b"\x89PNG\r\n\x1a\n" + head + b"".join(extra) + chunk(b"IDAT", data) + chunk(b"IEND", b"")
    )


def kept(data: bytes, folder: Path) -> Image.Image:
    found = keep_picture(data, folder)
    with Image.open(folder / found.file) as picture:
        picture.load()
        assert picture.size == (found.width, found.height)
        return picture


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_each_kind_is_taken_with_its_preview(kind: str, tmp_path: Path) -> None:
    folder = tmp_path / "t.pictures"
    found = keep_picture(as_bytes(drawn(2400, 1600), kind), folder)
    assert (found.width, found.height) == (2400, 1600)
    with Image.open(folder / found.preview) as small:
        assert small.format == "JPEG" and small.size == (PREVIEW, round(PREVIEW / 1.5))
    assert sorted(p.name for p in folder.iterdir()) == sorted([found.file, found.preview])


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_as_the_camera_noted(orientation: int, tmp_path: Path) -> None:
    """Stored so that turning it as its EXIF note says brings the red quarter to the top left."""
    back = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }
    upright = drawn()
    stored = upright.transpose(back[orientation]) if orientation in back else upright
    exif = Image.Exif()
    exif[0x0112] = orientation
    shown = kept(as_bytes(stored, "JPEG", quality=95, exif=exif), tmp_path / "p")
    assert shown.size == (120, 80)
    pixel = shown.getpixel((20, 15))
    other = shown.getpixel((100, 65))
    assert isinstance(pixel, tuple) and isinstance(other, tuple)
    assert pixel[0] > 180 and pixel[2] < 80 and other[2] > 180 and other[0] < 80
    assert shown.getexif().get(0x0112, 1) == 1, "nothing turns it a second time"


def test_nothing_but_pixels_is_kept(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x010E] = "SECRET-NOTE"
    exif.get_ifd(0x8825)[1] = "N"
    info = PngImagePlugin.PngInfo()
    info.add_text("Comment", "SECRET-NOTE <script>")
    for data in (
        as_bytes(drawn(), "JPEG", exif=exif, comment=b"SECRET-NOTE") + b"SECRET-NOTE<script>",
        as_bytes(drawn(), "PNG", pnginfo=info) + b"PK\x03\x04 SECRET-NOTE",
    ):
        found = keep_picture(data, tmp_path / "p")
        for name in (found.file, found.preview):
            assert b"SECRET" not in (tmp_path / "p" / name).read_bytes()
            with Image.open(tmp_path / "p" / name) as picture:
                assert not picture.getexif()


def test_a_photo_of_twenty_million_pixels(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    rough = rng.integers(0, 255, (456, 684, 3), dtype=np.uint8)
    picture = Image.fromarray(rough).resize((5472, 3648))
    exif = Image.Exif()
    exif[0x0112] = 6
    found = keep_picture(as_bytes(picture, "JPEG", quality=90, exif=exif), tmp_path / "p")
    assert (found.width, found.height) == (3648, 5472)
    assert (tmp_path / "p" / found.preview).stat().st_size < 1_000_000


@pytest.mark.parametrize(
    ("picture", "kind", "mode"),
    [
        (drawn(mode="1"), "TIFF", "L"),
        (drawn(mode="L"), "PNG", "L"),
        (drawn(mode="P"), "PNG", "RGB"),
        (drawn(mode="CMYK"), "JPEG", "RGB"),
        (drawn(mode="CMYK"), "TIFF", "RGB"),
        (drawn(mode="RGBA"), "WEBP", "RGB"),
        (drawn(mode="LA"), "PNG", "RGB"),
        (Image.fromarray(np.full((40, 50), 0x8000, dtype=np.uint16)), "PNG", "L"),
        (Image.fromarray(np.full((40, 50), 0x8000, dtype=np.uint16)), "TIFF", "L"),
    ],
)
def test_colours_of_every_sort(picture: Image.Image, kind: str, mode: str, tmp_path: Path) -> None:
    shown = kept(as_bytes(picture, kind), tmp_path / "p")
    assert shown.mode == mode
    if picture.mode.startswith("I;16"):
        assert shown.getpixel((5, 5)) == 128


def test_clear_becomes_white(tmp_path: Path) -> None:
    clear = Image.new("RGBA", (50, 50), (0, 0, 0, 0))
    assert kept(as_bytes(clear, "PNG"), tmp_path / "p").getpixel((9, 9)) == (255, 255, 255)


def test_the_same_again_is_the_same_file(tmp_path: Path) -> None:
    data = as_bytes(drawn(), "JPEG")
    first, second = keep_picture(data, tmp_path / "p"), keep_picture(data, tmp_path / "p")
    assert first == second and len(list((tmp_path / "p").iterdir())) == 2
    assert preview_of(first.file) == first.preview


ANIMATED = as_bytes(drawn(), "TIFF", save_all=True, append_images=[drawn(), drawn()])
MOVING = as_bytes(drawn(), "WEBP", save_all=True, append_images=[drawn(mode="L").convert("RGB")])
REFUSED: list[tuple[str, bytes, str]] = [
    ("empty", b"", "empty"),
    ("text", b"hello" * 99, "no picture"),
    ("page", b"<html><script>alert(1)</script>", "page or a drawing as text"),
    ("svg", b'<?xml version="1.0"?><svg onload="x()"/>', "page or a drawing as text"),
    ("pdf", b"%PDF-1.7\n", "a PDF"),
    ("zip", b"PK\x03\x04" + b"\0" * 99, "zip archive"),
    ("program", b"\x7fELF" + b"\0" * 99, "no picture"),
    ("heic", b"\0\0\0\x18ftypheic" + b"\0" * 99, "HEIC"),
    ("gif", as_bytes(drawn(mode="P"), "GIF"), "a GIF"),
    ("bmp", as_bytes(drawn(), "BMP"), "BMP"),
    ("png head alone", b"\x89PNG\r\n\x1a\n", "damaged"),
    ("png head on text", b"\x89PNG\r\n\x1a\n" + b"<script>" * 99, "damaged"),
    ("jpeg head on a png", b"\xff\xd8\xff" + as_bytes(drawn(), "PNG"), "damaged"),
    ("webp head alone", b"RIFF\x10\0\0\0WEBPVP8 ", "damaged"),
    ("tiff head alone", b"II*\0\x08\0\0\0", "damaged"),
    ("short jpeg", as_bytes(drawn(900, 600), "JPEG")[:-3000], "cut short"),
    ("short png", as_bytes(drawn(900, 600), "PNG")[:-200], "cut short"),
    ("short webp", as_bytes(drawn(900, 600), "WEBP")[:-300], "damaged"),
    ("short tiff", as_bytes(drawn(900, 600), "TIFF")[:-90000], "damaged"),
    ("several pages", ANIMATED, "several pictures"),
    ("moving", MOVING, "several"),
    ("tiny", as_bytes(drawn(4, 4), "PNG"), "only 4 by 4"),
    ("a line", as_bytes(Image.new("L", (31_000, 20)), "PNG"), "31000 by 20"),
    ("bomb", png(50_000, 50_000, zlib.compress(b"\0" * 1_000_000)), "unpack|50000 by 50000"),
    ("smaller bomb", png(10_000, 8_000, zlib.compress(b"\0" * 80_008_000)), "10000 by 8000"),
    ("said larger than it is", png(7_000, 8_000, zlib.compress(b"\0" * 99)), "cut short"),
    (
        "bomb beside the picture",
        png(50, 50, zlib.compress(b"\0" * 2550),
            *[chunk(b"zTXt", b"k\0\0" + zlib.compress(b"\0" * 60_000_000))]),
        "damaged",
    ),
    ("16 bit float", as_bytes(Image.new("F", (50, 50)), "TIFF"), "not known"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("data", "words"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED]
)
def test_refused_in_words_and_nothing_written(data: bytes, words: str, tmp_path: Path) -> None:
    with pytest.raises(ProblemsError, match=words) as told:
        keep_picture(data, tmp_path / "p")
    assert told.value.problems[0].instead
    assert list(tmp_path.iterdir()) == []


def test_too_many_bytes_are_not_even_looked_at(tmp_path: Path) -> None:
    data = as_bytes(drawn(), "JPEG")
    with pytest.raises(ProblemsError, match="40 MB is the most"):
        keep_picture(data + b"\0" * LARGEST, tmp_path / "p")


def test_any_broken_byte_is_a_picture_or_words(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    for kind in ("JPEG", "PNG", "WEBP", "TIFF"):
        whole = as_bytes(drawn(64, 48), kind)
        for _ in range(60):
            data = bytearray(whole)
            for place in rng.integers(0, min(len(data), 700), 3):
                data[place] = rng.integers(0, 256)
            try:
                keep_picture(bytes(data), tmp_path / "p")
            except ProblemsError as error:
                assert error.problems[0].wrong
    assert not list((tmp_path / "p").glob("*.new"))


def test_a_full_disk_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(HalfsplitError, match="No space left"):
        keep_picture(as_bytes(drawn(), "JPEG"), tmp_path / "p")
    assert list((tmp_path / "p").iterdir()) == []


def test_kinds() -> None:
    assert kind_of(as_bytes(drawn(), "WEBP")) == "WEBP" and kind_of(b"RIFF....WAVE") == ""
