"""What may be uploaded, checked the same way for every page: size, what it really is, its name.

A file is what its first bytes say, never what its name or the browser says. Its name is kept for
people only; on disk it gets one made here, so nothing a browser sends can name a place.
"""

from __future__ import annotations

import re
import secrets
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath

from halfsplit.problems import Problem, ProblemsError

MOST_BYTES = 40 * 1024 * 1024  # a phone photo of 20 megapixels is under 15 MB
MOST_LOG = 8 * 1024 * 1024  # weeks of a console at 9600 Bd with pauses
LONGEST_NAME = 120
# How files begin. Sources: W3C PNG specification 5.2; ITU-T T.81 B.1.1.3 (FF D8); ISO 32000-1
# 7.5.2; RFC 9649 2 (WebP); TIFF 6.0 section 2.
BEGINNINGS: dict[str, tuple[bytes, ...]] = {
    "png": (b"\x89PNG\r\n\x1a\n",),
    "jpeg": (b"\xff\xd8\xff",),
    "tiff": (b"II*\x00", b"MM\x00*"),
    "pdf": (b"%PDF-",),
}
SUFFIXES = {"png": ".png", "jpeg": ".jpg", "tiff": ".tif", "pdf": ".pdf", "webp": ".webp"}
SUFFIXES |= {"csv": ".csv"}
PICTURES = ("png", "jpeg", "webp")
# Bytes no text of a scope or a meter holds.
_BINARY = re.compile(rb"[\x00-\x08\x0e-\x1f\x7f]")


@dataclass(frozen=True)
class Upload:
    """A file let in: its bytes, what it is, what people call it, and the name to store it under."""

    data: bytes
    kind: str
    shown: str
    stored: str


def kind_of(data: bytes) -> str:
    """What some bytes are: a key of `SUFFIXES`, or "" for nothing we take."""
    for kind, starts in BEGINNINGS.items():
        if data.startswith(starts):
            return kind
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    if data and not _BINARY.search(data) and _is_text(data):
        return "csv" if _has_rows(data) else ""
    return ""


def _is_text(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _has_rows(data: bytes) -> bool:
    """Whether text is a table of numbers, and no page or picture dressed up as one."""
    lines = [n for n in data.decode("utf-8").splitlines() if n.strip()]
    if not lines or "<" in lines[0]:
        return False
    return any(re.search(r"^[^<>]*\d[^<>]*[,;\t][^<>]*\d", line) for line in lines[:50])


def shown_name(name: str) -> str:
    """A file's name for people: no folder, no control characters, not too long."""
    bare = PureWindowsPath(PurePosixPath(name).name).name
    kept = "".join(c for c in bare if unicodedata.category(c)[0] != "C")
    return kept.strip(" .")[:LONGEST_NAME] or "unnamed"


def let_in(
    name: str, data: bytes, allowed: Iterable[str] = PICTURES, most: int = MOST_BYTES
) -> Upload:
    """The upload, or ProblemsError saying what is wrong with it and what to send instead."""
    shown, kinds = shown_name(name), tuple(allowed)
    taken = ", ".join(kinds)
    wrong, instead = "", f"a file of one of these sorts: {taken}"
    kind = kind_of(data)
    if len(data) > most:
        wrong = f"{len(data) / 1e6:.1f} MB is more than the {most / 1e6:.0f} MB taken here"
        instead = "a smaller one, such as a photo at half size"
    elif not data:
        wrong = "the file is empty"
    elif kind not in kinds:
        what = f"it is a {kind} file" if kind else "by its first bytes it is none of those taken"
        wrong = f"{what}, whatever its name says"
    if wrong:
        raise ProblemsError([Problem(shown, 0, 0, "", wrong, instead)])
    return Upload(data, kind, shown, f"{secrets.token_hex(12)}{SUFFIXES[kind]}")


def log_in(name: str, data: bytes, most: int = MOST_LOG) -> tuple[str, str]:
    """A console log sent as a file: its name for people, and its text, one character a byte.

    A console may say any byte, so only what is plainly another sort of file is refused. Raises
    ProblemsError.
    """
    shown, wrong, instead = shown_name(name), "", "what the machine printed, as text"
    kind = kind_of(data)
    if len(data) > most:
        wrong = f"{len(data) / 1e6:.1f} MB is more than the {most / 1e6:.0f} MB taken here"
        instead = "the log in pieces"
    elif not data:
        wrong = "the file is empty"
    elif kind not in ("", "csv"):
        wrong = f"it is a {kind} file, whatever its name says"
    if wrong:
        raise ProblemsError([Problem(shown, 0, 0, "", wrong, instead)])
    return shown, data.decode("latin-1")


def place_in(folder: Path, names: Mapping[str, str], key: str) -> Path | None:
    """Where a stored upload lies; None for a key that was not handed out.

    The key is looked up, never joined to a path.
    """
    stored = names.get(key)
    if stored is None or not re.fullmatch(r"[0-9a-f]{24}\.[a-z]{3,4}", stored):
        return None
    return folder / stored
