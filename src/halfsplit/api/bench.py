"""A machine on the bench as a program has it."""

from __future__ import annotations

from pathlib import Path

from halfsplit.api.asking import Asking
from halfsplit.api.entering import Entering


class Bench(Entering, Asking):
    """A machine with its journal open. Use as a context manager, or :meth:`close` it.

    One program at a time holds a machine's journal.
    """


def open_bench(file: Path | str) -> Bench:
    """Open a machine by its assembly file. Raises ProblemsError listing everything wrong with it,
    NotFoundError for a missing file, and a HalfsplitError when its journal is in use."""
    return Bench(file)
