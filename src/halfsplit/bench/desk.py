"""One machine open for several faces at once: who writes, and who thinks.

Two threads share a machine. The *clerk* holds the journal, its lock and its SQLite connection; all
it does is check what was typed and put it on disk, milliseconds each, in the order given. The
*thinker* owns a whole :class:`Session` and may take minutes over a fault dictionary; it sees the
journal through a :class:`Window`, so whatever a bench verb stores while it thinks is carried to the
clerk too, and there is one writer at any time. Therefore:

* a reading typed while the thinker works is on disk, and told as stored, at once;
* the clerk never waits for the thinker, so the two cannot lock each other;
* the thinker looks at the journal afresh at the start of each job, never in the middle of one;
* after every entry it works out the advice again; entries that come meanwhile are taken together;
* a job of whatever sort is stopped between two batches of rows it solves, as Ctrl-C does in the
  command line, and what a fault dictionary has solved by then is on disk and is not solved again;
* what was told last stays readable, with the number of the last entry it knew of.

Nothing here knows a page: `told` is called from either thread whenever something to show changed.
"""

from __future__ import annotations

import sys
import time
import traceback
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from halfsplit.bench.advising import advise
from halfsplit.bench.early import NEAR, meanwhile
from halfsplit.bench.lanes import Busy, StoppedError
from halfsplit.bench.ledger import facts_dict, ledger_dict
from halfsplit.bench.noting import Noter
from halfsplit.bench.open_file import OpenFile
from halfsplit.bench.session import Session
from halfsplit.bench.typed import Typed, heard, store
from halfsplit.circuit import compiled
from halfsplit.journal import Entry, Journal, Window, journal_path
from halfsplit.problems import HalfsplitError

T = TypeVar("T")
TELL_EACH = 0.2  # s between two words of progress
SAME = ("net", "against", "quantity", "text")  # of a reading sent again with its key
THINKING = "working out what the readings mean"
COMPILING = "preparing the solver, once on this computer, up to a minute"


class Desk(OpenFile):
    """A machine open at the desk; see :mod:`halfsplit.bench.ledger` for `facts` and `ledger`."""

    def __init__(self, file: Path, told: Callable[[], None] = lambda: None) -> None:
        self._due = False  # whether working out the advice is queued already
        self._advising = self._moved_on = False  # at it; and of a state that is no longer so
        self._noter: Noter | None = None
        self._session: Session | None = None
        super().__init__(file, told)

    # -- the clerk ---------------------------------------------------------------------------------

    def write(self, verb: Callable[[Noter], T]) -> Future[T]:
        """Have the clerk do something to the machine's journal; then everybody is told, and the
        advice is worked out again if an entry came."""

        def job() -> T:
            noter = self._current_noter()
            try:
                return verb(noter)
            finally:
                self._entered(noter)

        return self.clerk.do(job)

    def look(self, verb: Callable[[Noter], T]) -> Future[T]:
        """Have the clerk read something that needs no solving and stores nothing."""
        return self.clerk.do(lambda: verb(self._current_noter()))

    def hear(self, typed: Typed) -> Future[dict[str, Any]]:
        """What a reading as typed would store, without storing it."""
        return self.look(lambda noter: heard(noter, typed))

    def read(self, typed: Typed, key: str | None = None) -> Future[Entry]:
        """Store a reading as typed; sent again with the same `key`, it is not stored again."""

        def once(noter: Noter) -> Entry:
            before = noter.journal.named(key) if key else None
            if before is None:
                return store(noter, typed, key)
            body = heard(noter, typed)["body"]
            same = all(body[k] == before.body.get(k) for k in SAME)
            return before if same else store(noter, typed)  # changed since: a reading of its own

        return self.write(once)

    def _begin(self) -> None:
        self._entered(self._current_noter())

    def _current_noter(self) -> Noter:
        """The machine as its file says today. Raises ProblemsError while the file is broken."""
        journal = self._held()
        if self._noter is None or self._moved("clerk"):
            self._noter = Noter(self.file, journal=journal)
            self.facts = facts_dict(self._noter)
        return self._noter

    def _entered(self, noter: Noter) -> None:
        before = self.ledger
        self.ledger = now = ledger_dict(noter)
        if now["last"] != before.get("last"):
            moved = now["condition"] != before.get("condition")
            self._moved_on = self._advising and moved
            self._meanwhile(noter, moved)
        self.told()  # before the thinker competes for the processor
        if now["last"] != before.get("last"):
            self.think()

    def _meanwhile(self, noter: Noter, moved: bool) -> None:
        """While the best check is minutes away, the first one after this entry, of the clerk."""
        now = self.advice
        if now.early and now.early != NEAR:
            kept = None if moved else (now.early, now.next, now.checks)
            words, data, checks = meanwhile(noter, kept)
            last = self.ledger["last"]
            self.advice = replace(now, last=last, next=data, checks=checks, early=words)

    # -- the thinker -------------------------------------------------------------------------------

    def ask(self, verb: Callable[[Session], T], what: str = "") -> Future[T]:
        """Have the thinker work something out; `what` it is in words, for whoever waits.

        Raises StoppedError when somebody stopped it.
        """

        def job() -> T:
            with self._thinking(what or "working something out") as session:
                return verb(session)

        return self.thinker.do(job)

    def think(self) -> None:
        """Have the advice worked out again, unless that is queued already."""
        if not self._due and not self._closed:
            self._due = True
            self.thinker.do(self._advise)

    def _advise(self) -> None:
        self._due, self._advising, self._moved_on = False, True, False
        try:
            with self._thinking(THINKING) as session:
                for advice in advise(session):
                    before = self.advice
                    if advice.suspects_last is None:  # these follow; until then the earlier ones
                        advice = replace(
                            advice, suspects=before.suspects, suspects_last=before.suspects_last
                        )
                    self.advice = advice
                    self.told()
        except StoppedError:
            if not self._moved_on:  # else it is queued again, for how the machine stands now
                self.advice = replace(self.advice, trouble="", stopped=True)
        except HalfsplitError as error:
            self.advice = replace(self.advice, trouble=str(error), stopped=False)
        except Exception as error:  # one machine's trouble must not end the others' server
            traceback.print_exc(file=sys.stderr)
            words = f"this went wrong inside the program: {type(error).__name__}: {error}"
            self.advice = replace(self.advice, trouble=words, stopped=False)
        finally:
            self._advising = False
        self.told()

    def _go_on(self) -> None:
        super()._go_on()
        if self._moved_on and self._advising:
            raise StoppedError

    @contextmanager
    def _thinking(self, what: str) -> Iterator[Session]:
        with self._occupied(what if compiled() else COMPILING):
            yield self._current_session()

    def _current_session(self) -> Session:
        if self._session is None or self._moved("thinker"):
            window = Window(journal_path(self.file), self._carry)
            self._session = Session(self.file, self._progress, window)
        self._session.until = None  # forgets what it had read of the journal
        return self._session

    def _carry(self, verb: Callable[[Journal], T]) -> T:
        """Run something on the journal in the clerk's thread, for the thinker's window."""

        def job() -> T:
            assert self._journal is not None
            before = self._journal.last()
            found = verb(self._journal)
            if self._journal.last() != before and self._noter is not None:
                self._noter.until = None
                self._entered(self._noter)
            return found

        return self.clerk.do(job).result()

    def _progress(self, done: int, total: int) -> None:
        self._go_on()
        now = time.monotonic()
        busy = self.busy or Busy(THINKING)
        if done < busy.done or not busy.done:
            self._began = now if done < busy.done else self._began
        spent = now - self._began
        left = spent / done * (total - done) if done else None
        self.busy = Busy(busy.what, done, total, left)
        if now - self._told_at > TELL_EACH:
            self._told_at = now
            self.told()
