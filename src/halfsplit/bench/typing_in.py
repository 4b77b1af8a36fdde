"""A machine's file while somebody types it in: each entry on disk at once, the file always right.

A :class:`TypingIn` keeps nothing of the file but the last look at it: whoever edits it elsewhere
is believed. It needs no journal and no circuit that could be solved.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from halfsplit.assembly.designator import after, alike, close
from halfsplit.assembly.draft import LINES, Draft, draft
from halfsplit.assembly.edit import source_of
from halfsplit.assembly.entry_edit import (
    ChangedError,
    edit_text,
    put_entries,
    remove_entry,
)
from halfsplit.assembly.entry_text import entry_place, entry_text, with_entries, without_entry
from halfsplit.assembly.pattern_find import beside
from halfsplit.assembly.spoken import split
from halfsplit.assembly.typed_line import End, Line, line_of, read_line
from halfsplit.parts import catalogue
from halfsplit.parts.base import REGISTRY
from halfsplit.parts.house import HOUSE
from halfsplit.problems import HalfsplitError, NotFoundError, Problem, ProblemsError

PARTS = ("parts", "patterns")
SHOWN_ROWS = 8  # parts last in the file, listed on a page
SHOWN_MEMBERS = 8  # of a net, beside the field
MOST_UNDO = 200  # entries that can be taken back, one after the other
Stamp = tuple[tuple[int, int, int], ...]


@dataclass(frozen=True)
class Done:
    """One thing written: the text before and after, and the entries it wrote."""

    words: str
    before: str
    after: str
    entries: tuple[
        tuple[str, str, str | None, str | None], ...
    ]  # section, name, text before, after


def _stamp(path: Path) -> tuple[int, int, int]:
    try:
        status = path.stat()
    except OSError:
        return 0, 0, 0
    return status.st_mtime_ns, status.st_size, status.st_ino


class TypingIn:
    """One file being typed; safe to use from several threads."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self._gate = threading.RLock()
        self._draft: Draft | None = None
        self._seen: Stamp = ()
        self._done: list[Done] = []
        self.own: Stamp = ()  # of the file as written here last

    # -- looking -----------------------------------------------------------------------------------

    def stamp(self) -> Stamp:
        """What changes when the file, or a pattern or marking beside it, does."""
        at = [self.file, self.file.with_name(HOUSE), *beside(self.file)]
        return tuple(_stamp(p) for p in at)

    def seen(self) -> tuple[Stamp, bool]:
        """The stamp, and whether the file is as written here last; not amid a write of ours, whose
        file would be taken for somebody else's."""
        with self._gate:
            now = self.stamp()
            return now, now == self.own

    def look(self) -> Draft:
        """The file as it is now."""
        with self._gate:
            now = self.stamp()
            if self._draft is None or now != self._seen:
                self._draft, self._seen = draft(self.file), now
            return self._draft

    def state(self) -> dict[str, Any]:
        """Everything a page shows of the file, as plain data."""
        at = self.look()
        assembly = at.assembly
        rows = [(s, n) for s in LINES for n in at.entries(s)]
        rows.sort(key=lambda r: at.line(*r))
        return {
            "name": assembly.name if assembly is not None else self.file.stem,
            "readable": assembly is not None,
            "loads": at.loads,
            "common": at.common,
            "parts": len(assembly.parts) if assembly is not None else 0,
            "wrong": [self._words(p) for p in at.wrong],
            "not_yet": [self._words(p) for p in at.not_yet],
            "names": [n for _, n in rows],
            "rows": [self._row(at, *r) for r in [r for r in rows if r[0] in PARTS][-SHOWN_ROWS:]],
            "others": {s: [*at.entries(s)] for s in LINES if s not in PARTS and at.entries(s)},
            "nets": [[n, _members(at.members.get(n, []))] for n in at.nets()],
            "undo": self._done[-1].words if self._done else "",
        }

    def _words(self, problem: Problem) -> str:
        named = replace(problem, file=Path(problem.file).name or self.file.name)
        return quoted(str(named))

    def _row(self, at: Draft, section: str, name: str) -> list[Any]:
        found = line_of(at, name)
        words, ends = (
            (found[1], found[2]) if found is not None and found[0] == section else ("", [])
        )
        return [section, name, words, [e for e in ends if e], at.line(section, name)]

    def words(self) -> dict[str, list[list[str]]]:
        """What completes a field: kinds and patterns, and types of the catalogue."""
        at = self.look()
        kinds = [[name, _first_line(kind.__doc__)] for name, kind in sorted(REGISTRY.kinds.items())]
        kinds += [[name, f"pattern: {made.what}"] for name, made in at.patterns.items()]
        kinds += [["rail", "a rail: its net, limits and ripple"]]
        kinds += [["point", "a place a probe reaches"], ["loads", "a load, such as loads p5=2R"]]
        rows = catalogue.load().rows.values()
        types = [[row.type, row.kind] for row in rows if row.modelled]
        types += [[h.marking, f"{h.type}, in-house marking"] for h in at.house.values()]
        return {"kinds": kinds, "types": sorted(types)}

    def next_name(self, name: str) -> str:
        """The designator likely typed after this one; "" when none follows."""
        at = self.look()
        taken = {n for s in LINES for n in at.entries(s)} | set(at.placed.parts)
        return after(name, taken)

    def beside(self, name: str, step: int) -> str:
        """The entry above (-1) or below (1) one in the file; from an unknown name, the last."""
        at = self.look()
        found = [(at.line(s, n), n) for s in LINES for n in at.entries(s)]
        rows = [n for _, n in sorted(found)]
        if not rows:
            return ""
        if name not in rows:
            return str(rows[-1])
        return str(rows[min(max(rows.index(name) + step, 0), len(rows) - 1)])

    # -- typing ------------------------------------------------------------------------------------

    def recall(self, name: str) -> dict[str, Any] | None:
        """An entry as it would be typed, and `held`, what stands there; None when there is none."""
        at = self.look()
        found = line_of(at, name)
        if found is None:
            return None
        section, words, ends = found
        held = entry_text(source_of(self.file), section, name)
        line = at.line(section, name)
        return {
            "section": section,
            "words": words,
            "ends": ends,
            "held": held,
            "line": line,
        }

    def hear(self, name: str, words: str, ends: Sequence[str]) -> dict[str, Any]:
        """What a line as typed would put into the file, and what to mind, without writing."""
        at = self.look()
        line = read_line(at, name, words, ends)
        texts = [*ends, *[""] * (len(line.ends) - len(ends))]
        own = at.line(line.section, line.name) if line.name else 0
        return {
            "section": line.section,
            "kind": line.kind,
            "guessed": line.guessed,
            "line": own,
            "use": at.placed.use_of(line.name) or "",
            "ends": [
                {
                    "name": e.name,
                    "label": e.label,
                    "sort": e.sort,
                    "needed": e.needed,
                    "hint": _hint(at, e, text, line.name),
                }
                for e, text in zip(line.ends, texts, strict=False)
            ],
            "problems": [[p.path, _plain(p), p.severity] for p in line.problems],
            "missing": list(line.missing),
        }

    def write(self, name: str, words: str, ends: Sequence[str], held: str | None) -> dict[str, Any]:
        """Write a line to the file; on disk when this returns.

        `held`: what stood there when the line was begun, None for nothing. Raises ProblemsError
        for what is wrong with it, ChangedError when something else stands there now.
        """
        with self._gate:
            at = self.look()
            line = read_line(at, name, words, ends)
            problems = [p for p in line.problems if p.severity == "error"]
            problems += [_missing(line, end) for end in line.ends if end.name in line.missing]
            if problems:
                raise ProblemsError(
                    [replace(p, wrong=quoted(p.wrong), instead=quoted(p.instead)) for p in problems]
                )

            def unless(source: str) -> None:
                now = entry_text(source, line.section, line.name)
                if now == held:
                    return
                there = "" if now is None else f": {' '.join(now.split())[:300]}"
                how = "is no longer in the file" if now is None else "stands in the file already"
                more = "Enter once more puts yours in its place"
                raise ChangedError(f"{line.name} {how}{there}. {more}", now)

            entries = {line.name: line.entry}
            before, after_ = put_entries(self.file, line.section, entries, unless)
            old = entry_text(before, line.section, line.name)
            new = entry_text(after_, line.section, line.name)
            said = f"{line.name}: {'changed' if old is not None else 'written'}"
            self._remember(said, before, after_, ((line.section, line.name, old, new),))
            now = self.look()
            return {
                "name": line.name,
                "section": line.section,
                "said": said if old != new else f"{line.name}: stands there as typed",
                "line": now.line(line.section, line.name),
                "next": self.next_name(line.name),
                "doubts": [_plain(p) for p in line.problems if p.severity != "error"],
            }

    def write_many(self, entries: Mapping[str, Mapping[str, Any]], words: str) -> None:
        """Write many parts as one edit, which is taken back as one. Raises as :meth:`write`."""
        with self._gate:
            before, after_ = put_entries(self.file, "parts", entries, lambda _: None)
            listed = tuple(
                ("parts", n, entry_text(before, "parts", n), entry_text(after_, "parts", n))
                for n in entries
            )
            self._remember(words, before, after_, listed)

    def remove(self, name: str) -> str:
        """Take an entry out of the file; returns words. Raises NotFoundError, HalfsplitError."""
        with self._gate:
            found = line_of(self.look(), name)
            if found is None:
                use = self.look().placed.use_of(name)
                more = f"; it comes from `{use}`, delete that" if use else ""
                raise NotFoundError(f"there is no entry {name or '(no name)'} in the file{more}")
            before, after_ = remove_entry(self.file, found[0], name)
            old = entry_text(before, found[0], name)
            words = f"{name}: deleted"
            self._remember(words, before, after_, ((found[0], name, old, None),))
            return words

    def undo(self) -> str:
        """Take back what was written last here; returns words.

        What others wrote meanwhile stays. Raises ChangedError when they wrote the same entry,
        HalfsplitError when there is nothing to take back.
        """
        with self._gate:
            if not self._done:
                raise HalfsplitError("nothing was written here since the program started")
            last = self._done[-1]

            def edited(source: str) -> str:
                if source == last.after:
                    return last.before
                for section, name, _, new in last.entries:
                    if entry_text(source, section, name) != new:
                        raise ChangedError(
                            f"{name} was changed in the file since; it is left as it stands"
                        )
                for section, name, old, _ in last.entries:
                    source = _put_back(source, section, name, old)
                return source

            try:
                edit_text(self.file, edited, [])
            except (ChangedError, ProblemsError):
                self._done.pop()
                raise
            self._done.pop()
            self.own = self.stamp()
            return f"taken back: {last.words}"

    def _remember(
        self,
        words: str,
        before: str,
        after_: str,
        entries: tuple[tuple[str, str, str | None, str | None], ...],
    ) -> None:
        self.own = self.stamp()
        if before != after_:
            self._done.append(Done(words, before, after_, entries))
            del self._done[:-MOST_UNDO]


def _put_back(source: str, section: str, name: str, old: str | None) -> str:
    """An entry of a text as it was before: the very text of it, or gone."""
    if old is None:
        return without_entry(source, section, name)
    if entry_place(source, section, name) is None:
        source = with_entries(source, section, {name: {"kind": "resistor"}})  # makes room for it
    place = entry_place(source, section, name)
    assert place is not None
    return source[: place[0]] + old + source[place[1] :]


def _missing(line: Line, end: End) -> Problem:
    what = {"net": "the net of", "winding": "", "part": ""}[end.sort]
    kind = "terminal " if line.section == "parts" and end.sort == "net" else ""
    words = f"{what} {kind}{end.label} is not typed yet".strip()
    return Problem("", 0, 0, end.name, words)


def _plain(problem: Problem) -> str:
    """What is wrong and what to write, without a place: the field it stands at shows that."""
    return quoted(str(Problem("", 0, 0, "", problem.wrong, problem.instead)))


def quoted(words: str) -> str:
    """What stands between backquotes as people quote it."""
    return re.sub("`([^`]*)`", "“\\1”", words)


def _first_line(text: str | None) -> str:
    return (text or "").strip().partition("\n")[0].rstrip(".")


def _members(found: Sequence[str]) -> str:
    shown = ", ".join(found[:SHOWN_MEMBERS])
    more = len(found) - SHOWN_MEMBERS
    return f"{shown} and {more} more" if more > 0 else shown


def _hint(at: Draft, end: End, text: str, own: str) -> list[str]:
    """What to say beside a field that names nets: a tone, and words."""
    text = text.strip()
    if not text or end.sort == "part":
        return ["", ""]
    nets = split(text)[0][1:3] if end.sort == "winding" else [text]
    told = [_of_net(at, net, own) for net in nets]
    tone = "warn" if any(t == "warn" for t, _ in told) else told[0][0] if told else ""
    return [tone, "; ".join(w for _, w in told if w)]


def _of_net(at: Draft, net: str, own: str) -> tuple[str, str]:
    known = at.nets()
    there = [m for m in at.members.get(net, []) if m.split()[0] != own]
    mistaken = alike(net, known)
    warning = f"easily taken for {', '.join(mistaken)}" if mistaken else ""
    if net == at.common:
        return "", f"{net}: the common net"
    if there:
        words = f"{net}: {_members(there)}"
        return ("warn", f"{words} – {warning}") if warning else ("known", words)
    near = close(net, known)
    if warning:
        return "warn", f"{net} is new, and {warning}"
    return "new", f"{net} is new" + (f"; there is also {', '.join(near[:4])}" if near else "")
