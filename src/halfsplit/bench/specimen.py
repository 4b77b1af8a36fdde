"""Which specimen of a part an entry is of: the one the machine came with, or one fitted here."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from halfsplit.assembly.condition import Change
from halfsplit.assembly.model import Assembly
from halfsplit.bench.recall import condition_of
from halfsplit.journal import Entry


def specimens(
    assembly: Assembly, entries: Sequence[Entry]
) -> Iterator[tuple[Entry, Mapping[str, int]]]:
    """Every entry with, of each part fitted here, the number of the entry that fitted it.

    One taken out again to be tested is still that one; put back says the machine's own is in.
    """
    fitted: dict[str, int] = {}
    before: dict[str, Change] = {}
    for entry in entries:
        if entry.kind == "condition":
            changes = condition_of(assembly, entry).changes
            now = {c.part: c for c in changes if c.what == "fitted"}
            fitted = {ref: n for ref, n in fitted.items() if any(c.part == ref for c in changes)}
            new = {r: entry.seq for r, c in now.items() if _is_new(entry, r, before.get(r), c)}
            fitted, before = fitted | new, now
        yield entry, fitted


def _is_new(entry: Entry, ref: str, before: Change | None, now: Change) -> bool:
    """Whether this entry put another specimen in, not only carried or turned the one there."""
    did = str(entry.body.get("did", "")).split()
    if len(did) > 1 and did[0].lower() == ref.lower():
        return re.fullmatch(r"fit(ted)?|replaced?", did[1].lower()) is not None
    return before is None or (before != now and not did)
