"""A circuit block by block on one sheet, and two versions of it on one picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from halfsplit.assembly.differences import Difference, Differences, differences
from halfsplit.assembly.model import Assembly
from halfsplit.pictures.choice import Choice, whole
from halfsplit.pictures.kept import with_rows
from halfsplit.pictures.layout import BETWEEN, Notes, draw
from halfsplit.pictures.sections import Section, section, sections
from halfsplit.pictures.sheet import LINE, Label, Mark, Sheet

SIGNS: Mapping[Mark, str] = {"new": "+", "gone": "−", "changed": "≠", "moved": "→"}


def chosen(assembly: Assembly, blocks: Sequence[str] = ()) -> list[Section]:
    """The blocks named, or all there are. Raises NotFoundError."""
    return [section(assembly, b) for b in blocks] if blocks else sections(assembly)


def by_block(
    assembly: Assembly,
    listed: Sequence[Section],
    notes: Notes | None = None,
    *,
    headed: bool = False,
) -> tuple[Choice, Sheet]:
    """Blocks below each other, each under its name; one alone has none unless `headed`."""
    sheet = Sheet()
    for one in listed:
        drawn = draw(whole(assembly, one.refs), notes)
        left, top, _, _ = drawn.bounds()
        y = sheet.bounds()[3] + BETWEEN if sheet.symbols else 0.0
        if headed or len(listed) > 1:
            sheet.labels.append(Label(0.0, y, "start", (("heading", one.title),)))
            y += LINE + BETWEEN / 2
        sheet.add(drawn, -left, y - top)
    return whole(assembly, [r for one in listed for r in one.refs]), sheet


def compared(
    before: Assembly, after: Assembly, blocks: Sequence[str] = ()
) -> tuple[Differences, Choice, Sheet]:
    """Two versions on one sheet: everything in its old place, what is new in rows below.

    What differs is marked by the outline of its box, a sign and words. Only blocks in which
    something differs are drawn; those of `blocks` in any case. Raises NotFoundError.
    """
    told = differences(before, after)
    back = {new: old for old, new in told.refs.items()}
    notes: dict[str, list[str]] = {}
    marks: dict[str, Mark] = {}
    for d in told.found:
        ref = back.get(d.part, d.part)
        if not d.part or d.what == "added":
            continue
        mark, said = _note(d)
        marks[ref] = mark if marks.get(ref) != "moved" else "moved"
        notes.setdefault(ref, []).append(f"{SIGNS[mark]} {said}")
    extra = [d.part for d in told.found if d.what == "added"]
    moved = [r for r, m in marks.items() if m == "moved"]
    there = chosen(before, blocks) if blocks else sections(before)
    listed = there if blocks else [s for s in there if any(r in marks for r in s.refs)]
    fresh = _in_blocks(after, extra, there) if blocks else extra
    choice, sheet = by_block(before, listed, Notes({}, notes), headed=True)
    sheet.symbols = [replace(s, mark=marks.get(s.unit.part.ref, "")) for s in sheet.symbols]
    drawn = {s.unit.part.ref for s in sheet.symbols}
    again = [r for r in moved if r in drawn]
    sheet = _more(sheet, after, fresh, "new", "new parts", lambda ref: ["+ new"])
    sheet = _more(
        sheet, after, again, "moved", "as joined now", lambda ref: _pins_moved(told.of(ref))
    )
    return told, choice, sheet


def _in_blocks(after: Assembly, refs: Sequence[str], there: Sequence[Section]) -> list[str]:
    """New parts that are in one of the blocks now."""
    names = {(s.of, s.name) for s in there}
    inside = {r for s in sections(after) if (s.of, s.name) in names for r in s.refs}
    inside |= {r for s in there if s.of == "pattern" for r in after.groups.get(s.name, ())}
    return [r for r in refs if r in inside]


def _note(d: Difference) -> tuple[Mark, str]:
    """How a difference is marked in the old place, and in a few words."""
    if d.what == "removed":
        return "gone", "gone"
    if d.what == "moved":
        return "moved", "moved, see below"
    if d.what == "renamed":
        return "changed", f"now {d.after}"
    name = d.path.rpartition(".")[2]
    lead = "" if name in ("value", "type") else f"{name} "
    return "changed", f"{lead}now {d.after or 'not given'}"


def _pins_moved(told: Sequence[Difference]) -> list[str]:
    return [f"→ {d.path.rpartition('.')[2]} was {d.before or 'open'}" for d in told
            if d.what == "moved"]  # fmt: skip


def _more(
    sheet: Sheet,
    after: Assembly,
    refs: Sequence[str],
    mark: Mark,
    heading: str,
    said: Callable[[str], list[str]],
) -> Sheet:
    """A sheet with parts of the new version below, marked."""
    if not refs:
        return sheet
    more = whole(after, refs)
    notes = Notes({}, {ref: said(ref) for ref in refs})
    count = len(sheet.symbols)
    found = with_rows(sheet, more, more.units, heading, notes)
    found.symbols[count:] = [replace(s, mark=mark) for s in found.symbols[count:]]
    return found
