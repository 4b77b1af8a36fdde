"""A file that is still being typed: the machine as far as it goes, what is wrong, what is not yet.

A circuit half typed has ends that lead nowhere, rails nothing reaches and no source; none of that
is a mistake before the last part is in. So problems are told in two lists, and whatever can be
read is there, whether or not the file would load.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from ruamel.yaml.comments import CommentedMap

from halfsplit.assembly.check import mistaken, unfinished
from halfsplit.assembly.file import Reader, any_part, as_far, in_order
from halfsplit.assembly.model import Assembly
from halfsplit.assembly.pattern import Pattern
from halfsplit.assembly.pattern_find import Library, known
from halfsplit.assembly.patterns import Expanded
from halfsplit.parts.house import HouseNumber
from halfsplit.problems import Problem

# Sections a typed line may go into.
LINES = ("parts", "patterns", "rails", "points", "loads")


@dataclass(frozen=True)
class Draft:
    """One look at a file.

    Attributes
    ----------
    assembly: as far as it can be read; None when the text is no YAML at all.
    document: what was parsed, entries as typed. placed: what its patterns stand for.
    wrong: problems that stay whatever is typed yet. not_yet: those further entries may end.
    house: in-house markings in reach.
    """

    path: Path
    assembly: Assembly | None
    document: CommentedMap
    placed: Expanded
    wrong: tuple[Problem, ...]
    not_yet: tuple[Problem, ...]
    house: Mapping[str, HouseNumber] = field(default_factory=dict)

    @property
    def loads(self) -> bool:
        """Whether nothing stands in the way of using the file."""
        return self.assembly is not None and not any(
            p.severity == "error" for p in (*self.wrong, *self.not_yet)
        )

    @property
    def common(self) -> str:
        """The common net."""
        return self.assembly.common if self.assembly is not None else "com"

    def entries(self, section: str) -> Mapping[str, Any]:
        """Entries of a section as typed; empty for one that is missing or no mapping."""
        found = self.document.get(section)
        return found if isinstance(found, CommentedMap) else {}

    def entry(self, section: str, name: str) -> Any:
        """One entry as typed; None when there is none."""
        return self.entries(section).get(name)

    def line(self, section: str, name: str) -> int:
        """Line of an entry, from 1; 0 when it is not there."""
        lines = self.assembly.lines if self.assembly is not None else {}
        return lines.get(f"{section}.{name}", (0, 0))[0]

    @cached_property
    def members(self) -> dict[str, list[str]]:
        """Net -> what is on it, in file order: terminals of parts, then rails, points and loads."""
        found: dict[str, list[str]] = {}
        at = self.assembly
        if at is None:
            return found
        for ref, part in at.parts.items():
            for terminal, net in part.terminals().items():
                found.setdefault(net, []).append(f"{ref} {terminal}")
        for name, rail in at.rails.items():
            found.setdefault(rail.net, []).append(f"rail {name}")
        for name, point in at.points.items():
            found.setdefault(point.net, []).append(f"point {name}")
        for name, nets in at.loads.items():
            for net in nets:
                found.setdefault(net, []).append(f"load {name}")
        return found

    def nets(self) -> list[str]:
        """Every net named so far, the common one first."""
        return list(dict.fromkeys([self.common, *self.members]))

    @cached_property
    def patterns(self) -> dict[str, Pattern]:
        """Patterns in reach that can be used, by name."""
        library = Library(self.path)
        read = {name: library.get(path)[0] for name, path in known(self.path).items()}
        return {name: made for name, made in read.items() if made is not None}


def draft(path: Path) -> Draft:
    """Look at a file. Nothing is raised for what is in it: see `wrong`."""
    reader = Reader(path)
    document = reader.read()
    if document is None:
        return Draft(path, None, CommentedMap(), Expanded(), tuple(reader.problems), ())
    assembly, house, placed = as_far(reader, document)
    mistaken(assembly, reader)
    wrong = in_order(reader, house)
    reader.problems = []
    any_part(reader, document)
    unfinished(assembly, reader)
    later = tuple(in_order(reader, []))
    return Draft(path, assembly, document, placed, tuple(wrong), later, reader.house)
