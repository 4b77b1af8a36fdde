"""Load the shipped part types and refuse any number that does not say where it comes from."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from halfsplit.parts import kinds as _kinds
from halfsplit.parts.base import REGISTRY
from halfsplit.problems import Problem

assert _kinds  # importing it fills the registry
# Row keys that describe the row and are not fields of the part.
OWN_KEYS = frozenset({"kind", "source", "from"})
STATUSES = ("found", "second-hand", "derived", "memory", "practice")


@dataclass(frozen=True)
class Source:
    """Where numbers come from: title, edition and place, and how well it was read."""

    title: str
    status: str


@dataclass(frozen=True)
class Row:
    """One part type: its kind, the field texts as in the file, and the source of each field."""

    type: str
    kind: str
    fields: Mapping[str, Any]
    sources: Mapping[str, str]


@dataclass(frozen=True)
class Catalogue:
    """All part types by upper-case name."""

    rows: Mapping[str, Row]
    sources: Mapping[str, Source]

    def get(self, name: str) -> Row | None:
        """Row of a type, ignoring case and spaces."""
        return self.rows.get(name.replace(" ", "").upper())

    def nearest(self, name: str) -> list[str]:
        """Up to three types whose names look alike."""
        known = [row.type for row in self.rows.values()]
        return difflib.get_close_matches(name.upper(), known, n=3, cutoff=0.6)


def _read(path: Path) -> dict[str, Any]:
    loaded = YAML(typ="safe").load(path.read_text(encoding="utf-8"))
    return loaded if isinstance(loaded, dict) else {}


def read_folder(folder: Path) -> tuple[Catalogue, list[Problem]]:
    """Every row of a catalogue folder, and everything wrong with it."""
    problems: list[Problem] = []
    rows: dict[str, Row] = {}

    def wrong(file: Path, path: str, what: str, instead: str = "") -> None:
        problems.append(Problem(str(file), 0, 0, path, what, instead))

    sources = {}
    for key, entry in _read(folder / "sources.yaml").items():
        if entry.get("status") not in STATUSES or not entry.get("title"):
            wrong(folder / "sources.yaml", key, "a source needs a title and a status")
            continue
        sources[key] = Source(entry["title"], entry["status"])
    for file in sorted(folder.glob("*.yaml")):
        if file.name == "sources.yaml":
            continue
        try:
            content = _read(file)
        except YAMLError as error:
            wrong(file, "", f"not readable as YAML: {error}")
            continue
        for name, entry in content.items():
            row = _row(str(name), entry, sources, lambda *a, f=file: wrong(f, *a))
            if row:
                if row.type.upper() in rows:
                    wrong(file, row.type, "this type is listed twice")
                rows[row.type.upper()] = row
    return Catalogue(rows, sources), problems


def _row(name: str, entry: Any, sources: Mapping[str, Source], wrong: Any) -> Row | None:
    if not isinstance(entry, dict) or entry.get("kind") not in REGISTRY.kinds:
        wrong(name, "a row needs a known kind")
        return None
    kind = REGISTRY.kinds[entry["kind"]]
    overrides = entry.get("from", {})
    named: dict[str, str] = {}
    for key in entry:
        if key in OWN_KEYS:
            continue
        if key not in kind.model_fields:
            wrong(f"{name}.{key}", f"{kind.KIND} has no such field")
        source = overrides.get(key, entry.get("source"))
        if source not in sources:
            wrong(
                f"{name}.{key}", "a number without a known source", "source: <id in sources.yaml>"
            )
            continue
        named[key] = source
    for key in overrides:
        if key not in entry:
            wrong(f"{name}.from.{key}", "names the source of a field the row does not have")
    fields = {k: v for k, v in entry.items() if k not in OWN_KEYS}
    return Row(name, entry["kind"], fields, named)


@cache
def load() -> Catalogue:
    """The shipped catalogue. Raises ValueError if it breaks its own rules (a packaging fault)."""
    catalogue, problems = read_folder(Path(str(files("halfsplit.catalogue"))))
    if problems:
        raise ValueError("; ".join(str(p) for p in problems[:5]))
    return catalogue
