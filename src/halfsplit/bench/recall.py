"""Journal entries as the bench understands them, held against the file as it is today.

The journal outlives edits of the file: a net or part an entry names may be gone or renamed. Such an
entry is never weighed as something else; it stops the work until it is undone or the file mended.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from halfsplit.assembly.condition import AS_DRAWN, Change, Condition, refit
from halfsplit.assembly.model import Assembly
from halfsplit.diagnosis.evidence import Evidence, Meter
from halfsplit.faults.ohmmeter import Ohmmeter
from halfsplit.journal import Entry, Journal, journal_path
from halfsplit.problems import NotFoundError, Problem, ProblemsError

T = TypeVar("T")


def condition_of(assembly: Assembly, entry: Entry) -> Condition:
    """Condition an entry holds. Raises ProblemsError when the file no longer knows it."""
    condition = _read(entry, lambda: Condition.from_dict(entry.body["condition"]))
    condition = like_for_like(assembly, condition)
    loadable = assembly.loadable()
    missing = [f"load on {n}" for n, _ in condition.extra if n not in loadable]
    if condition.feed not in assembly.feeds:
        missing.append(f"feed {condition.feed}")
    if condition.load not in assembly.loads:
        missing.append(f"load {condition.load}")
    refs = [c.part for c in condition.changes] + [ref for ref, _ in condition.switches]
    missing += [f"part {ref}" for ref in refs if ref not in assembly.parts]
    _none_missing(assembly, entry, missing)
    for change in condition.changes:
        refit(assembly.drawn.get(change.part, assembly.parts[change.part]), change)
        if change.lead and change.lead not in assembly.parts[change.part].terminals():
            _none_missing(assembly, entry, [f"lead {change.lead} of {change.part}"])
    return condition


def like_for_like(assembly: Assembly, condition: Condition) -> Condition:
    """The condition with parts fitted like for like told apart where others had been found."""
    if not condition.changes:
        return condition
    return replace(condition, changes=tuple(_like(assembly, c) for c in condition.changes))


def _like(assembly: Assembly, change: Change) -> Change:
    if change.what != "fitted" or change.values not in ((), AS_DRAWN):
        return change
    return replace(change, values=AS_DRAWN if change.part in assembly.drawn else ())


def meter_of(entry: Entry) -> Meter:
    """Meter an entry holds. Raises ProblemsError when the entry makes no sense."""
    return _read(entry, lambda: Meter(**entry.body["meter"]))


def evidence_of(assembly: Assembly, entry: Entry) -> Evidence | None:
    """A reading as evidence; None for one that is kept but has no number to weigh.

    Raises ProblemsError when the file no longer knows the net or the condition.
    """
    b = entry.body
    state = _read(entry, lambda: b["state"])
    driven = _read(entry, lambda: b.get("ohmmeter"))
    if state != "number" and not (driven and state == "over"):
        return None
    nets = {*assembly.nets(), assembly.common}
    named = _read(entry, lambda: [str(n) for n in (b["net"], b["against"]) if n])
    _none_missing(assembly, entry, [f"net {n}" for n in named if n not in nets])
    at, meter = condition_of(assembly, entry), meter_of(entry)
    return _read(
        entry,
        lambda: Evidence(
            b["net"],
            b["against"],
            b["quantity"],
            float(b["value"]) if state == "number" else math.inf,
            float(b["resolution"]),
            at,
            meter,
            entry.seq,
            b["text"],
            Ohmmeter.from_dict(driven) if driven else None,
        ),
    )


def restore_journal(path: Path, document: Path) -> int:
    """Rebuild the journal of a file from an exported document; returns how many entries.

    Raises NotFoundError for a missing document, ProblemsError for one that is no export, and
    HalfsplitError when the file has a journal already.
    """
    try:
        data = json.loads(document.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise NotFoundError(f"{document}: there is no such file") from error
    except (OSError, ValueError, RecursionError) as error:
        wrong = f"not readable as JSON: {error}"
        raise ProblemsError([Problem(str(document), 0, 0, "", wrong)]) from error
    try:
        with Journal.import_json(data, journal_path(path)) as journal:
            return len(journal.history())
    except ProblemsError as error:
        named = [replace(p, file=str(document)) for p in error.problems]
        raise ProblemsError(named) from error


def _read(entry: Entry, make: Callable[[], T]) -> T:
    try:
        return make()
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        wrong = f"a {entry.kind} entry that makes no sense ({type(error).__name__}: {error})"
        raise _refusal("", entry, wrong, f"an undo: halfsplit undo FILE {entry.seq}") from error


def none_missing(assembly: Assembly, entry: Entry, refs: list[str]) -> None:
    """Raise ProblemsError when the file no longer knows parts an entry names."""
    _none_missing(assembly, entry, [f"part {ref}" for ref in refs if ref not in assembly.parts])


def _none_missing(assembly: Assembly, entry: Entry, missing: list[str]) -> None:
    if missing:
        wrong = f"names {', '.join(missing)}, and the file knows no such thing today"
        instead = (
            f"the old name in the file again, or undo this entry: halfsplit undo FILE {entry.seq}"
        )
        raise _refusal(str(assembly.file), entry, wrong, instead)


def _refusal(file: str, entry: Entry, wrong: str, instead: str) -> ProblemsError:
    return ProblemsError([Problem(file, 0, 0, f"journal entry {entry.seq}", wrong, instead)])
