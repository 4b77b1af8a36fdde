"""Changing one value of a part that came from a pattern, on the line of its use."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from halfsplit.assembly.file import Reader, entries
from halfsplit.assembly.shortline import words


@dataclass(frozen=True)
class Target:
    """Where ``parts.R6.value`` stands when R6 comes from a pattern.

    Attributes
    ----------
    dotted: entry of the use to set.
    text: what to set there.
    old: what the part had, "" for nothing.
    beside: reference and field when a group of its own has to be begun beside the others.
    """

    dotted: str
    text: str
    old: str
    beside: tuple[str, str] | None = None


def target(path: Path, dotted: str, text: str) -> Target | None:
    """Where to set a value of a part of a pattern; None when the part is typed, or is none.

    A value that stands in a word of the use is changed there; anything else is set in the group
    ``R6: {…}`` beside it, which is begun if need be.
    """
    steps = dotted.split(".")
    if len(steps) < 3 or steps[0] != "parts":
        return None
    reader = Reader(path)
    document = reader.read()
    if document is None or document.get("patterns") is None:
        return None
    found, placed = entries(reader, document)
    ref, field = steps[1], ".".join(steps[2:])
    name = placed.use_of(ref)
    if name is None:
        return None
    use = placed.readers[name]
    role = next(r for r, line in use.lines.items() if line.ref == ref)
    line, beside = use.lines[role], use.extra.get(ref, {})
    old = str(found[ref].get(field, ""))
    if field in line.at and field not in beside and len(words(text)) == 1:
        spoken = words(str(document["patterns"][name][role]))
        spoken[line.at[field]] = text
        return Target(f"patterns.{name}.{role}", " ".join(spoken), old)
    if beside:
        return Target(f"patterns.{name}.{ref}.{field}", text, old)
    return Target(f"patterns.{name}.{ref}", text, old, (ref, field))
