"""The bench journal: an append-only log on disk. It stores entries and never interprets them."""

from halfsplit.journal.journal import (
    Entry,
    Journal,
    JournalBusyError,
    JournalDamagedError,
    JournalWriteError,
    journal_path,
)

__all__ = [
    "Entry",
    "Journal",
    "JournalBusyError",
    "JournalDamagedError",
    "JournalWriteError",
    "journal_path",
]
