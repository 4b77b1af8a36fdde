"""Where patterns are found, and the one a line uses.

A pattern of one's own stands beside the machine's file as ``NAME.pattern.yaml``, or as
``NAME.yaml`` in a folder ``patterns`` there or in the user's own folder; the nearest one is taken,
then the shipped one.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import platformdirs

from halfsplit.assembly.advice import near, shown
from halfsplit.assembly.pattern import Pattern
from halfsplit.problems import Problem

if TYPE_CHECKING:
    from halfsplit.assembly.file import Reader

ENDING = ".pattern.yaml"
NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def shipped() -> Path:
    """Folder of the patterns that come with the program."""
    return Path(str(files("halfsplit"))) / "patterns"


def own_folder() -> Path:
    """A user's patterns for every machine: HALFSPLIT_PATTERNS, else the system's place."""
    said = os.environ.get("HALFSPLIT_PATTERNS")
    return Path(said) if said else platformdirs.user_data_path("halfsplit") / "patterns"


def places(near_file: Path) -> list[tuple[Path, str]]:
    """Folders looked through for a machine's file, nearest first, and how names end there."""
    here = near_file.parent
    return [
        (here, ENDING),
        (here / "patterns", ".yaml"),
        (own_folder(), ".yaml"),
        (shipped(), ".yaml"),
    ]


def beside(near_file: Path) -> list[Path]:
    """Pattern files that stand beside a machine's file."""
    own = places(near_file)[:2]
    return [p for folder, ending in own for p in sorted(folder.glob(f"*{ending}"))]


def known(near_file: Path) -> dict[str, Path]:
    """Every pattern a file may use, by name."""
    found: dict[str, Path] = {}
    for folder, ending in places(near_file):
        if folder.is_dir():
            for path in sorted(folder.glob(f"*{ending}")):
                found.setdefault(path.name.removesuffix(ending), path)
    return dict(sorted(found.items()))


@dataclass
class Library:
    """Patterns within reach of one file, each read once."""

    near_file: Path
    read: dict[Path, tuple[Pattern | None, list[Problem]]] = field(default_factory=dict)

    def find(self, name: str) -> Path | None:
        """File of a pattern by name, nearest first."""
        if not NAME.fullmatch(name):
            return None
        for folder, ending in places(self.near_file):
            path = folder / f"{name}{ending}"
            if path.is_file():
                return path
        return None

    def get(self, path: Path, chain: tuple[str, ...] = ()) -> tuple[Pattern | None, list[Problem]]:
        """A pattern and what is wrong with its file; None when that cannot be used."""
        if path.parent == shipped() and not chain:
            return _from_shipped(path)
        if path not in self.read:
            self.read[path] = _read(path, self, chain)
        return self.read[path]


@cache
def _from_shipped(path: Path) -> tuple[Pattern | None, list[Problem]]:
    return _read(path, Library(path), ())


def name_of(path: Path) -> str:
    """Name a pattern file gives its pattern."""
    return path.name.removesuffix(".yaml").removesuffix(".yml").removesuffix(".pattern")


def _read(
    path: Path, library: Library, chain: tuple[str, ...]
) -> tuple[Pattern | None, list[Problem]]:
    from halfsplit.assembly.pattern_file import PatternReader  # which finds patterns in its turn

    return PatternReader(path, library, chain).pattern()


def find_used(
    reader: Reader,
    where: str,
    entry: Mapping[Any, Any],
    library: Library,
    chain: tuple[str, ...] = (),
) -> Pattern | None:
    """The pattern a line uses, or None with what is wrong recorded."""
    name = entry.get("pattern")
    if name is None:
        meant = next((k for k in entry if near(k, ["pattern"])), None)
        at = where if meant is None else f"{where}.{meant}"
        reader.add(at, "nothing says which pattern this is", "pattern: zener-reference, …")
        return None
    path = library.find(str(name))
    if path is None:
        listed = known(library.near_file)
        wrong = f"there is no pattern {shown(name)}"
        advice = near(name, listed) or "one that `halfsplit patterns` lists"
        reader.add(f"{where}.pattern", wrong, advice)
        return None
    if str(name) in chain:
        ring = " → ".join([*chain[chain.index(str(name)) :], str(name)])
        reader.add(f"{where}.pattern", f"the pattern uses itself: {ring}", "the parts themselves")
        return None
    pattern, problems = library.get(path, chain)
    reader.further += [p for p in problems if p not in reader.further]
    return pattern
