"""Reading an archive from somebody else: every file of it, or why it is not opened.

Only what our own writer makes is taken, give or take squeezing: plain files, named in one piece of
directory at the end, each once, none over another. Everything is judged by what is there, before a
byte of it is unpacked, and again while it is.
"""

from __future__ import annotations

import hmac
import json
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from halfsplit.bench.bundle import (
    FORMAT,
    LARGEST,
    LARGEST_MANIFEST,
    MANIFEST,
    MOST_BYTES,
    MOST_FILES,
    Item,
    folded,
    hash_of,
    name_fault,
    sort_of_name,
)
from halfsplit.problems import NotFoundError, Problem, ProblemsError

Heard = Callable[[int, int], None]
_END = struct.Struct("<4s4H2LH")  # end of central directory; source: APPNOTE.TXT 6.3.10, 4.3.16
_HEAD = 46  # bytes of a directory entry without its name; 4.3.12
_LOCAL = 30  # of a local header; 4.3.7
MOST_RATIO = 200  # text squeezes twenty-fold, a file made to burst a thousand-fold
_PIECE = 1 << 20
ASK = "the archive again, as `halfsplit pack` wrote it"


class _Wrong(Exception):
    """The archive as a whole cannot be used."""


def read_archive(path: Path, heard: Heard = lambda done, total: None) -> list[Item]:
    """Every file of an archive, its manifest checked and left out.

    Raises NotFoundError, or ProblemsError with everything that is wrong; nothing is written.
    """
    try:
        if not path.is_file():
            raise NotFoundError(f"{path}: there is no such file")
        if path.stat().st_size > MOST_BYTES + LARGEST_MANIFEST + MOST_FILES * 1000:
            raise _Wrong(f"the archive is larger than any machine's, {MOST_BYTES / 1e6:.0f} MB")
        with path.open("rb") as file:
            entries = _directory(file)
            file.seek(0)
            with zipfile.ZipFile(file) as opened:
                _agree(entries, opened)
                _judge(path, opened.infolist())
                found, wrong = _unpacked(path, opened, heard)
    except _Wrong as error:
        raise ProblemsError([Problem(str(path), 0, 0, "", str(error), ASK)]) from None
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or error
        told = Problem(str(path), 0, 0, "", f"the archive cannot be read: {said}", ASK)
        raise ProblemsError([told]) from error
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError) as error:
        told = Problem(str(path), 0, 0, "", f"this is no archive, or a damaged one: {error}", ASK)
        raise ProblemsError([told]) from error
    if wrong:
        raise ProblemsError(wrong)
    return _listed(path, found)


def _directory(file: Any) -> list[tuple[int, int]]:
    """Where each file's bytes begin, and how many, from the directory, before any library reads it.

    The directory must be all there is after the files, and the files all there is before it, one
    after another: so none lies over another, and nothing is hidden between them.
    """
    size = file.seek(0, 2)
    if size < _END.size:
        raise _Wrong("this is no archive")
    file.seek(size - _END.size)
    mark, disk, _, here, count, length, start, comment = _unpack_end(file.read(_END.size))
    if mark != b"PK\x05\x06" or comment:
        raise _Wrong("this is no archive, or something follows its end")
    if disk or here != count or 0xFFFF in (count, here) or 0xFFFFFFFF in (length, start):
        raise _Wrong("the archive is in several volumes, or in the large format nobody needs here")
    if count > MOST_FILES + 1:
        raise _Wrong(f"the archive lists {count} files, and no machine has over {MOST_FILES}")
    if start + length != size - _END.size:
        raise _Wrong("something stands before or after what the archive lists")
    file.seek(start)
    listed, spans, at = file.read(length), [], 0
    for _ in range(count):
        head = listed[at : at + _HEAD]
        if len(head) < _HEAD or head[:4] != b"PK\x01\x02":
            raise _Wrong("its directory is damaged")
        squeezed = struct.unpack_from("<L", head, 20)[0]
        name, extra, said = struct.unpack_from("<3H", head, 28)
        offset = struct.unpack_from("<L", head, 42)[0]
        spans.append((offset, squeezed))
        at += _HEAD + name + extra + said
    if at != length:
        raise _Wrong("its directory is damaged")
    _follow(file, sorted(spans), start)
    return spans


def _unpack_end(data: bytes) -> tuple[bytes, int, int, int, int, int, int, int]:
    mark, disk, first, here, count, length, start, comment = _END.unpack(data)
    return mark, disk, first, here, count, length, start, comment


def _follow(file: Any, spans: list[tuple[int, int]], end: int) -> None:
    """Raise unless the files stand one after another from the beginning to the directory."""
    at = 0
    for offset, squeezed in spans:
        if offset != at:
            raise _Wrong("files in it lie over one another, or something is hidden between them")
        file.seek(offset)
        head = file.read(_LOCAL)
        if len(head) < _LOCAL or head[:4] != b"PK\x03\x04":
            raise _Wrong("a file in it does not begin where the directory says")
        flags = struct.unpack_from("<H", head, 6)[0]
        name, extra = struct.unpack_from("<2H", head, 26)
        at = offset + _LOCAL + name + extra + squeezed
        if flags & 0x08:  # sizes stand behind the file too: 12 bytes, or 16 with their mark; 4.3.9
            file.seek(at)
            at += 16 if file.read(4) == b"PK\x07\x08" else 12
    if at != end:
        raise _Wrong("files in it lie over one another, or something is hidden between them")


def _agree(spans: list[tuple[int, int]], opened: zipfile.ZipFile) -> None:
    """The library must have read the same directory as we did."""
    if [(i.header_offset, i.compress_size) for i in opened.infolist()] != spans:
        raise _Wrong("its directory can be read in two ways")


def _judge(path: Path, infos: list[zipfile.ZipInfo]) -> None:
    """Raise ProblemsError with every file that may not be unpacked, by what is said of it."""
    problems: list[Problem] = []
    seen: dict[str, str] = {}
    folders: dict[str, str] = {}
    total = 0

    def add(name: str, wrong: str, instead: str = ASK) -> None:
        shown = name if name.isprintable() else ascii(name)
        problems.append(Problem(str(path), 0, 0, shown[:120], wrong, instead))

    for info in infos:
        name, total = info.filename, total + info.file_size
        fault = "" if name == MANIFEST else name_fault(name)
        sort = sort_of_name(name)
        kind = stat.S_IFMT(info.external_attr >> 16)
        most = LARGEST_MANIFEST if name == MANIFEST else LARGEST.get(str(sort), 0)
        if info.orig_filename != name or fault:
            add(info.orig_filename, f"its name {fault or 'can be read in two ways'}")
        elif kind not in (0, stat.S_IFREG) or info.is_dir():
            what = {stat.S_IFLNK: "a link", stat.S_IFDIR: "a folder"}.get(
                kind, "a device or the like"
            )
            add(name, f"it is {'a folder' if info.is_dir() else what}, and only files are taken")
        elif name != MANIFEST and sort is None:
            add(name, "no file of a machine is called so")
        elif info.flag_bits & 0x61:
            add(name, "it is encrypted, or patched")
        elif info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            add(name, f"it is squeezed in a way (number {info.compress_type}) that is not taken")
        elif info.file_size > most:
            add(name, f"it would unpack to {info.file_size} bytes, and {most} is the most")
        elif info.file_size > MOST_RATIO * info.compress_size + 1000:
            add(name, "it would unpack to far more than any file of a machine: made to burst")
        elif folded(name) in seen:
            other = seen[folded(name)]
            how = (
                "is in the archive twice" if other == name else f"differs from {other} only in case"
            )
            add(name, f"it {how}")
        folder = name.rpartition("/")[0]
        if folder and folders.setdefault(folded(folder), folder) != folder:
            add(name, f"its folder differs from {folders[folded(folder)]} only in case")
        seen[folded(name)] = name
    for key, name in folders.items():
        if key in seen:
            add(name, "is both a file and a folder")
    if total > MOST_BYTES + LARGEST_MANIFEST:
        add("", f"it would unpack to {total} bytes in all, and {MOST_BYTES} is the most")
    if not any(i.filename == MANIFEST for i in infos):
        add(MANIFEST, "this archive does not say what is in it: it is no machine's")
    if problems:
        raise ProblemsError(problems)


def _unpacked(
    path: Path, opened: zipfile.ZipFile, heard: Heard
) -> tuple[dict[str, bytes], list[Problem]]:
    """The bytes of every file, read no further than was said, and which could not be read."""
    found: dict[str, bytes] = {}
    wrong = []
    infos = opened.infolist()
    for k, info in enumerate(infos):
        heard(k, len(infos))
        try:
            with opened.open(info) as file:
                data = b""
                while piece := file.read(_PIECE):
                    data += piece
                    if len(data) > info.file_size:
                        raise zipfile.BadZipFile("it is longer than the archive says")
        except (
            zipfile.BadZipFile,
            zlib.error,
            NotImplementedError,
            RuntimeError,
            EOFError,
        ) as error:
            wrong.append(Problem(str(path), 0, 0, info.filename, f"it is damaged: {error}", ASK))
            continue
        if len(data) != info.file_size:
            wrong.append(Problem(str(path), 0, 0, info.filename, "it is cut short", ASK))
        found[info.filename] = data
    return found, wrong


def _listed(path: Path, found: dict[str, bytes]) -> list[Item]:
    """The files as the manifest has them: all of them, no others, unchanged since."""
    told = _manifest(path, found.pop(MANIFEST))
    problems = []
    for name in sorted(told.keys() ^ found.keys()):
        wrong = "is in the archive, and its list of contents does not have it"
        wrong = wrong if name in found else "is in the list of contents, and not in the archive"
        problems.append(Problem(str(path), 0, 0, name[:120], wrong, ASK))
    for name in sorted(told.keys() & found.keys()):
        if not hmac.compare_digest(hash_of(found[name]).encode(), told[name].encode()):
            wrong = "is not what it was when the archive was made: its content hash differs"
            problems.append(Problem(str(path), 0, 0, name, wrong, ASK))
    if problems:
        raise ProblemsError(problems)
    items = []
    for name, data in sorted(found.items()):
        sort = sort_of_name(name)
        assert sort is not None  # judged already
        items.append(Item(name, sort, data))
    return items


def _manifest(path: Path, data: bytes) -> dict[str, str]:
    """Name -> content hash. Raises ProblemsError."""
    wrong = "its list of contents is not as the program writes it"
    try:
        document = json.loads(data.decode("utf-8"))
        if document["halfsplit_bundle"] != FORMAT:
            wrong = f"it is of format {document['halfsplit_bundle']!r:.20}, and this reads {FORMAT}"
            raise ValueError
        rows = [(row["name"], row["sha256"]) for row in document["files"]]
        if not all(isinstance(v, str) for row in rows for v in row) or len(dict(rows)) != len(rows):
            raise ValueError
    except (ValueError, KeyError, TypeError, RecursionError):
        raise ProblemsError([Problem(str(path), 0, 0, MANIFEST, wrong, ASK)]) from None
    return dict(rows)
