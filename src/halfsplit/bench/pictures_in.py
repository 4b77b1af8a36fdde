"""A picture somebody sends: checked, turned the right way up, and written anew before it is kept.

What is kept was drawn by us from its pixels, so nothing else a file may carry (programs, where it
was taken, a second picture) is kept or served. No name of the sender's is used for any path.
"""

from __future__ import annotations

import hashlib
import io
import os
import secrets
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from halfsplit.problems import HalfsplitError, Problem, ProblemsError

if TYPE_CHECKING:
    from PIL.Image import Image

LARGEST = 40_000_000  # bytes: a photo of 20 million pixels has 5 to 15 million
MOST_PIXELS = 60_000_000  # decoded, 180 million bytes; scanners at A3 and 300 dpi give 17 million
LONGEST_SIDE = 30_000  # pixels; JPEG itself ends at 65,535
SMALLEST_SIDE = 16
PREVIEW = 1600  # pixels, longest side: a tablet's screen
_LOSSLESS = 16_000_000  # pixels up to which a coloured scan is kept without loss
_PHOTO, _SMALL = 92, 80  # JPEG qualities: marks of a board stay readable; a preview loads fast

# How files begin. Sources: ITU-T T.81 B.1.1.3; W3C PNG 5.2; RFC 9649 section 2; TIFF 6.0 section 2.
_STARTS = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"II*\x00", "TIFF"),
    (b"MM\x00*", "TIFF"),
)
# What people send by mistake, how it begins, and the way out.
_OTHERS = (
    (0, b"%PDF", "a PDF", "the page as PNG, or a screenshot of it"),
    (4, b"ftyphei", "a HEIC photo", "the photo as JPEG: phones offer that when they share it"),
    (4, b"ftypmif", "a HEIC photo", "the photo as JPEG: phones offer that when they share it"),
    (4, b"ftypavif", "an AVIF picture", "it as PNG or JPEG"),
    (0, b"GIF8", "a GIF", "it as PNG"),
    (0, b"BM", "a BMP picture", "it as PNG"),
    (0, b"II+\x00", "a BigTIFF", "it as PNG"),
    (0, b"PK\x03\x04", "a zip archive", "the pictures in it, one by one"),
    (0, b"<", "a page or a drawing as text", "it as PNG"),
)
WANTED = "a picture as JPEG, PNG, WebP or TIFF"


@dataclass(frozen=True, slots=True)
class Kept:
    """A picture on disk.

    Attributes
    ----------
    file: its name in the folder, made of what is in it.
    preview: name of the small one beside it.
    width, height: in pixels, the right way up.
    """

    file: str
    preview: str
    width: int
    height: int


def preview_of(file: str) -> str:
    """Name of the small picture beside `file`."""
    return f"{file.rpartition('.')[0]}.preview.jpg"


def kind_of(data: bytes) -> str:
    """``JPEG``, ``PNG``, ``WEBP`` or ``TIFF`` by how it begins; "" for anything else."""
    for start, kind in _STARTS:
        if data.startswith(start):
            return kind
    return "WEBP" if data[:4] == b"RIFF" and data[8:12] == b"WEBP" else ""


def keep_picture(data: bytes, folder: Path) -> Kept:
    """Check `data` and write it anew into `folder`, with a preview; the same picture again is the
    same file. Takes a second or two for a large photo: not in a thread that serves pages.

    Raises
    ------
    ProblemsError: it is no picture of a kind we take, too large, damaged, or several in one.
    HalfsplitError: it cannot be written; nothing half-written is left.
    """
    full = _upright(decoded(data))
    photo = kind_of(data) == "JPEG" or (full.mode == "RGB" and full.width * full.height > _LOSSLESS)
    body = _written(full, "JPEG" if photo else "PNG", _PHOTO)
    name = f"{hashlib.sha256(body).hexdigest()[:32]}.{'jpg' if photo else 'png'}"
    try:
        folder.mkdir(exist_ok=True)
        put_whole(folder / preview_of(name), preview(full))
        put_whole(folder / name, body)
    except OSError as error:
        raise HalfsplitError(
            f"{folder}: the picture cannot be written: {error.strerror or error}"
        ) from error
    return Kept(name, preview_of(name), full.width, full.height)


def preview(full: Image) -> bytes:
    """The small picture of a decoded one."""
    small = full.convert("RGB") if full.mode not in ("L", "RGB") else full.copy()
    small.thumbnail((PREVIEW, PREVIEW))
    return _written(small, "JPEG", _SMALL)


def upright(data: bytes) -> bytes:
    """A picture that its camera held otherwise, turned and written anew, as a photo."""
    return _written(_upright(decoded(data)), "JPEG" if kind_of(data) == "JPEG" else "PNG", _PHOTO)


def put_whole(path: Path, body: bytes) -> None:
    """Write a file whole or not at all, on disk when this returns. Raises OSError."""
    trial = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
    try:
        with trial.open("xb") as out:
            out.write(body)
            out.flush()
            os.fsync(out.fileno())
        trial.replace(path)
    finally:
        trial.unlink(missing_ok=True)


def _refuse(wrong: str, instead: str = WANTED) -> NoReturn:
    raise ProblemsError([Problem("", 0, 0, "picture", wrong, instead)])


def decoded(data: bytes) -> Image:
    """The picture's pixels, its size looked at before they are unpacked. Raises ProblemsError."""
    from PIL import Image as pillow

    if len(data) > LARGEST:
        _refuse(f"the file has {len(data) / 1e6:.0f} MB, and {LARGEST / 1e6:.0f} MB is the most")
    kind = kind_of(data)
    if not kind:
        for offset, start, what, instead in _OTHERS:
            if (
                data[offset:].lstrip()[: len(start)] == start
                if start == b"<"
                else (data[offset : offset + len(start)] == start)
            ):
                _refuse(f"this is {what}, whatever its name says", instead)
        _refuse("this is no picture" if data else "the file is empty")
    # Pillow may raise nearly anything on a file made to hurt it; all of it means the same here.
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of sizes, which are judged below
            picture = pillow.open(io.BytesIO(data), formats=[kind])
    except pillow.DecompressionBombError:
        _refuse(f"the picture would unpack to far over {MOST_PIXELS / 1e6:.0f} million pixels")
    except Exception:
        _refuse("the picture is damaged: its head cannot be read", "the file again, or another")
    width, height = picture.size
    if width * height > MOST_PIXELS or max(width, height) > LONGEST_SIDE:
        _refuse(
            f"the picture has {width} by {height} pixels; {MOST_PIXELS / 1e6:.0f} million in all "
            f"and {LONGEST_SIDE} a side are the most",
            "it at half the resolution",
        )
    if min(width, height) < SMALLEST_SIDE:
        _refuse(f"the picture has only {width} by {height} pixels", "a larger one")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            several = _several(picture, kind)
            if not several:
                picture.load()
    except Exception:
        _refuse("the picture is damaged or cut short", "the file again, or another")
    if several:
        _refuse("there are several pictures in this file", "each page as a file of its own")
    return picture


def _several(picture: Image, kind: str) -> bool:
    """Whether there is more than one picture: pages are not counted, as there may be millions.

    A phone's JPEG may carry a second picture for its depth; the first is the photo.
    """
    if kind != "TIFF":
        return kind != "JPEG" and bool(getattr(picture, "is_animated", False))
    try:
        picture.seek(1)
    except EOFError:
        picture.seek(0)
        return False
    return True


def _upright(picture: Image) -> Image:
    """As people look at it: turned as its camera noted, eight bits a colour, on white."""
    from PIL import ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of notes of the camera that make no sense
            picture = ImageOps.exif_transpose(picture)
    except Exception:  # such notes are left aside; the pixels are good
        picture = picture.copy()
    try:
        return _plain(picture)
    except (ValueError, OSError):
        _refuse(f"colours of the sort {picture.mode} are not known here", "it as PNG or JPEG")


def _plain(picture: Image) -> Image:
    """Grey or three colours of eight bits, what was clear on white."""
    from PIL import Image as pillow

    if picture.mode.startswith("I;16"):
        return picture.convert("I").point(lambda v: v / 256.0).convert("L")
    if picture.mode in ("I", "F"):
        raise ValueError("its range is not known")
    if picture.mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in picture.info:
        clear = picture.convert("RGBA")
        paper = pillow.new("RGB", picture.size, "white")
        paper.paste(clear, mask=clear.getchannel("A"))
        return paper
    return picture if picture.mode in ("L", "RGB") else picture.convert(
        "L" if picture.mode == "1" else "RGB"
    )  # fmt: skip


def _written(picture: Image, kind: str, quality: int) -> bytes:
    """The pixels as a file with nothing else in it."""
    picture.info = {}
    out = io.BytesIO()
    if kind == "JPEG":
        picture.save(out, "JPEG", quality=quality)
    else:
        picture.save(out, "PNG", compress_level=4)
    return out.getvalue()
