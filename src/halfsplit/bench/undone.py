"""What an undo leaves behind."""

from __future__ import annotations

from typing import TYPE_CHECKING

from halfsplit.journal import Entry

if TYPE_CHECKING:
    from halfsplit.bench.session import Session


def still_with_it(bench: Session, undone: Entry | None) -> list[int]:
    """Numbers of the readings in force taken after a change that is undone now, up to the next
    change, in a circuit other than the present one: they keep the condition they were taken in."""
    if undone is None or undone.kind != "condition":
        return []
    later = [e for e in bench.entries if e.seq > undone.seq]
    end = next((e.seq for e in later if e.kind == "condition"), None)
    before = [e for e in later if e.kind == "read" and (end is None or e.seq < end)]
    here = {e.number for e in bench.evidence() if e.condition == bench.condition}
    return [e.seq for e in before if e.seq not in here]
