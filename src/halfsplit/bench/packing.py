"""Putting a machine's files into one archive to hand on, after saying what goes in."""

from __future__ import annotations

import io
import json
import secrets
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from halfsplit.assembly.file import load
from halfsplit.assembly.pattern_find import Library, beside, own_folder
from halfsplit.assembly.text import TextError, document, read_text
from halfsplit.bench.bare_picture import bare, orientation
from halfsplit.bench.bundle import (
    JOURNAL_ENDING,
    MANIFEST,
    MOST_BYTES,
    MOST_FILES,
    Item,
    JournalPart,
    manifest,
    name_fault,
    sort_of_name,
)
from halfsplit.bench.journal_parts import without_notes
from halfsplit.bench.pictures_in import put_whole, upright
from halfsplit.bench.pins_file import Pins, load_pins, pins_path
from halfsplit.bench.texts import text_problems
from halfsplit.boards.which import sort_of
from halfsplit.journal import Journal, glance, journal_path
from halfsplit.parts import catalogue
from halfsplit.parts.house import HOUSE, read_house
from halfsplit.problems import HalfsplitError, NotFoundError, Problem, ProblemsError

_DAY = (1980, 1, 1, 0, 0, 0)  # the first a zip knows: dates would tell, and change the bytes


@dataclass
class Packing:
    """What would go into an archive.

    Attributes
    ----------
    items: its files. stays: what is left behind, in words. problems: of the files themselves.
    journal: which part of the journals goes along.
    """

    items: list[Item] = field(default_factory=list)
    stays: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    journal: JournalPart = "none"

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "files": [i.as_dict() | {"said": i.said} for i in self.items],
            "bytes": sum(len(i.data) for i in self.items),
            "journal": self.journal,
            "stays": self.stays,
            "problems": [p.as_dict() for p in self.problems],
        }

    def put(self, item: Item) -> None:
        """Take a file in, once."""
        if all(i.name != item.name for i in self.items):
            self.items.append(item)


def gather(
    files: Sequence[Path],
    *,
    journal: JournalPart = "none",
    pins: bool = True,
    pictures: bool = True,
) -> Packing:
    """What goes into an archive of these machine files: they, the patterns and in-house markings
    they use, and what of pins, pictures and journals is wanted. Nothing is written.

    Raises NotFoundError for a file there is not, ProblemsError for files that cannot go into one
    archive.
    """
    found = Packing(journal=journal)
    folders = {f.resolve().parent for f in files}
    if len(folders) != 1:
        where = ", ".join(sorted(str(f) for f in folders)) or "nowhere"
        wrong = f"the files of an archive stand in one folder, and these are in {where}"
        raise ProblemsError([Problem("", 0, 0, "", wrong, "one archive for each folder")])
    for file in dict.fromkeys(files):
        if not file.is_file():
            raise NotFoundError(f"{file}: there is no such file")
        fault = name_fault(file.name)
        if fault or sort_of_name(file.name) != "machine":
            fault = fault or "is not what a machine's file is called"
            wrong = f"its name {fault}, so another computer may not be able to unpack it"
            raise ProblemsError([Problem(str(file), 0, 0, "", wrong, "machine.yaml")])
        found.put(Item(file.name, "machine", _bytes(file)))
        found.problems += text_problems(file)
        if sort_of(file) == "assembly":
            _of_assembly(found, file, pins, pictures)
        _journal(found, file)
    total = sum(len(i.data) for i in found.items)
    if len(found.items) > MOST_FILES or total > MOST_BYTES:
        wrong = f"{len(found.items)} files, {total / 1e6:.0f} MB: more than an archive takes"
        most = f"at most {MOST_FILES} files, {MOST_BYTES / 1e6:.0f} MB: --no-pictures, or fewer"
        raise ProblemsError([Problem("", 0, 0, "", wrong, most)])
    return found


def number(files: Sequence[Path]) -> None:
    """Give each machine whose journal goes along the random number its outcomes are counted under,
    so that they are counted once whoever tells of them. Raises what opening the journal does."""
    for file in files:
        path = journal_path(file)
        if path.exists() and sort_of(file) == "assembly":
            with Journal.open(path) as journal:
                if all(e.kind != "outcomes" for e in journal.entries()):
                    journal.append("outcomes", {"id": secrets.token_hex(16), "turn": 0})


def write(found: Packing, to: Path) -> int:
    """Write the archive, whole or not at all; returns its size in bytes.

    The same items make the same bytes. Raises HalfsplitError when it exists or cannot be written.
    """
    if to.exists() or to.is_symlink():
        raise HalfsplitError(f"{to}: already exists; name another, or move it away")
    body = archive(found)
    try:
        put_whole(to, body)
    except OSError as error:
        raise HalfsplitError(f"{to}: cannot be written: {error.strerror or error}") from error
    return len(body)


def archive(found: Packing) -> bytes:
    """The archive as bytes: stored, not squeezed, so that no version of a library matters."""
    out = io.BytesIO()
    ordered = sorted(found.items, key=lambda i: i.name)
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as made:
        for name, data in (
            (MANIFEST, manifest(ordered, found.journal)),
            *((i.name, i.data) for i in ordered),
        ):
            entry = zipfile.ZipInfo(name, _DAY)
            entry.create_system, entry.external_attr = 3, 0o100644 << 16
            made.writestr(entry, data)
    return out.getvalue()


def _bytes(path: Path) -> bytes:
    """A text file as it is. Raises ProblemsError for one that is none."""
    try:
        read_text(path)
        return path.read_bytes()
    except TextError as error:
        raise ProblemsError([error.problem(path)]) from None
    except OSError as error:
        raise HalfsplitError(f"{path}: cannot be read: {error.strerror or error}") from error


def _of_assembly(found: Packing, file: Path, pins: bool, pictures: bool) -> None:
    """Patterns and markings the file uses; pins and pictures of it."""
    assembly, _ = load(file)
    for path, name in _patterns(file):
        found.put(Item(name, "pattern", _bytes(path)))
    _markings(found, file)
    if not pins_path(file).exists():
        return
    if not pins or assembly is None:
        why = "as you asked" if not pins else "the machine's file has errors"
        found.stays.append(f"{pins_path(file).name} and its pictures: {why}")
        return
    there, told = load_pins(assembly)
    found.put(Item(there.file.name, "pins", _bytes(there.file)))
    found.problems += told
    if pictures:
        _pictures(found, there)
    elif there.pictures:
        found.stays.append(f"{len(there.pictures)} pictures of {file.name}: as you asked")


def _patterns(file: Path) -> list[tuple[Path, str]]:
    """Pattern files of one's own that a machine's file uses, also through one another, with the
    names they get."""
    library, near, found = Library(file), set(beside(file)), {}
    ask = [file]
    while ask:
        for name in _used(ask.pop()):
            path = library.find(name)
            if path is None or path in found:
                continue
            if path in near:
                folder = "patterns/" if path.parent.name == "patterns" else ""
                found[path] = f"{folder}{path.name}"
            elif path.parent == own_folder():
                found[path] = f"patterns/{path.name}"
            else:
                continue
            ask.append(path)
    return sorted(found.items())


def _used(path: Path) -> list[str]:
    """Names of patterns a file places."""
    try:
        placed = document(path)[0].get("patterns")
    except TextError:
        return []
    entries = placed.values() if isinstance(placed, dict) else ()
    return [str(e["pattern"]) for e in entries if isinstance(e, dict) and "pattern" in e]


def _types(node: Any) -> Iterator[str]:
    """Every type named anywhere in a file, as typed."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key == "type":
                yield catalogue.same(str(value))
            yield from _types(value)


def _markings(found: Packing, file: Path) -> None:
    """The list of in-house markings, when the machine uses one of them."""
    house = file.with_name(HOUSE)
    try:
        used = set(_types(document(file)[0]))
    except TextError:
        return
    if house.is_file() and used & set(read_house(house)[0]):
        found.put(Item(HOUSE, "house", _bytes(house), "all its lines, and who said so"))


def _pictures(found: Packing, pins: Pins) -> None:
    for picture in pins.pictures.values():
        path = pins.folder / picture.file
        name = f"{pins.folder.name}/{picture.file}"
        if not path.is_file():
            found.stays.append(f"{name}: it is not there")
            continue
        try:
            data, said = clean(path.read_bytes())
        except OSError as error:
            raise HalfsplitError(f"{path}: cannot be read: {error.strerror or error}") from error
        except ProblemsError as error:
            found.problems += [
                Problem(str(path), 0, 0, "", p.wrong, p.instead) for p in error.problems
            ]
            found.stays.append(f"{name}: it is no picture that can go along")
            continue
        found.put(Item(name, "picture", data, said))


def clean(data: bytes) -> tuple[bytes, str]:
    """A picture's file without place, date, camera, comments and what stands behind its end, and
    what was done, in words. Raises ProblemsError for what is no picture."""
    said = []
    if orientation(data) != 1:
        data = upright(data)
        said.append("turned upright")
    try:
        less = bare(data)
    except ValueError as error:
        raise ProblemsError([Problem("", 0, 0, "picture", str(error), "the file again")]) from None
    if less != data:
        said.append(f"{len(data) - len(less)} bytes of place, date, camera or the like taken out")
    return less, ", ".join(said)


def _journal(found: Packing, file: Path) -> None:
    path = journal_path(file)
    if not path.exists():
        return
    with glance(path) as kept:
        whole = kept.export_json()
    count = len(whole["entries"])
    if found.journal == "none":
        found.stays.append(f"{path.name}, {count} entries: --journal without-notes, or whole")
        return
    said, left = f"{count} entries, every word in them", 0
    if found.journal == "without-notes":
        whole, left = without_notes(whole)
        said = f"{count - left} of {count} entries, no words of yours"
    for entry in whole["entries"]:
        entry.pop("undone", None)  # follows from the undos
    data = json.dumps(whole, ensure_ascii=False, sort_keys=True, separators=(",", ":")) + "\n"
    found.put(Item(f"{file.stem}{JOURNAL_ENDING}", "journal", data.encode(), said))
    if left:
        found.stays.append(f"{left} entries of {path.name}: console logs, reasons, plans, notes")
