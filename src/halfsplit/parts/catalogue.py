"""Load the shipped part types and refuse any number that does not say where it comes from."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from halfsplit.parts import kinds as _kinds
from halfsplit.parts.base import REGISTRY, Part
from halfsplit.parts.fields import FIELD_UNITS, REQUIRED, WORD_FIELDS
from halfsplit.parts.kept import digest_of, keep, kept
from halfsplit.parts.shelf import SHELF, Shelf
from halfsplit.problems import Problem
from halfsplit.quantity import QuantityError, parse, parse_range, parse_tolerance

assert _kinds  # importing it fills the registry
SOURCES = "sources.yaml"
# Row keys that describe the row and are not fields of the part.
OWN_KEYS = frozenset({"kind", "source", "from", "also"})
STATUSES = ("found", "second-hand", "derived", "memory", "practice")
# A number nobody looked up must say so in exactly these words wherever its source is shown.
FIXED_TITLES = {
    "memory": "from memory, unconfirmed",
    "practice": "common practice, no published source",
}


# SN74LS00N: whoever made it, the type is 74LS00.
LOGIC = re.compile(r"[A-Z]{0,3}(74(?:LS|S)?\d{2,3})[A-Z]{0,2}")


@dataclass(frozen=True)
class Source:
    """Where numbers come from: document, edition and place in it, and how well it was read.

    `status` is one of :data:`STATUSES`.
    """

    title: str
    status: str
    edition: str = ""
    where: str = ""


@dataclass(frozen=True)
class Row:
    """One part type: its kind, the field texts as in the file, and the source id of each field.

    `also` lists other names the same type is sold or printed under.
    """

    type: str
    kind: str
    fields: Mapping[str, Any]
    sources: Mapping[str, str]
    also: tuple[str, ...] = ()

    @property
    def modelled(self) -> bool:
        """Whether an assembly can use it; the others are known by ratings and pins alone."""
        return self.kind in REGISTRY.kinds


def same(name: str) -> str:
    """What two spellings of one type have in common."""
    return "".join(name.split()).upper()


def kind_of(name: str) -> type[Part] | type[Shelf] | None:
    """The kind of this name, with a circuit or without."""
    return REGISTRY.kinds.get(name) or SHELF.get(name)


@dataclass(frozen=True)
class Catalogue:
    """All part types by :func:`same` of their names, and the sources by id."""

    rows: Mapping[str, Row]
    sources: Mapping[str, Source]

    @cached_property
    def names(self) -> Mapping[str, Row]:
        """Every name a type goes by, its own and the others, to its row."""
        others = {same(name): row for row in self.rows.values() for name in row.also}
        return {**others, **self.rows}

    def get(self, name: str) -> Row | None:
        """Row of a type by any of its names, ignoring case and spaces.

        Logic is also found with a maker's letters before its number and a package's after it.
        """
        found = self.names.get(same(name))
        logic = None if found else LOGIC.fullmatch(same(name))
        if logic is None:
            return found
        return self.names.get(logic[1]) or self.names.get(f"{logic[1]}A")

    def nearest(self, name: str) -> list[str]:
        """Up to three types whose names look alike, the likeliest first."""
        close = difflib.get_close_matches(same(name), self.names, n=6, cutoff=0.6)
        return list(dict.fromkeys(self.names[key].type for key in close))[:3]

    def kinds(self) -> list[str]:
        """Every part kind that has at least one type, in alphabetical order."""
        return sorted({row.kind for row in self.rows.values()})


@dataclass(frozen=True)
class _Entry:
    """One entry of a file and where it stands, so that complaints can point at it."""

    name: str
    fields: CommentedMap
    file: Path
    place: tuple[int, int]
    problems: list[Problem]

    def complain(self, key: str, wrong: str, instead: str = "") -> None:
        """Note a problem with the field `key`, or with the whole entry when it is empty."""
        at = _place(self.fields, key) if key else (0, 0)
        path = f"{self.name}.{key}" if key else self.name
        self.problems.append(
            Problem(str(self.file), *(at if at[0] else self.place), path, wrong, instead)
        )


class _Reader:
    """Reads one folder or file, collecting rows, sources and everything wrong with them."""

    def __init__(self, thorough: bool) -> None:
        self.thorough = thorough
        self.problems: list[Problem] = []
        self.sources: dict[str, Source] = {}
        self.rows: dict[str, Row] = {}
        self.taken: set[str] = set()

    def complain(
        self, file: Path, path: str, wrong: str, instead: str = "", at: tuple[int, int] = (0, 0)
    ) -> None:
        self.problems.append(Problem(str(file), *at, path, wrong, instead))

    def load(self, file: Path) -> CommentedMap:
        """Content of one file; empty, with a problem noted, when it cannot be read."""
        try:
            content = YAML().load(file.read_text(encoding="utf-8"))
        except OSError as error:
            self.complain(file, "", f"The file cannot be read: {error.strerror}.")
        except UnicodeDecodeError:
            self.complain(file, "", "The file is not UTF-8 text.")
        except MarkedYAMLError as error:
            mark = error.problem_mark
            at = (mark.line + 1, mark.column + 1) if mark else (0, 0)
            self.complain(file, "", f"This is not readable as YAML: {error.problem}.", at=at)
        except (YAMLError, ValueError) as error:
            self.complain(file, "", f"This is not readable as YAML: {error}.")
        except RecursionError:
            self.complain(file, "", "This is nested too deeply to be a list of part types.")
        else:
            if isinstance(content, CommentedMap):
                return content
            self.complain(file, "", "The file must list entries by name.", "2N3055:")
        return CommentedMap()

    def entries(self, file: Path) -> list[_Entry]:
        """Entries of a file; anything that is no block of fields is a problem."""
        found = []
        content = self.load(file)
        for name, fields in content.items():
            place = _place(content, name)
            if isinstance(fields, CommentedMap):
                found.append(_Entry(str(name), fields, file, place, self.problems))
            else:
                self.complain(file, str(name), "An entry must be a block of fields.", at=place)
        return found

    def read_sources(self, file: Path) -> None:
        for item in self.entries(file):
            complain = item.complain
            texts = {str(key): str(value) for key, value in item.fields.items()}
            status, title = texts.get("status", ""), texts.get("title", "")
            for key in ("title", "edition", "where", "status"):
                if not texts.get(key):
                    complain("", f"A source needs its {key}.", f"{key}: followed by words")
            for key in texts.keys() - {"title", "edition", "where", "status"}:
                complain(key, f"A source has no field {key}.")
            if status and status not in STATUSES:
                complain("status", f"There is no status {status}.", " or ".join(STATUSES))
            elif status in FIXED_TITLES and title != FIXED_TITLES[status]:
                complain("title", f"The title of a {status} source is fixed.", FIXED_TITLES[status])
            self.sources[item.name] = Source(
                title, status, texts.get("edition", ""), texts.get("where", "")
            )

    def read_rows(self, file: Path) -> None:
        for item in self.entries(file):
            row = self.row(item)
            if row is None:
                continue
            for name in (row.type, *row.also):
                if same(name) in self.taken:
                    whose = "This type is" if name == row.type else f"Its name {name} is"
                    item.complain("", f"{whose} listed twice.")
                self.taken.add(same(name))
            self.rows[same(row.type)] = row

    def row(self, item: _Entry) -> Row | None:
        entry, complain = item.fields, item.complain
        kind = kind_of(str(entry.get("kind")))
        if kind is None:
            known = [*REGISTRY.kinds, *SHELF]
            close = difflib.get_close_matches(str(entry.get("kind")), known, n=1)
            complain("kind", "A row needs a known kind.", close[0] if close else "kind: npn")
            return None
        overrides = entry.get("from", {})
        if not isinstance(overrides, dict):
            complain("from", "`from` must give a source for each field.", "{gain: memory}")
            overrides = {}
        also = entry.get("also", [])
        if not isinstance(also, list) or not all(isinstance(name, str) for name in also):
            complain("also", "`also` lists other names of the type.", '["12AX7", "CV4004"]')
            also = []
        fields = {str(key): _simple(value) for key, value in entry.items() if key not in OWN_KEYS}
        named: dict[str, str] = {}
        for key in fields:
            if key not in kind.model_fields or key in Part.model_fields or _is_net(kind, key):
                close = difflib.get_close_matches(key, kind.model_fields, n=1)
                complain(key, f"A {kind.KIND} has no field {key}.", close[0] if close else "")
            source = overrides.get(key, entry.get("source"))
            if source is None:
                complain(key, "This number has no source.", f"source: an id in {SOURCES}")
            elif str(source) not in self.sources:
                complain(key, f"There is no source {source}.", f"an id in {SOURCES}")
            else:
                named[key] = str(source)
        for key in overrides:
            if key not in fields:
                complain("from", f"`from` names {key}, which the row does not have.")
        if self.thorough:
            _check_fields(kind, fields, item)
        return Row(item.name, kind.KIND, fields, named, tuple(str(name) for name in also))


def _place(mapping: CommentedMap, key: Any) -> tuple[int, int]:
    """Line and column of a key, counted from 1; zeros when the file does not hold it."""
    try:
        line, column = mapping.lc.key(key)
    except KeyError:
        return 0, 0
    return line + 1, column + 1


def _simple(value: Any) -> Any:
    """Text, numbers and mappings without what the YAML reader hangs on them."""
    if isinstance(value, Mapping):
        return {str(key): _simple(inner) for key, inner in value.items()}
    if isinstance(value, bool) or value is None:
        return value
    for plain in (int, float, str):
        if isinstance(value, plain):
            return plain(value)
    return value


def _is_net(kind: type[Part] | type[Shelf], field: str) -> bool:
    return field.removesuffix("_") in kind.TERMINALS


def _check_fields(kind: type[Part] | type[Shelf], fields: Mapping[str, Any], entry: _Entry) -> None:
    """Required fields, readable quantities, and values the kind itself accepts."""
    for key in REQUIRED.get(kind.KIND, ()):
        if key not in fields and not (key == "gain" and "gain_typical" in fields):
            entry.complain("", f"A {kind.KIND} row must say its {key}.", f"{key}: and its value")
    bad = {key for key, value in fields.items() if _unreadable(kind, key, value, entry)}
    nets = {terminal: f"n{i}" for i, terminal in enumerate(kind.TERMINALS)}
    try:
        kind.model_validate({**fields, **nets, "kind": kind.KIND})
    except ValidationError as error:
        for item in error.errors():
            key = str(item["loc"][0]) if item["loc"] else ""
            if key not in bad and (key in fields or not key):
                entry.complain(key, f"A {kind.KIND} cannot take this: {item['msg']}.", "")


def _unreadable(kind: type[Part] | type[Shelf], key: str, value: Any, entry: _Entry) -> bool:
    """Whether a field's text is no quantity of its unit; says so if it is not."""
    worded = key in WORD_FIELDS and (key != "output" or kind.KIND == "comparator")
    unit = FIELD_UNITS.get(key)
    if worded or unit is None:
        return False
    if unit != "1" and not isinstance(value, str):
        entry.complain(key, f"“{value}” has no unit.", f"a value with its unit, {unit}")
        return True
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        entry.complain(key, "This is no number.", "a value")
        return True
    try:
        if key == "tolerance":
            parse_tolerance(str(value), "1")  # as the part kinds read it
        elif ".." in str(value):
            parse_range(str(value), unit)
        elif unit not in ("1", "%") and str(value).strip()[-1:].isdigit():
            raise QuantityError(str(value), "The unit is missing.", f"{value}{unit}")
        else:
            parse(str(value), unit)
    except QuantityError as error:
        entry.complain(key, error.wrong, error.instead)
        return True
    return False


def read_folder(folder: Path, thorough: bool = False) -> tuple[Catalogue, list[Problem]]:
    """Every row of a catalogue folder, and everything wrong with it.

    `thorough` also reads each quantity and tries each row in its kind; the shipped folder is
    checked that way by the tests and not again on every start.
    """
    reader = _Reader(thorough)
    reader.read_sources(folder / SOURCES)
    for file in sorted(folder.glob("*.yaml")):
        if file.name != SOURCES:
            reader.read_rows(file)
    return Catalogue(reader.rows, reader.sources), reader.problems


def check(path: Path) -> list[Problem]:
    """Everything wrong with a catalogue folder, or with one file of part types.

    A file's sources are read from the `sources.yaml` beside it, else from the shipped one. A path
    that does not exist is a problem too; nothing is raised.
    """
    if path.is_dir():
        return read_folder(path, thorough=True)[1]
    beside = path.parent / SOURCES
    reader = _Reader(thorough=True)
    reader.read_sources(beside if beside.is_file() else shipped() / SOURCES)
    if path.name != SOURCES:
        reader.read_rows(path)
    return reader.problems


def shipped() -> Path:
    """Folder of the part types that come with the program."""
    return Path(str(files("halfsplit.catalogue")))


@cache
def load() -> Catalogue:
    """The shipped catalogue. Raises ValueError if it breaks its own rules (a packaging fault)."""
    digest = digest_of(sorted(shipped().glob("*.yaml")))
    if (found := _restored(kept("catalogue", digest))) is not None:
        return found
    catalogue, problems = read_folder(shipped())
    if problems:
        raise ValueError("; ".join(str(p) for p in problems[:5]))
    keep("catalogue", digest, _plain(catalogue))
    return catalogue


def _plain(catalogue: Catalogue) -> dict[str, Any]:
    """The catalogue as text and numbers, for the cache."""
    return {
        "rows": [[r.type, r.kind, r.fields, r.sources, r.also] for r in catalogue.rows.values()],
        "sources": {key: asdict(source) for key, source in catalogue.sources.items()},
    }


def _restored(data: Any) -> Catalogue | None:
    """What :func:`_plain` made; None when it is not that."""
    try:
        rows = [Row(t, k, f, s, tuple(also)) for t, k, f, s, also in data["rows"]]
        sources = {key: Source(**source) for key, source in data["sources"].items()}
    except (TypeError, ValueError, KeyError, AttributeError):
        return None
    return Catalogue({same(row.type): row for row in rows}, sources)
