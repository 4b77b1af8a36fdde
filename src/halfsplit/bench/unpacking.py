"""Unpacking a machine somebody handed on: all of it, checked, in a new folder, or nothing.

What is in the archive is written beside the target under a name of our own, read there by the same
checks a typed file gets, and only then moved into place. Journals are rebuilt entry by entry from
their text; no database from elsewhere is ever opened.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from halfsplit.assembly.file import load
from halfsplit.bench.bare_picture import bare
from halfsplit.bench.bundle import MOST_PIXELS, Item, owner_of
from halfsplit.bench.entry_check import entry_problems
from halfsplit.bench.handed import HANDED
from halfsplit.bench.noting import Noter
from halfsplit.bench.pictures_in import decoded, kind_of, preview, preview_of
from halfsplit.bench.pins_file import load_pins
from halfsplit.bench.racks import RackBench
from halfsplit.bench.recall import none_missing
from halfsplit.bench.sealed import ASK, read_archive
from halfsplit.bench.texts import text_problems
from halfsplit.boards.file import load_rack
from halfsplit.boards.which import sort_of
from halfsplit.diagnosis.meters import Meter, meters
from halfsplit.journal import Journal, glance, journal_path
from halfsplit.problems import HalfsplitError, Problem, ProblemsError

Heard = Callable[[int, int], None]
# What reading an entry that was made up may run into.
SENSELESS = (KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError)


@dataclass(frozen=True)
class Unpacked:
    """What an archive became.

    Attributes
    ----------
    folder: where it is. files: names in it. entries: of each journal, by machine file.
    notes: what was done to pictures, in words. problems: doubts, and errors that were let through.
    """

    folder: Path
    files: tuple[str, ...]
    entries: dict[str, int]
    notes: tuple[str, ...]
    problems: tuple[Problem, ...]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        told = asdict(self) | {"folder": str(self.folder)}
        return told | {"problems": [p.as_dict() for p in self.problems]}


def unpack(
    archive: Path,
    target: Path,
    *,
    with_errors: bool = False,
    heard: Heard = lambda done, total: None,
) -> Unpacked:
    """Unpack an archive into `target`, which must not exist or be empty.

    With `with_errors`, machine files that `check` would find errors in are unpacked too; nothing
    else is let through. Raises NotFoundError, ProblemsError with everything that is wrong, or
    HalfsplitError when it cannot be written. Nothing is left behind then, and never is anything
    written outside `target` and the folder of our own beside it.
    """
    free(target)
    items = read_archive(archive, heard)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        trial = Path(tempfile.mkdtemp(prefix=".unpacking-", dir=target.parent))
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or error
        raise HalfsplitError(f"{target}: cannot be made: {said}") from error
    try:
        found = _laid_out(archive, items, trial, with_errors, heard)
        _move(trial, target)
    except OSError as error:
        raise HalfsplitError(f"{target}: cannot be written: {error.strerror or error}") from error
    finally:
        shutil.rmtree(trial, ignore_errors=True)
    return replace(found, folder=target)


def free(target: Path) -> None:
    """Raise ProblemsError unless `target` can become the new folder."""
    try:
        taken = target.is_symlink() or (
            target.exists() and (not target.is_dir() or any(target.iterdir()))
        )
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or error
        raise ProblemsError([Problem(str(target), 0, 0, "", f"is no folder: {said}")]) from None
    if taken:
        wrong = "is there already, with something in it; nothing is ever unpacked over other files"
        raise ProblemsError([Problem(str(target), 0, 0, "", wrong, "--to a new folder")])


def _move(trial: Path, target: Path) -> None:
    free(target)  # again: reading may have taken a while
    if target.exists():
        target.rmdir()
    trial.chmod(0o755)
    trial.rename(target)


def _laid_out(
    archive: Path, items: list[Item], folder: Path, with_errors: bool, heard: Heard
) -> Unpacked:
    """Write and check everything in a folder of our own."""
    problems: list[Problem] = []
    notes: list[str] = []
    names = [i.name for i in items if i.sort == "machine"]
    if not names:
        raise ProblemsError([Problem(str(archive), 0, 0, "", "there is no machine in it", ASK)])
    pixels = 0
    for k, item in enumerate(items):
        heard(k, len(items))
        at = f"{archive.name}: {item.name}"
        if item.sort in ("pins", "journal", "picture") and not owner_of(
            item.name, item.sort, names
        ):
            problems.append(
                Problem(at, 0, 0, "", "belongs to no machine's file in the archive", ASK)
            )
        elif item.sort == "picture":
            pixels += _picture(at, item, folder, pixels, problems, notes)
        elif item.sort != "journal":
            _put(folder / item.name, item.data)
    _raise(problems)
    told = _text_problems(folder, items)
    fatal = [p for p in told if p.severity == "error"]
    if fatal and not with_errors:
        raise ProblemsError([_named(p, archive, folder) for p in fatal])
    entries: dict[str, int] = {}
    for item in items:
        if item.sort == "journal":
            owner = owner_of(item.name, item.sort, names) or ""
            entries[owner] = _journal(archive, item, folder / owner)
    made = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    made = [n for n in made if not n.endswith(".lock")]
    for lock in folder.glob("*.lock"):
        lock.unlink()
    kept = tuple(replace(p, file=Path(p.file).name) for p in told)
    return Unpacked(folder, tuple(made), entries, tuple(notes), kept)


def _put(path: Path, data: bytes) -> None:
    path.parent.mkdir(exist_ok=True)
    with path.open("xb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())


def _picture(
    at: str, item: Item, folder: Path, pixels: int, problems: list[Problem], notes: list[str]
) -> int:
    """Check a picture by what is in it, and write it with nothing but its pixels; returns them."""
    wanted = "JPEG" if item.name.endswith(".jpg") else "PNG"
    try:
        if kind_of(item.data) != wanted:
            told = Problem(at, 0, 0, "", f"is called a {wanted} and is none", ASK)
            raise ProblemsError([told])
        less = bare(item.data)
        picture = decoded(less)
        size = picture.width * picture.height
        if pixels + size > MOST_PIXELS:
            told = Problem(
                at, 0, 0, "", "one picture too many: they would take too long to read", ASK
            )
            raise ProblemsError([told])
        path = folder / item.name
        _put(path, less)
        _put(path.with_name(preview_of(path.name)), preview(picture))
    except ProblemsError as error:
        problems += [replace(p, file=at) for p in error.problems]
        return 0
    except (ValueError, FileExistsError) as error:
        problems.append(Problem(at, 0, 0, "", str(error), ASK))
        return 0
    if less != item.data:
        notes.append(
            f"{item.name}: {len(item.data) - len(less)} bytes that are no picture taken out"
        )
    return size


def _text_problems(folder: Path, items: list[Item]) -> list[Problem]:
    """Every problem of the files as they stand there, pins and pattern files too."""
    found: list[Problem] = []
    for item in items:
        path = folder / item.name
        if item.sort in ("machine", "pattern"):
            found += text_problems(path)
        if item.sort == "machine" and path.with_name(f"{path.stem}.pins.yaml").exists():
            assembly, _ = load(path)
            found += load_pins(assembly)[1] if assembly is not None else []
    return list(dict.fromkeys(found))


def _named(problem: Problem, archive: Path, folder: Path) -> Problem:
    """A problem with the place in the archive in place of our folder."""
    name = problem.file.replace(f"{folder}{os.sep}", "")
    return replace(problem, file=f"{archive.name}/{name}")


def _raise(problems: list[Problem]) -> None:
    if problems:
        raise ProblemsError(problems)


def _journal(archive: Path, item: Item, machine: Path) -> int:
    """Rebuild a journal from its text, entry by entry; returns how many there were."""
    at = f"{archive.name}/{item.name}"
    try:
        document = json.loads(item.data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise ProblemsError(
            [Problem(at, 0, 0, "", f"is no exported journal: {error}", ASK)]
        ) from None
    try:
        with Journal.import_json(document, journal_path(machine)) as journal:
            _raise(entry_problems(document["entries"], at))
            count = len(document["entries"])
            journal.append(HANDED, {"entries": count})
    except ProblemsError as error:
        raise ProblemsError([replace(p, file=at) for p in error.problems]) from None
    sort = sort_of(machine)
    if sort == "boards" and load_rack(machine)[0] is not None:
        _of_boards(at, machine)
    elif sort == "assembly" and load(machine)[0] is not None:
        _in_force(at, machine)
    return count


def _of_boards(at: str, machine: Path) -> None:
    """Read what the bench would read of a journal of boards. Raises ProblemsError."""
    try:
        with RackBench(machine) as rack:
            rack.positions()
            rack.state()
    except ProblemsError as error:
        raise ProblemsError([replace(p, file=at) for p in error.problems]) from None
    except SENSELESS as error:
        raise ProblemsError([_senseless(at, error)]) from None


def _senseless(at: str, error: Exception) -> Problem:
    wrong = f"an entry of it makes no sense with this file ({type(error).__name__}: {error})"
    return Problem(at, 0, 0, "", wrong, ASK)


def _in_force(at: str, machine: Path) -> None:
    """Read what the bench would read of a machine's journal, so that nothing in it comes as a
    surprise later. Raises ProblemsError."""
    try:
        with glance(journal_path(machine)) as journal:
            bench = Noter(machine, None, journal)
            _meters(at, [e.body["meter"] for e in bench.entries if "meter" in e.body])
            for entry in bench.entries:
                named = entry.body.get("part")
                none_missing(bench.assembly, entry, [named] if named else [])
            for _ in (
                bench.machine,
                bench.condition,
                bench.meter,
                bench.evidence(),
                bench.signs(),
                bench.proofs(),
                bench.discharged(),
                bench.open_items(),
            ):
                pass
    except ProblemsError as error:
        raise ProblemsError([replace(p, file=at) for p in error.problems]) from None
    except HalfsplitError as error:
        raise ProblemsError([Problem(at, 0, 0, "", str(error), ASK)]) from None
    except SENSELESS as error:
        raise ProblemsError([_senseless(at, error)]) from None


def _meters(at: str, told: list[Any]) -> None:
    """Raise ProblemsError for a meter whose numbers are none."""
    usual = meters()["digital"]
    for meter in told:
        for f in fields(Meter):
            value, like = meter.get(f.name, getattr(usual, f.name)), getattr(usual, f.name)
            number = isinstance(like, (int, float)) and not isinstance(like, bool)
            right = isinstance(value, (int, float) if number else type(like))
            if isinstance(like, tuple):  # which JSON makes a list
                right = isinstance(value, list) and all(isinstance(v, (int, float)) for v in value)
                right |= value == like
            if not right:
                wrong = f"a meter's {f.name} is not what belongs there"
                raise ProblemsError([Problem(at, 0, 0, "", wrong, ASK)])
