"""From the `patterns` of an assembly file to plain part entries."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ruamel.yaml.comments import CommentedMap

from halfsplit.assembly.advice import near, near_kind, shown
from halfsplit.assembly.pattern import Pattern, Placed
from halfsplit.assembly.pattern_find import Library, find_used
from halfsplit.assembly.placing import Use
from halfsplit.parts.base import REGISTRY

if TYPE_CHECKING:
    from halfsplit.assembly.file import Reader

Notes = Mapping[str, Mapping[str, Any]]


@dataclass
class Expanded:
    """What the patterns of a file stand for.

    Attributes
    ----------
    parts: reference -> entry, as if it had been typed under `parts`.
    uses: name of a use -> its parts, in order.
    readers: name of a use -> the use as read, for whoever changes it.
    whole: whether every use could be read.
    files: pattern files it was made of.
    """

    parts: dict[str, CommentedMap] = field(default_factory=dict)
    uses: dict[str, list[Placed]] = field(default_factory=dict)
    readers: dict[str, Use] = field(default_factory=dict)
    whole: bool = True
    files: tuple[Path, ...] = ()

    def use_of(self, ref: str) -> str | None:
        """Name of the use a part came from."""
        return next((u for u, found in self.uses.items() if any(p.ref == ref for p in found)), None)


def notes(reader: Reader, document: CommentedMap) -> dict[str, dict[str, Any]]:
    """What the drawing says of every part of a kind unless noted; problems are recorded."""
    found: dict[str, dict[str, Any]] = {}
    for kind, entry in reader.section(document, "unless_noted").items():
        where = f"unless_noted.{kind}"
        known = REGISTRY.kinds.get(kind)
        if known is None:
            reader.add(where, f"there is no kind `{kind}`", near_kind(kind, REGISTRY.kinds))
        elif not isinstance(entry, Mapping):
            wrong = f"{shown(entry)} stands where `{{field: value}}` belongs"
            reader.add(where, wrong, reader.samples["unless_noted"])
        else:
            found[kind] = {}
            for name, value in entry.items():
                if str(name) in known.TERMINALS or name in ("kind", "windings"):
                    wrong = f"`{name}` is not the same for every part of kind {kind}"
                    reader.add(f"{where}.{name}", wrong, "it on the line of each part")
                elif str(name) not in known.model_fields or name == "ref":
                    wrong = f"`{name}` is not something a part of kind {kind} has"
                    fields = [f for f in known.model_fields if f not in known.TERMINALS]

                    reader.add(f"{where}.{name}", wrong, near(name, fields))
                else:
                    found[kind][str(name)] = value
    return found


def noted(entry: CommentedMap, note: Notes) -> CommentedMap:
    """A typed part with what holds unless noted laid under it; one with a type needs none."""
    kind = str(entry.get("kind", ""))
    if kind not in note or "type" in entry:
        return entry
    made = CommentedMap(entry)
    for name, value in note[kind].items():
        made.setdefault(name, value)
    return made


def expand(
    reader: Reader, document: CommentedMap, common: str, note: Notes, typed: Mapping[str, Any]
) -> Expanded:
    """Every part the patterns of a file stand for; problems go to the reader, at the use's line."""
    found, library = Expanded(), Library(reader.path)
    for name, entry in reader.section(document, "patterns").items():
        where = f"patterns.{name}"
        if any(c in " \t:,{}[]#." for c in name):
            reader.add(
                where, f"`{name}` is no name for a use: it is one word", "a name such as n12-pass"
            )
            found.whole = False
            continue
        if not isinstance(entry, CommentedMap):
            wrong = f"{shown(entry)} stands where the use of a pattern belongs"
            wrong = "nothing stands here" if entry is None else wrong
            reader.add(where, wrong, f"{name}: {reader.samples['patterns'].partition(': ')[2]}")
            found.whole = False
            continue
        pattern = find_used(reader, where, entry, library)
        if pattern is None:
            found.whole = False
            reader.spoil(entry)
            continue
        _place(reader, found, pattern, name, entry, common, note, typed)
    found.files = tuple(dict.fromkeys(p.file for p in (u.pattern for u in found.readers.values())))
    return found


def _place(
    reader: Reader,
    found: Expanded,
    pattern: Pattern,
    name: str,
    entry: CommentedMap,
    common: str,
    note: Notes,
    typed: Mapping[str, Any],
) -> None:
    where = f"patterns.{name}"

    def say(at: str, wrong: str, instead: str) -> None:
        reader.add(f"{where}.{at}" if at else where, wrong, instead)

    use = Use(pattern, lambda net: f"{name}_{net}", entry, say, common, note)
    placed = use.placed()
    found.readers[name] = use
    if not use.sound:
        found.whole = False
        reader.spoil(entry)
    found.uses[name] = []
    for part in placed:
        at = f"{where}.{part.role.name}"
        other = found.use_of(part.ref)
        if part.ref in typed or other is not None:
            place = "stands under `parts` as well" if part.ref in typed else f"is in {other} too"
            reader.add(at, f"`{part.ref}` {place}", "another reference, or the line once")
            reader.spoil(part.entry())
            continue
        if not reader.reference(part.ref):
            wrong = f"`{part.ref}` is no reference: it is a word without : # . , {{ }} [ ]"
            reader.add(at, wrong, "a reference such as R1")
            reader.spoil(part.entry())
            continue
        found.uses[name].append(part)
        found.parts[part.ref] = CommentedMap(part.entry())
        reader.lines[f"parts.{part.ref}"] = reader.lines.get(at, reader.lines.get(where, (1, 1)))
        for key, place in part.where.items():
            line = reader.lines.get(f"{where}.{place}")
            if line is not None:
                reader.lines[f"parts.{part.ref}.{key}"] = line
