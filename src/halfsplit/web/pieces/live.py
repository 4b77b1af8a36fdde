"""A meter read by wire: what it shows, large; one key takes it, nothing is stored by itself."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import Any

from nicegui import ui

from halfsplit.instruments import Found, connected
from halfsplit.web.frame import ASSETS
from halfsplit.web.html import Choice, Tag, button, details, field
from halfsplit.web.meters import meter_desk
from halfsplit.web.pieces.reading import ReadingForm
from halfsplit.web.view import View

MODES = (("field", "Take puts it into the field"), ("store", "Take stores it at once"))
SIMULATED = "simulated:4.98V"


class LiveMeter:
    """The part of the bench page that reads a meter, beside the reading form it feeds."""

    def __init__(self, view: View, form: ReadingForm) -> None:
        self.view, self.form = view, form
        self.desk = meter_desk(view.place)
        self.mode = view.draft("meter-take") or "field"
        self.address = view.draft("meter-at")
        self._shown: dict[str, Any] | None = None
        ui.add_head_html(f'<script src="{ASSETS}/live.js"></script>')
        with details(
            "Read a meter by wire", key="by-wire", open_=self.desk.live is not None
        ) as box:
            box.classes("box by-wire")
            self._draw()
        self.desk.changed.subscribe(self._told)
        view.place.changed.subscribe(self._follow)
        ui.context.client.on_delete(self._gone)

    # -- drawing -----------------------------------------------------------------------------------

    def _draw(self) -> None:
        with Tag("div", "", "live-meter") as self.panel:
            with Tag("div", "", "line"):
                self.state = Tag("strong", "", role="status")
                self.what = Tag("span", "", "quiet-words")
            self.value = Tag("p", "", "shows")
            self.held = Tag("p", "", "held", id="held", data_held="0")
            self.trouble = Tag("p", "", "trouble", role="alert")
            with Tag("div", "", "form"):
                button(
                    "Take it (space)",
                    self.take,
                    "act",
                    id="take",
                    data_key="take",
                    data_shortcut="m",
                    data_says="take what the meter shows; space or Enter do too",
                ).mark("take")
                button("Stop reading it", self.stop, data_key="stop-meter").mark("stop-meter")
                Tag("button", "Beep: off", id="beep", type="button", aria_pressed="false")
            self.modes = Choice(MODES, self.mode, self._mode, label="What Take does", key="take")
        with Tag("div", "", "choose-meter") as self.chooser:
            with Tag("div", "", "form"):
                self.at = field(
                    "Where the meter is", self.address, self._typed, data_key="meter-at"
                )
                self.at.mark("meter-at")
                self.at.on("keydown.enter", self.start, args=[])
                button("Read it", self.start, "act", data_key="read-meter", data_live="").mark(
                    "read-meter"
                )
                button("What is plugged in?", self.find, data_key="find-meters")
            self.found = Tag("div", "", "form")
            Tag(
                "p",
                "A serial meter: /dev/ttyUSB0@2400-7N1. On the network: "
                "TCPIP::10.0.0.7::5025::SOCKET. On USB: as listed.",
                "quiet-words",
            )
            if self.view.place.pretend:
                button("A simulated meter", partial(self._use, SIMULATED), data_key="simulated")
        self._told()

    def _told(self) -> None:
        """The meter moved: change only what differs, many times a second."""
        if self.panel.is_deleted:
            self.desk.changed.unsubscribe(self._told)
            return
        now = self.desk.shown()
        if now == self._shown and self._shown is not None:
            return
        was, self._shown = self._shown, now
        if (was is None) != (now is None) or was is None:
            for box, there in ((self.panel, now is not None), (self.chooser, now is None)):
                if there:
                    box.props.pop("hidden", None)
                else:
                    box.props["hidden"] = True
                box.update()
        if now is None:
            return
        self.state.text = now["words"]
        named = now["identity"] or now["address"]
        self.what.text = f"{now['what']}, {named}"
        self.value.text = now["text"] or "no reading yet"
        look = "" if now["fresh"] else " gone"
        self.value.classes(replace="shows" + (" still" if now["still"] and now["fresh"] else look))
        self.held.text = f"Stood still: {now['held']}" if now["held"] else ""
        if self.held.props["data-held"] != now["count"]:
            self.held.props["data-held"] = now["count"]
            self.held.update()
        lost = " What is typed and stored is kept; it goes on once the meter is back."
        last = f" Last shown: {now['text']}." if now["text"] and not now["fresh"] else ""
        away = now["trouble"] and now["state"] != "live"
        self.trouble.text = now["trouble"] + (last + lost if away else "")

    # -- what the person does ----------------------------------------------------------------------

    def _typed(self, text: str) -> None:
        self.address = text.strip()
        self.view.keep_draft(**{"meter-at": self.address})

    def _mode(self, mode: str) -> None:
        self.mode = mode
        self.modes.show(mode)
        self.view.keep_draft(**{"meter-take": mode})

    async def start(self) -> None:
        """Begin reading the meter at the address typed."""
        if not self.address:
            self.view.alert(["Say first where the meter is, or ask what is plugged in."])
            return
        await self.view.trying(self.desk.start(self.address, self.form.target.quantity))

    async def _use(self, address: str) -> None:
        self.address = self.at.value = address
        await self.start()

    async def stop(self) -> None:
        """Let go of the meter."""
        await self.desk.stop()

    async def find(self) -> None:
        """List what is plugged in; takes seconds where a VISA library asks the network."""
        self.found.clear()
        with self.found:
            Tag("p", "Looking …", "quiet-words")
        listed: list[Found] = await asyncio.to_thread(connected)
        if self.found.is_deleted:
            return
        self.found.clear()
        with self.found:
            for item in listed:
                if item.place:
                    words = f"{item.place} ({item.what})"
                    button(words, partial(self._use, item.place), data_key=f"at-{item.place}")
                else:
                    Tag("p", item.what, "quiet-words")
            if not any(item.place for item in listed):
                Tag("p", "The system lists nothing; a network meter's address is typed.")

    async def take(self) -> None:
        """Take what is read now: into the field, or stored at once, as was chosen."""
        quantity = self.form.target.quantity
        if (why := self.desk.want(quantity)) or self.desk.live is None:
            self.view.alert([why or "No meter is read."])
            return
        if self.form.typed_by_hand:
            self.view.alert(["A reading is half typed: store it or empty its field first."])
            return
        taken = self.desk.take(quantity)
        if taken is None:
            shown = self.desk.shown() or {}
            why = shown.get("trouble") or f"nothing of {shown.get('what', 'it')} was read yet"
            self.view.alert([f"Nothing was taken: {why}"])
            return
        self.view.alert([])
        await self.form.put_in(*taken)
        if self.mode == "store":
            await self.form.store()

    def _follow(self) -> None:
        """The next check may ask for another quantity."""
        if self.panel.is_deleted:
            self.view.place.changed.unsubscribe(self._follow)
        elif self.desk.live is not None:
            self.desk.want(self.form.target.quantity)

    async def _gone(self) -> None:
        self.desk.changed.unsubscribe(self._told)
        if self.view.place.pages <= 0:
            await self.desk.stop()
