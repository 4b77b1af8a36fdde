"""What every file open at a desk has: a journal, a clerk who writes it, a thinker beside it."""

from __future__ import annotations

import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from halfsplit.assembly.pattern_find import beside
from halfsplit.bench.advising import Advice
from halfsplit.bench.lanes import Busy, Lane, StoppedError
from halfsplit.circuit.threads import asking
from halfsplit.journal import Journal, journal_path
from halfsplit.problems import HalfsplitError

T = TypeVar("T")


def _stamp(path: Path) -> tuple[int, int]:
    try:
        status = path.stat()
    except OSError:
        return 0, 0
    return status.st_mtime_ns, status.st_size


class OpenFile(ABC):
    """A file open at the desk. Call :meth:`close` when done; the journal is held until then.

    Attributes
    ----------
    facts, ledger: what the file and its journal say, as plain data; empty until `opened` is done.
    advice: what was worked out last. busy: what the thinker does now, or None.
    opened: done once the file is open; raises what opening it raised.
    """

    def __init__(self, file: Path, told: Callable[[], None] = lambda: None) -> None:
        self.file = file
        self.told = told
        self.facts: dict[str, Any] = {}
        self.ledger: dict[str, Any] = {}
        self.advice = Advice()
        self.busy: Busy | None = None
        self._stop = threading.Event()
        self._closed = False
        self._began = self._told_at = 0.0
        self._journal: Journal | None = None
        self._stamps: dict[str, tuple[tuple[int, int], ...]] = {}
        self.clerk, self.thinker = Lane("clerk"), Lane("thinker")
        self.opened: Future[None] = self.clerk.do(self._open)

    @abstractmethod
    def _begin(self) -> None:
        """Read the file and what its journal says, once that is open."""

    def _open(self) -> None:
        self._journal = Journal.open(journal_path(self.file), wait=0.5)
        try:
            self._begin()
        except BaseException:
            self._journal.close()
            raise

    def _held(self) -> Journal:
        """The journal, in the clerk's thread. Raises HalfsplitError once it was closed."""
        if self._closed or self._journal is None:
            raise HalfsplitError(f"{self.file.name} was closed; open it again")
        return self._journal

    def _moved(self, who: str) -> bool:
        """Whether the file, or a pattern beside it, changed since `who` asked last."""
        stamp = tuple(_stamp(path) for path in (self.file, *beside(self.file)))
        before = self._stamps.get(who)
        self._stamps[who] = stamp
        return before is not None and before != stamp

    @contextmanager
    def _occupied(self, what: str) -> Iterator[None]:
        """The thinker at `what`, in words, for whoever waits. Raises StoppedError once closed."""
        self._stop.clear()
        if self._closed:
            raise StoppedError
        self.busy, self._began, self._told_at = Busy(what), time.monotonic(), 0.0
        self.told()
        try:
            with asking(self._go_on):
                yield
        finally:
            self.busy = None
            self.told()

    def _go_on(self) -> None:
        """Raise StoppedError once somebody wants it stopped."""
        if self._stop.is_set() or self._closed:
            raise StoppedError

    def stop(self) -> None:
        """Stop what the thinker does now, before the next rows it would solve."""
        self._stop.set()

    def close(self, wait: float = 2.0) -> bool:
        """Stop thinking, free the journal; whether the thinker ended within `wait` seconds."""
        self._closed = True
        self._stop.set()
        self.thinker.end()
        self.clerk.do(self._shut)
        self.clerk.end()
        self.clerk.thread.join(wait)
        self.thinker.thread.join(wait)
        return not self.thinker.thread.is_alive()

    def _shut(self) -> None:
        if self._journal is not None:
            self._journal.close()
            self._journal = None
