"""A rack of boards, or a console, open for several faces at once: one journal, one writer.

As for an assembly (:mod:`halfsplit.bench.desk`) the clerk alone holds the journal and does what
takes milliseconds; the thinker works out what takes longer and holds nothing. A console's port is
read by a thread of its own, which hands the clerk what came.
"""

from __future__ import annotations

import queue
import threading
import time
from abc import abstractmethod
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Literal, TypeVar

from halfsplit.bench import console as consoles
from halfsplit.bench.desk import TELL_EACH, Desk
from halfsplit.bench.lines import format_of
from halfsplit.bench.open_file import OpenFile
from halfsplit.bench.rack_sheets import order_sheet
from halfsplit.bench.racks import RackBench
from halfsplit.bench.words import plain_words
from halfsplit.boards.console import Said
from halfsplit.boards.consoles import ConsoleFile, open_console
from halfsplit.boards.garbage import printable
from halfsplit.boards.port import Flow, Port
from halfsplit.boards.which import Sort
from halfsplit.journal import Entry, Journal
from halfsplit.problems import HalfsplitError, Problem, ProblemsError

T = TypeVar("T")
EOLS = {"cr": b"\r", "lf": b"\n", "crlf": b"\r\n", "none": b""}
SHOWN = 200  # lines of a session under way that are told; the log has them all


class SideDesk(OpenFile):
    """What a rack's and a console's desk have in common; `ledger` has at least ``last``."""

    def work(self, verb: Callable[[], T], what: str) -> Future[T]:
        """Have the thinker work something out that needs no journal; `what` it is, in words."""

        def job() -> T:
            with self._occupied(what):
                return verb()

        return self.thinker.do(job)

    def undo(self) -> Future[Entry]:
        """Undo the last entry."""

        def job() -> Entry:
            journal = self._held()
            try:
                return journal.undo()
            finally:
                self._refresh()

        return self.clerk.do(job)

    def _begin(self) -> None:
        self._moved("clerk")
        self._load()
        self._refresh()

    @abstractmethod
    def _load(self) -> None:
        """Read the file; sets :attr:`facts`."""

    @abstractmethod
    def _sheet(self) -> dict[str, Any]:
        """What is told of the journal."""

    def _refresh(self) -> None:
        assert self._journal is not None
        undone = self._journal.undoing()
        words = None if undone is None else {"seq": undone.seq, "words": plain_words(undone)}
        known = {"undone": words, "last": self._journal.last()}
        self.ledger = {"hazards": [], **self._sheet(), **known}
        self.told()

    def _again(self) -> Journal:
        journal = self._held()
        if self._moved("clerk"):
            self._load()
        return journal

    def _facts(self, name: str, machine: str) -> dict[str, Any]:
        return {"name": name, "machine": machine, "file": str(self.file), "slow": False}


class RackDesk(SideDesk):
    """A rack of boards; `ledger` is its order sheet."""

    def rack(self, verb: Callable[[RackBench], T]) -> Future[T]:
        """Have the clerk do a verb of the rack; then everybody is told."""

        def job() -> T:
            self._again()
            try:
                return verb(self._bench)
            finally:
                self._refresh()

        return self.clerk.do(job)

    def _load(self) -> None:
        assert self._journal is not None
        self._bench = RackBench(self.file, self._journal)
        rack = self._bench.rack
        self.facts = self._facts(f"{rack.name}: boards", rack.name)
        self.facts["memories"] = [k for k, b in rack.boards.items() if b.memory is not None]

    def _sheet(self) -> dict[str, Any]:
        return order_sheet(self._bench)


class ConsoleDesk(SideDesk):
    """A console; `ledger` has the port in use, if any, and the last lines of that session."""

    def __init__(self, file: Path, told: Callable[[], None] = lambda: None) -> None:
        self._typed: queue.SimpleQueue[bytes | Literal["break"]] = queue.SimpleQueue()
        self._hung_up = threading.Event()
        self._listener: threading.Thread | None = None
        self._live: tuple[dict[str, Any], ...] = ()
        self._port, self._trouble, self._bytes = "", "", 0
        self._untold = False
        super().__init__(file, told)

    def console(self, verb: Callable[[ConsoleFile, Journal], T]) -> Future[T]:
        """Have the clerk do something with the file and its journal; then everybody is told."""

        def job() -> T:
            journal = self._again()
            try:
                return verb(self._file, journal)
            finally:
                self._refresh()

        return self.clerk.do(job)

    def connect(
        self, port: str, line: str, *, ready: bool = True, flow: Flow = "none"
    ) -> Future[None]:
        """Open a serial port and keep what comes. Nothing is sent."""

        def job() -> None:
            self._again()
            if self._listener is not None and self._listener.is_alive():
                wrong = f"already connected to {self._port}"
                raise ProblemsError([Problem("", 0, 0, port, wrong, "disconnect it first")])
            wire = Port(port, format_of(line), ready=ready, flow=flow)
            self._hung_up.clear()
            self._live = ()
            self._typed = queue.SimpleQueue()
            self._port, self._trouble, self._bytes = port, "", 0
            self._listener = threading.Thread(target=self._listen, args=(wire,), daemon=True)
            self._listener.start()
            self._refresh()

        return self.clerk.do(job)

    def send(self, text: str, eol: str) -> Future[None]:
        """Send a line somebody typed, with its line end: cr, lf, crlf or none."""

        def job() -> None:
            if self._listener is None or not self._listener.is_alive():
                raise ProblemsError([Problem("", 0, 0, "send", "no port is connected", "connect")])
            if eol not in EOLS:
                wrong = f"{eol} is no line end"
                raise ProblemsError([Problem("", 0, 0, "eol", wrong, "cr, lf, crlf or none")])
            try:
                sent = text.encode("latin-1")
            except UnicodeEncodeError:
                wrong = "it has characters a serial line does not carry"
                raise ProblemsError([Problem("", 0, 0, text, wrong, "plain letters")]) from None
            self._typed.put(sent + EOLS[eol])

        return self.clerk.do(job)

    def send_break(self) -> Future[None]:
        """Hold the line at space for a moment, because somebody asked for it."""

        def job() -> None:
            if self._listener is None or not self._listener.is_alive():
                raise ProblemsError([Problem("", 0, 0, "break", "no port is connected", "connect")])
            self._typed.put("break")

        return self.clerk.do(job)

    def hang_up(self) -> Future[None]:
        """Let go of the port."""
        return self.clerk.do(self._hung_up.set)

    def close(self, wait: float = 2.0) -> bool:
        """As for any desk, the port let go of first."""
        self._hung_up.set()
        if self._listener is not None:
            self._listener.join(wait)
        return super().close(wait)

    def _listen(self, wire: Port) -> None:
        def typed() -> bytes | Literal["break"] | None:
            self._tell()
            return self._typed.get_nowait() if not self._typed.empty() else None

        try:
            with wire:
                obeys = wire.flow == "xon"
                session = consoles.kept_talk(self._file, self._keep_entry, wire, obeys=obeys)
                stop = self._hung_up.is_set
                consoles.run(session, stop, typed, self._heard, trouble=self._troubled)
        except HalfsplitError as error:
            self._trouble = str(error)
        except Exception as error:  # told on the page; the log is on disk
            self._trouble = f"{type(error).__name__}: {error}"
        finally:
            self._port = ""
            self.clerk.do(self._refresh)

    def _troubled(self, words: str) -> None:
        self._trouble = words
        self.clerk.do(self._refresh)

    def _keep_entry(self, body: dict[str, Any]) -> None:
        def job() -> None:
            assert self._journal is not None
            self._journal.append(consoles.KIND, body)
            if body["way"] != "in":
                text = "".join(str(p[1]) for p in body["pieces"]).encode("latin-1")
                said = "(break)" if body["way"] == "break" else printable(text)
                sent = {"text": said, "means": [], "way": body["way"]}
                self._live = (*self._live, sent)[-SHOWN:]
            self._refresh()

        self.clerk.do(job).result()

    def _heard(self, came: bytes, said: list[Said]) -> None:
        self._bytes += len(came)
        lines = [consoles.shown(line.as_dict()) | {"way": "in"} for line in said[-SHOWN:]]
        self._live = (*self._live, *lines)[-SHOWN:]
        self._untold = True
        self._tell()

    def _tell(self) -> None:
        """Tell the faces of what came, a few times a second however fast it comes."""
        now = time.monotonic()
        if self._untold and now - self._told_at > TELL_EACH:
            self._untold, self._told_at = False, now
            self.told()

    def _load(self) -> None:
        self._file = open_console(self.file)
        self.facts = self._facts(self._file.name, self._file.machine)
        self.facts |= {
            "connectors": {k: c.at or "" for k, c in self._file.connectors.items()},
            "cables": list(self._file.cables),
            "lines": list(self._file.lines),
            "lamps": [c for v in self._file.lamps.values() for c in v.codes],
        }

    def _sheet(self) -> dict[str, Any]:
        return {}

    def session(self) -> dict[str, Any]:
        """The session under way: port, bytes, its last lines, what went wrong."""
        return {
            "port": self._port,
            "bytes": self._bytes,
            "lines": list(self._live),
            "trouble": self._trouble,
        }


def desk_for(file: Path, sort: Sort, told: Callable[[], None]) -> OpenFile:
    """The desk of a file of a sort."""
    kinds: dict[Sort, type[OpenFile]] = {"boards": RackDesk, "console": ConsoleDesk}
    return kinds.get(sort, Desk)(file, told)
