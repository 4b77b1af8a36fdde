"""What of a journal that came with the machine still counts on this bench.

A machine that travelled, or another of its kind, is not as the last owner left it: readings and
changes stay as what is known of its faults, but no proof, no discharge, no override and no plan of
another bench opens anything on this one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from halfsplit.journal import Entry

HANDED = "unpacked"  # kind of the entry that says what came before it was not done here


def since_handed(entries: Sequence[Entry]) -> int:
    """Number of the last entry that came from another bench, 0 when all were made here."""
    return max((e.seq for e in entries if e.kind == HANDED), default=0)


def own(entries: Sequence[Entry]) -> list[Entry]:
    """Entries made on this bench."""
    since = since_handed(entries)
    return [e for e in entries if e.seq > since]
