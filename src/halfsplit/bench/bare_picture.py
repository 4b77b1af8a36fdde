"""A picture's file without anything but its picture: no place, date, camera, thumbnail or comment.

Segments of a JPEG and chunks of a PNG that carry no pixels are left out, and whatever follows the
end; the pixels themselves are not touched. Sources: ITU-T T.81 annex B (markers); W3C PNG (third
edition) sections 5 and 11.
"""

from __future__ import annotations

import struct
import zlib

_PNG = b"\x89PNG\r\n\x1a\n"
_KEPT_CHUNKS = (b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND")
_ALONE = {0x01, *range(0xD0, 0xD8)}  # markers without a length
# Frames, tables, arithmetic conditioning, restarts, scans: what decoding needs.
_KEPT_MARKERS = {*range(0xC0, 0xC8), *range(0xC9, 0xD0), 0xDA, 0xDB, 0xDC, 0xDD}


def bare(data: bytes) -> bytes:
    """`data` with only what makes the picture; JPEG and PNG, anything else unchanged.

    Raises ValueError when the file is cut short or its pieces do not follow one another.
    """
    if data.startswith(b"\xff\xd8\xff"):
        return _jpeg(data)
    return _bare_png(data) if data.startswith(_PNG) else data


def orientation(data: bytes) -> int:
    """How a camera held the picture by its own notes; 1 for upright, and when they say nothing."""
    import io

    from PIL import Image

    try:
        with Image.open(io.BytesIO(data)) as picture:
            return int(picture.getexif().get(0x0112, 1))
    except Exception:  # notes that cannot be read turn nothing
        return 1


def _jpeg(data: bytes) -> bytes:
    out, at = [data[:2]], 2
    while True:
        if at + 2 > len(data) or data[at] != 0xFF:
            raise ValueError("the picture is damaged between its pieces")
        marker = data[at + 1]
        if marker == 0xFF:  # fill
            at += 1
            continue
        if marker == 0xD9:
            return b"".join([*out, b"\xff\xd9"])
        if marker in _ALONE:
            at += 2
            continue
        if at + 4 > len(data):
            raise ValueError("the picture is cut short")
        end = at + 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]
        if end > len(data) or end < at + 4:
            raise ValueError("the picture is cut short")
        piece = data[at:end]
        if marker in _KEPT_MARKERS:
            out.append(piece)
        elif marker == 0xE0 and piece[4:9] == b"JFIF\0" and len(piece) >= 18:
            out.append(b"\xff\xe0\x00\x10" + piece[4:16] + b"\0\0")  # without its small picture
        elif marker == 0xEE and piece[4:9] == b"Adobe":  # says how colours are coded
            out.append(b"\xff\xee\x00\x0e" + piece[4:16].ljust(12, b"\0"))
        at = end
        if marker == 0xDA:
            at = _scan_end(data, at)
            out.append(data[end:at])


def _scan_end(data: bytes, at: int) -> int:
    """Where coded pixels end: at the next marker that is neither stuffing nor a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise ValueError("the picture is cut short")
        if data[at + 1] == 0 or 0xD0 <= data[at + 1] <= 0xD7:
            at += 2
        else:
            return at


def _bare_png(data: bytes) -> bytes:
    out, at = [_PNG], len(_PNG)
    while True:
        if at + 12 > len(data):
            raise ValueError("the picture is cut short")
        size = struct.unpack(">I", data[at : at + 4])[0]
        name, end = data[at + 4 : at + 8], at + 12 + size
        if end > len(data):
            raise ValueError("the picture is cut short")
        if name in _KEPT_CHUNKS:
            body = data[at + 8 : at + 8 + size]
            out += [data[at : at + 8], body, struct.pack(">I", zlib.crc32(name + body))]
        if name == b"IEND":
            return b"".join(out)
        at = end
