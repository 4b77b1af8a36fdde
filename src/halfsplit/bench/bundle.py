"""The archive a machine is handed on in: what may be in it, under which names, how large.

A plain zip of files stored as they are, dates left out, names in order, a manifest first: the
same files give the same bytes on any computer. Nothing in it is trusted by what reads it,
:mod:`halfsplit.bench.unpacking`.
"""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from dataclasses import dataclass
from typing import Any, Literal

from halfsplit.assembly.pattern_find import ENDING, NAME
from halfsplit.assembly.text import LARGEST_FILE
from halfsplit.bench.pictures_in import LARGEST as LARGEST_PICTURE
from halfsplit.bench.pins_file import FILE_NAME
from halfsplit.parts.house import HOUSE

FORMAT = 1
MANIFEST = "bundle.json"
Sort = Literal["machine", "pattern", "house", "pins", "picture", "journal"]
JournalPart = Literal["none", "without-notes", "whole"]

# A machine has some files of kilobytes, tens of photos of megabytes, a journal of megabytes after
# years; these limits are well beyond, and small enough for any computer. Common practice.
MOST_FILES, MOST_BYTES, MOST_PIXELS = 400, 400_000_000, 3_000_000_000
LARGEST_JOURNAL, LARGEST_MANIFEST = 48_000_000, 300_000
LARGEST: dict[str, int] = {
    "machine": LARGEST_FILE,
    "pattern": LARGEST_FILE,
    "house": LARGEST_FILE,
    "pins": LARGEST_FILE,
    "picture": LARGEST_PICTURE,
    "journal": LARGEST_JOURNAL,
}
LONGEST_NAME = 80  # letters of one step of a path; file systems end at 255 bytes
# Names that mean a device on Windows, whatever follows the first dot. Source: "Naming Files, Paths,
# and Namespaces", Microsoft Learn.
_DEVICES = {"con", "prn", "aux", "nul", "conin$", "conout$"}
_DEVICES |= {f"{d}{n}" for d in ("com", "lpt") for n in "0123456789¹²³"}
_STEP = re.compile(r"\w[\w .+()@=,-]*")
JOURNAL_ENDING = ".journal.json"


def hash_of(data: bytes) -> str:
    """Content hash a manifest holds."""
    return hashlib.sha256(data).hexdigest()


def folded(name: str) -> str:
    """A name as file systems that do not tell case or composition apart see it."""
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())


def name_fault(name: str) -> str:
    """What is wrong with a path inside an archive; "" when it can be written anywhere."""
    if not name or name.startswith("/") or "\\" in name or re.match(r"[A-Za-z]:", name):
        return "is a path of its own, not one inside the archive"
    steps = name.split("/")
    if any(s in ("", ".", "..") for s in steps):
        return "leads out of the folder, or through nothing"
    if len(steps) > 2:
        return "lies deeper than any file of a machine"
    for step in steps:
        if len(step) > LONGEST_NAME or len(step.encode("utf-8", "replace")) > 200:
            return "is longer than a name may be"
        if step != unicodedata.normalize("NFC", step):
            return "is written with letters some systems spell otherwise"
        if not _STEP.fullmatch(step) or step[-1] in " .":
            return "has characters that not every file system takes"
        if step.partition(".")[0].strip().casefold() in _DEVICES:
            return "is the name of a device on some systems"
    return ""


def sort_of_name(name: str) -> Sort | None:
    """What a file in an archive is by its name; None for what no machine has."""
    folder, _, last = name.rpartition("/")
    if folder.endswith(".pictures") and re.fullmatch(FILE_NAME, last):
        return "picture"
    if folder == "patterns":
        named = last.removesuffix(".yaml")
        return "pattern" if named != last and NAME.fullmatch(named) else None
    if folder:
        return None
    if last == HOUSE:
        return "house"
    if last.endswith(ENDING):
        return "pattern" if NAME.fullmatch(last.removesuffix(ENDING)) else None
    if last.endswith(".pins.yaml"):
        return "pins"
    if last.endswith(JOURNAL_ENDING):
        return "journal"
    return "machine" if last.endswith((".yaml", ".yml")) else None


def owner_of(name: str, sort: str, machines: list[str]) -> str | None:
    """The machine's file that pins, a journal or a picture belong to, by its name."""
    ending = {"pins": ".pins.yaml", "journal": JOURNAL_ENDING}.get(sort)
    stem = name.removesuffix(ending) if ending else name.partition(".pictures/")[0]
    return next((m for m in machines if m.rpartition(".")[0] == stem), None)


@dataclass(frozen=True)
class Item:
    """One file of an archive, with what was done to it on the way in, in words."""

    name: str
    sort: Sort
    data: bytes
    said: str = ""

    def as_dict(self) -> dict[str, Any]:
        """For ``--json`` and the manifest."""
        told = {"name": self.name, "sort": self.sort, "bytes": len(self.data)}
        return told | {"sha256": hash_of(self.data)}


def manifest(items: list[Item], journal: str) -> bytes:
    """The list of contents that stands first in an archive."""
    listed = [i.as_dict() for i in sorted(items, key=lambda i: i.name)]
    told = {"halfsplit_bundle": FORMAT, "journal": journal, "files": listed}
    return (json.dumps(told, indent=1, ensure_ascii=False) + "\n").encode()
