"""The bench journal: an append-only log on disk. It stores entries and never interprets them."""

from halfsplit.journal.journal import (
    Entry,
    Journal,
    JournalBusyError,
    JournalDamagedError,
    JournalWriteError,
    journal_path,
)
from halfsplit.journal.lock import acquire
from halfsplit.journal.peek import Peek, glance, last_entry, peek
from halfsplit.journal.window import Window

__all__ = [
    "Entry",
    "Journal",
    "JournalBusyError",
    "JournalDamagedError",
    "JournalWriteError",
    "Peek",
    "Window",
    "acquire",
    "glance",
    "journal_path",
    "last_entry",
    "peek",
]
