"""Every machine open in this server, shared by all pages that show it.

A page never touches a session. It takes the :class:`Place` of its machine, reads what was told last
(`place.desk.ledger`, `.advice`, `.busy`), subscribes to `place.changed`, and awaits verbs:
`place.write(verb)` for what is entered, `place.ask(verb)` for what must be worked out. Both run off
the server's loop, so no page ever waits for another.
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib
from collections.abc import AsyncGenerator, Callable
from concurrent.futures import Future
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from nicegui import Event

from halfsplit.bench import shelf as shelves
from halfsplit.bench.ahead import Reader
from halfsplit.bench.lanes import StoppedError
from halfsplit.boards.which import Sort
from halfsplit.problems import HalfsplitError
from halfsplit.web.drafts import Drafts
from halfsplit.web.prints import Prints

if TYPE_CHECKING:
    from halfsplit.bench.desk import Desk
    from halfsplit.bench.noting import Noter
    from halfsplit.bench.open_file import OpenFile
    from halfsplit.bench.racks import RackBench
    from halfsplit.bench.session import Session
    from halfsplit.bench.side_desk import ConsoleDesk, RackDesk
    from halfsplit.bench.typed import Typed
    from halfsplit.boards.consoles import ConsoleFile
    from halfsplit.boards.port import Flow
    from halfsplit.journal import Entry, Journal

T = TypeVar("T")
D = TypeVar("D")


STOPPED = "Stopped. What was entered is kept, and what was worked out so far too."


class StoppedHereError(HalfsplitError):
    """Somebody stopped what was being worked out."""


class Place:
    """One open machine: its desk, and the event that something to show of it changed."""

    def __init__(
        self,
        key: str,
        file: Path,
        loop: asyncio.AbstractEventLoop,
        sort: Sort = "assembly",
    ) -> None:
        self.key = key
        self.file = file
        self.machine = shelves.digest(file)  # names its drafts
        self.changed: Event[[]] = Event()
        self.pages = 0
        self.pretend = False
        self._loop = loop
        self._due = False
        self._kept: tuple[int | None, int] | None = None
        from halfsplit.bench.side_desk import desk_for  # loaded by now: see House.enter

        self.sort: Sort = sort
        self.desk: OpenFile = desk_for(file, sort, self._told)

    @property
    def is_open(self) -> bool:
        """Whether the machine is open already."""
        return self.desk.opened.done() and self.desk.opened.exception() is None

    async def opened(self) -> None:
        """Wait until the machine is open. Raises what opening it raised."""
        await asyncio.wrap_future(self.desk.opened)

    @property
    def bench(self) -> Desk:
        """The desk of an assembly. Raises HalfsplitError for a rack or a console."""
        from halfsplit.bench.desk import Desk

        return self._as(Desk)

    def _as(self, kind: type[D]) -> D:
        if not isinstance(self.desk, kind):
            raise HalfsplitError(
                f"{self.file.name} is no file for that: it is of the sort {self.sort}"
            )
        return self.desk

    async def write(self, verb: Callable[[Noter], T]) -> T:
        """Enter something; on disk when this returns."""
        return await self._wait(self.bench.write(verb))

    async def read(self, typed: Typed, key: str) -> Entry:
        """Store a reading as typed; once for each key."""
        return await self._wait(self.bench.read(typed, key))

    async def hear(self, typed: Typed) -> dict[str, Any]:
        """What a reading as typed would store."""
        return await self._wait(self.bench.hear(typed))

    async def change(self, text: str, anyway: str | None = None) -> list[str]:
        """Enter something done to a part; returns what to mind at it.

        A trimmer is refused until the references are proved, as on the command line; `anyway`, a
        reason, passes that gate and is stored.
        """
        from halfsplit.bench import gating

        turned = await self.look(lambda noter: gating.moved(noter, text))
        if turned:
            what = "whether the references are proved"
            await self.ask(lambda session: gating.trimmer(session, turned, anyway), what)
        await self.write(lambda noter: noter.change(text))
        mind = list(self.desk.ledger["before_touching"])
        if turned:
            mind.append(f"{turned}: mark where it stood before; an insulated trimming tool")
        return mind

    async def look(self, verb: Callable[[Noter], T]) -> T:
        """Something of the journal that needs no solving."""
        return await self._wait(self.bench.look(verb))

    async def ask(self, verb: Callable[[Session], T], what: str) -> T:
        """Something that must be worked out. Raises StoppedHereError when it was stopped."""
        return await self._wait(self.bench.ask(verb, what))

    async def rack(self, verb: Callable[[RackBench], T]) -> T:
        """A verb of a rack of boards."""
        from halfsplit.bench.side_desk import RackDesk

        return await self._wait(self._as(RackDesk).rack(verb))

    async def console(self, verb: Callable[[ConsoleFile, Journal], T]) -> T:
        """Something of a console file and its journal."""
        return await self._wait(self.line.console(verb))

    @property
    def line(self) -> ConsoleDesk:
        """The desk of a console. Raises HalfsplitError for anything else."""
        from halfsplit.bench.side_desk import ConsoleDesk

        return self._as(ConsoleDesk)

    async def connect(self, port: str, line: str, *, ready: bool, flow: Flow) -> None:
        """Open a console's port; nothing is sent."""
        await self._wait(self.line.connect(port, line, ready=ready, flow=flow))

    async def send(self, text: str, eol: str) -> None:
        """Send a line somebody typed."""
        await self._wait(self.line.send(text, eol))

    async def send_break(self) -> None:
        """Hold a console's line at space for a moment, because somebody asked for it."""
        await self._wait(self.line.send_break())

    async def hang_up(self) -> None:
        """Let go of a console's port."""
        await self._wait(self.line.hang_up())

    async def work(self, verb: Callable[[], T], what: str) -> T:
        """Something about boards or a console that takes longer and needs no journal."""
        return await self._wait(self._beside().work(verb, what))

    async def undo(self) -> Entry:
        """Undo the last entry of a rack or a console."""
        return await self._wait(self._beside().undo())

    def _beside(self) -> RackDesk | ConsoleDesk:
        from halfsplit.bench.side_desk import RackDesk

        return self._as(RackDesk) if self.sort == "boards" else self.line

    async def _wait(self, done: Future[T]) -> T:
        # Shielded: a page that goes away must not withdraw a reading that waits to be stored.
        try:
            return await asyncio.shield(asyncio.wrap_future(done))
        except StoppedError:  # made for threads: let out of a task it would end the server
            raise StoppedHereError(STOPPED) from None

    def _told(self) -> None:
        """From either thread of the desk."""
        self._keep()
        with contextlib.suppress(RuntimeError):  # the server has ended
            self._loop.call_soon_threadsafe(self._soon)

    def _soon(self) -> None:
        """Tell the pages once for whatever came since they were last told."""
        if not self._due:
            self._due = True
            self._loop.call_later(0.01, self._emit)

    def _emit(self) -> None:
        self._due = False
        self.changed.emit()

    def _keep(self) -> None:
        """Keep for the shelf what was worked out and what is known by the journal."""
        desk, last = self.desk, self.desk.ledger.get("last")
        known_to = None if desk.advice.early else desk.advice.last
        mark = (known_to, last or 0)
        if last is None or mark == self._kept:
            return
        self._kept = mark
        known = {"last": last, "hazards": desk.ledger["hazards"]}
        if known_to is not None:
            known |= {
                "next": desk.advice.headline(),
                "next_at": known_to,
                "state": desk.advice.state(),
            }
        shelves.keep(self.file, known)


class _NoDesk:
    """What pages of a file that is not opened see of a desk: nothing known, nothing going on."""

    def __init__(self) -> None:
        self.facts: dict[str, Any] = {}
        self.ledger: dict[str, Any] = {}
        self.busy = None

    def close(self) -> bool:
        """Nothing to close."""
        return True


class LoosePlace(Place):
    """A machine of which only the file is looked at: no journal held, nothing worked out."""

    def __init__(self, key: str, file: Path, sort: Sort) -> None:
        self.key, self.file, self.sort = key, file, sort
        self.machine = shelves.digest(file)
        self.changed = Event()
        self.pages = 0
        self.pretend = False
        self.desk = _NoDesk()  # type: ignore[assignment]

    @property
    def is_open(self) -> bool:
        """There is nothing to open."""
        return True

    async def opened(self) -> None:
        """There is nothing to wait for."""

    async def _wait(self, done: Future[T]) -> T:
        del done
        raise HalfsplitError("this page works on the file alone")

    @property
    def bench(self) -> Desk:
        """No desk: raises HalfsplitError."""
        raise HalfsplitError("this page works on the file alone")


class House:
    """The shelf, the drafts, and every place in use."""

    def __init__(self, shelf: shelves.Shelf, drafts: Drafts, *, pretend: bool = False) -> None:
        self.shelf = shelf
        self.pretend = pretend  # whether a simulated meter is offered
        self.drafts = drafts
        self.prints = Prints()
        self._places: dict[str, Place] = {}
        self._loose: dict[str, Place] = {}
        self._reading = asyncio.Lock()  # one reader of files at a time
        self._reader: Reader | None = None
        self._closed = False

    async def enter(self, key: str, *, loose: bool = False) -> Place | None:
        """The place of a machine for one more page; None when the shelf has no such machine.

        For a `loose` page it is not opened, unless another page has it open anyway.
        """
        if not loose:
            await asyncio.to_thread(load_solver)
        found = await asyncio.to_thread(self.shelf.find, key)
        if found is None:
            return None
        file, sort = found
        if loose:
            open_now = self._places.get(key)
            if open_now is None or _failed(open_now.desk.opened):
                open_now = self._loose.get(key) or LoosePlace(key, file, sort)
                self._loose[key] = open_now
            open_now.pages += 1
            return open_now
        place = self._places.get(key)  # nothing is awaited from here on: one place a machine
        if place is None or _failed(place.desk.opened):
            place = self._places[key] = Place(key, file, asyncio.get_running_loop(), sort)
            place.pretend = self.pretend
        place.pages += 1
        return place

    async def ahead(self, asked: list[shelves.Found]) -> AsyncGenerator[dict[str, Any]]:
        """Rows of the shelf with hazards of machines nobody has open, as they are read."""
        async with self._reading:
            unread = []
            for found in asked:  # another page of the shelf may have had them read meanwhile
                row = await asyncio.to_thread(shelves.glimpse, found)
                if row["hazards"] is None:
                    unread.append(found)
                else:
                    yield row
            if not unread or self._closed:
                return
            # Not in a thread: whoever ends this meanwhile must find it, and it takes milliseconds.
            self._reader = reader = Reader(unread)
            try:
                while (read := await asyncio.to_thread(reader.row)) is not None:
                    yield read
            finally:
                self._reader = None
                reader.close()

    def open_place(self, key: str) -> Place | None:
        """A machine that some page shows now."""
        return self._places.get(key) or self._loose.get(key)

    def leave(self, place: Place) -> None:
        """One page less; a machine nobody looks at is closed, and its journal free for others."""
        place.pages -= 1
        if place.pages > 0:
            return
        for held in (self._places, self._loose):
            if held.get(place.key) is place:
                del held[place.key]
        self.drafts.flush(place.machine)
        with contextlib.suppress(RuntimeError):
            asyncio.get_running_loop().run_in_executor(None, place.desk.close)

    def close(self) -> bool:
        """Close every machine; whether all threads ended."""
        self._closed, reader = True, self._reader
        if reader is not None:
            reader.close()
        self.drafts.flush_all()
        ended = [place.desk.close() for place in self._places.values()]
        self._places.clear()
        return all(ended)


def load_solver() -> None:
    """Import what solves; a list of machines is shown before that is loaded."""
    importlib.import_module("halfsplit.bench.side_desk")


def _failed(done: Future[None]) -> bool:
    return done.done() and done.exception() is not None
