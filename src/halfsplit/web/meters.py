"""The meter a machine is read with by wire: one for all pages that show that machine."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any
from weakref import WeakKeyDictionary

from nicegui import Event

from halfsplit.instruments import Held, Live, Quantity, meter_at
from halfsplit.instruments.port import QUANTITIES, WORDS
from halfsplit.web.house import Place

DRIVERS = ("scpi", "plain")  # not replay, which reads files of this computer
PRETENDED = "simulated"
TELL_EACH = 0.15  # s between two looks of the pages at a number that runs
WAIT = 6.0  # s a meter gets to end its last reading
LIVES = {"live": "Live", "stopped": "Stopped", "connecting": "Reaching the meter …"}
LIVES |= {"no answer": "No answer", "unplugged": "Unplugged", "refused": "Set otherwise"}
LIVES |= {"garbled": "Not understood"}
Taken = tuple[str, dict[str, Any]]  # text as typed, and what the journal keeps of its source


class MeterDesk:
    """One machine's meter; nothing here stores anything.

    Attributes
    ----------
    live: the meter being read, or None. address: where it is, as somebody gave it.
    held: how many readings stood still so far, so that a page may beep at each.
    changed: something to show of it changed.
    """

    def __init__(self, place: Place) -> None:
        self.place = place
        self.live: Live | None = None
        self.address = ""
        self.held = 0
        self.changed: Event[[]] = Event()
        self._loop = asyncio.get_running_loop()
        self._due = False

    async def start(self, address: str, quantity: str) -> None:
        """Read the meter at an address. Raises ProblemsError or NotFoundError for no address."""
        allowed = (*DRIVERS, PRETENDED) if self.place.pretend else DRIVERS
        meter = await asyncio.to_thread(meter_at, address, allowed)
        await self.stop()
        self.address, self.held = address, 0
        self.live = Live(
            meter,
            self._may(quantity) or "volts",
            on_held=self._on_held,
            on_sample=lambda _: self._told(),
            on_state=lambda _, __: self._told(),
        )
        self.live.start()
        self.changed.emit()

    async def stop(self) -> None:
        """Let go of the meter; what it showed last stays on the page until another is read."""
        live, self.live = self.live, None
        if live is not None:
            await asyncio.to_thread(live.stop, WAIT)
            self.changed.emit()

    def want(self, quantity: str) -> str:
        """Have the meter read another quantity; why not, in words, or nothing."""
        if self.live is None:
            return ""
        wanted = self._may(quantity)
        if wanted is None:
            if quantity in QUANTITIES:
                return "The meter is put to that only once the condition says that all is off."
            return "A meter by wire does not read that: type it."
        if self.live.quantity != wanted:
            self.live.set_up(wanted)
        return ""

    def shown(self) -> dict[str, Any] | None:
        """What a page shows of it, as plain data; None when no meter is read."""
        live = self.live
        if live is None:
            return None
        latest, held = live.latest, live.held
        return {
            "state": live.state,
            "words": LIVES[live.state],
            "trouble": live.trouble,
            "fresh": live.fresh,
            "text": "" if latest is None else latest.text,
            "what": WORDS[live.quantity],
            "held": "" if held is None else held.sample.text,
            "still": held is not None and latest is not None and held.value == latest.value,
            "count": self.held,
            "identity": live.identity,
            "address": self.address,
        }

    def take(self, quantity: str) -> Taken | None:
        """The reading that stands still now, else what the meter shows now, with its source; None
        when nothing is read now, or not of that quantity."""
        live = self.live
        if live is None or live.quantity != quantity:
            return None
        found: Held | None = live.take()
        if found is None:
            return None
        over = found.sample.over
        kept = {
            "identity": live.identity,
            "place": self.address,
            "raw": found.sample.raw,
            "settled": found.settled,
            "low": None if over else found.low,
            "high": None if over else found.high,
        }
        return found.sample.text, kept

    def _may(self, quantity: str) -> Quantity | None:
        """The quantity, where it may be put to now: an ohmmeter on live nets harms both."""
        dead_only = quantity in ("ohms", "diode")
        if dead_only and self.place.desk.ledger.get("energised", True):
            return None
        return next((q for q in QUANTITIES if q == quantity), None)

    # -- from the reading thread -------------------------------------------------------------------

    def _on_held(self, _: Held) -> None:
        self.held += 1
        self._told()

    def _told(self) -> None:
        with contextlib.suppress(RuntimeError):  # the server has ended
            self._loop.call_soon_threadsafe(self._soon)

    def _soon(self) -> None:
        if not self._due:
            self._due = True
            self._loop.call_later(TELL_EACH, self._emit)

    def _emit(self) -> None:
        self._due = False
        self.changed.emit()


_DESKS: WeakKeyDictionary[Place, MeterDesk] = WeakKeyDictionary()


def meter_desk(place: Place) -> MeterDesk:
    """The meter of a machine."""
    if place not in _DESKS:
        _DESKS[place] = MeterDesk(place)
    return _DESKS[place]


def stop_meters() -> None:
    """Let go of every meter, when the server ends."""
    for desk in list(_DESKS.values()):
        live, desk.live = desk.live, None
        if live is not None:
            live.stop(WAIT)
