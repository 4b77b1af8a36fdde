"""One field for the reading: what it would store is told while typing, Enter stores it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import partial
from typing import Any

from halfsplit.bench.typed import QUANTITIES, Typed
from halfsplit.problems import HalfsplitError, ProblemsError
from halfsplit.web.drafts import ticket
from halfsplit.web.html import Choice, Tag, button, details, field
from halfsplit.web.view import View, words_of

SAYS = {
    "volts": "Volts",
    "ac": "AC range",
    "ripple": "Ripple",
    "frequency": "Frequency",
    "amps": "Amps",
    "ohms": "Ohms",
    "diode": "Diode",
}


@dataclass(frozen=True)
class Target:
    """Where and what is read: nets as typed, quantity, ohmmeter."""

    at: str = ""
    other: str = ""
    quantity: str = "volts"
    meter: str = ""


class ReadingForm:
    """The field, where it is read, and what is said back.

    The target follows the proposed check while nothing is typed and nobody chose another; it never
    changes under a reading that is half typed.
    """

    def __init__(self, view: View) -> None:
        self.view = view
        drafts = view.drafts.fields(view.place.machine)
        self.text = drafts.get("reading", "")
        self.ticket = drafts.get("ticket") or ticket()
        if self.ticket in view.ledger["keys"]:  # stored just before the connection went
            self.text, self.ticket, drafts = "", ticket(), {}
        self.chosen = bool(drafts.get("at"))
        self.target = (
            Target(drafts["at"], drafts.get("other", ""), drafts.get("quantity", "volts"))
            if self.chosen
            else self.proposed()
        )
        self._asked, self._storing, self._came_with = 0, False, self.text
        self._sent: tuple[str, dict[str, Any]] | None = None  # what a meter sent, and its source
        self._draw()
        view.place.changed.subscribe(self._told)

    def proposed(self) -> Target:
        """Where the next check reads."""
        checks = [c for c in self.view.place.desk.advice.checks if c["quantity"] != "look"]
        common = self.view.facts["common"]
        if not checks:
            return Target("", common)
        first = checks[0]
        return Target(first["net"], first["black"] or common, first["quantity"], first["meter"])

    # -- drawing -----------------------------------------------------------------------------------

    def _draw(self) -> None:
        view = self.view
        with Tag("section", "", "reading", aria_label="What the meter shows"):
            with Tag("div", "", "line"):
                self.field = field(
                    "Reading",
                    self.text,
                    self._typed,
                    classes="large",
                    data_shortcut="r",
                    data_says="the reading field",
                    data_key="reading",
                    inputmode="text",
                    enterkeyhint="done",
                )
                self.field.mark("reading")
                self.field.on("keydown.enter", self.store, args=[])
                button("Store", self.store, "act store", data_key="store").mark("store")
            self.heard = Tag("p", "", "heard", aria_live="polite", id="heard")
            self.heard.mark("heard")
            self.where = Tag("div")
            with details("Read somewhere else, or something else", key="elsewhere") as box:
                box.props["data-shortcut"] = "w"
                box.props["data-says"] = "read somewhere else, or something else"
                self._draw_elsewhere()
            self._draw_target()
            view.live(self._last, self._draw_last, classes="said")
        with Tag("datalist", id="places"):
            for place in view.facts["places"]:
                Tag("option", place["where"], value=place["name"])

    def _draw_target(self) -> None:
        self.where.clear()
        target = self.target
        black = f", black on {target.other}" if target.other else ""
        words = f"Goes to {SAYS[target.quantity].lower()} at {target.at}{black}"
        if not target.at:
            words = "No check is proposed yet: type the place with the reading, as n12 -1.71"
        with self.where:
            Tag("p", words, "goes-to")
            if self.chosen and target != self.proposed() and self.proposed().at:
                proposed = self.proposed()
                button(
                    f"Back to the next check, {proposed.at}",
                    self._follow,
                    "quiet",
                    data_key="follow",
                )

    def _draw_elsewhere(self) -> None:
        """Drawn once; :meth:`_show_target` keeps it at the target."""
        names = [(q, SAYS[q]) for q in QUANTITIES]
        self.kinds = Choice(
            names, self.target.quantity, self._quantity, label="What is read", key="quantity"
        )
        with Tag("div", "", "form"):
            self.at = field("Red lead on", self.target.at, partial(self._choose, "at"))
            self.other = field("Black lead on", self.target.other, partial(self._choose, "other"))
        for made, key in ((self.at, "at"), (self.other, "other")):
            made.mark(key)
            made.props["data-key"], made.props["data-list"] = key, "places"
        Tag(
            "p",
            "For amps, name the part the meter stands in for instead of the red lead. Or type "
            "the place with the reading: n12 -1.71, p1:p12 0.41, F3 0.83A",
            "quiet-words",
        )

    def _show_target(self) -> None:
        self._draw_target()
        self.kinds.show(self.target.quantity)
        for made, text in ((self.at, self.target.at), (self.other, self.target.other)):
            if made.value != text:
                made.value = text
        wanted = "parts" if self.target.quantity == "amps" else "places"
        if self.at.props["data-list"] != wanted:
            self.at.props["data-list"] = wanted
            self.at.update()

    def _last(self) -> tuple[dict[str, Any] | None, dict[str, Any] | None]:
        """The last entry in force, and what was undone if that was done since."""
        entries = self.view.ledger["entries"]
        return (entries[-1] if entries else None), self.view.ledger["undone"]

    def _draw_last(self, state: tuple[dict[str, Any] | None, dict[str, Any] | None]) -> None:
        entry, undone = state
        if undone is not None:
            Tag("span", f"Undone: entry {undone['seq']}", "name")
            words = f"Taken back: {undone['words']}"
            Tag("strong", words, "big", id="said", role="status").mark("said")
            if entry is not None:
                Tag("span", f"The last in force is entry {entry['seq']}: {entry['words']}")
        elif entry is not None:
            Tag("span", f"Stored as entry {entry['seq']}", "name")
            Tag("strong", entry["words"], "big", id="said", role="status").mark("said")

    # -- what is typed -----------------------------------------------------------------------------

    def typed(self, *, sure: bool = False) -> Typed:
        """The reading as the field and the target have it."""
        target = self.target
        other = "" if target.quantity == "amps" else target.other
        sent = self._sent[1] if self._sent is not None and self._sent[0] == self.text else None
        return Typed(self.text, target.at, other, target.quantity, target.meter, sure, sent)

    @property
    def typed_by_hand(self) -> bool:
        """Whether the field holds something no meter sent."""
        return bool(self.text.strip()) and (self._sent is None or self._sent[0] != self.text)

    async def put_in(self, text: str, source: dict[str, Any]) -> None:
        """Put in what a meter sent; typed over, it is a typed reading again."""
        self._sent = (text, source)
        self.field.value = self.text = text
        self._draft()
        await self.hear()

    async def _typed(self, text: str) -> None:
        self.text = text
        self._draft()
        await self.hear()

    async def hear(self) -> None:
        """Tell what the field would store now."""
        self._asked += 1
        mine = self._asked
        if not self.text.strip():
            self._say("", "")
            return
        try:
            heard = await self.view.place.hear(self.typed())
        except HalfsplitError as error:
            words, classes = " ".join(words_of(error)[:1]), "not-yet"
        else:
            words, classes = f"{heard['words']}, {heard['condition']}", "good"
        if mine == self._asked and not self.heard.is_deleted:
            self._say(words, classes)

    def _say(self, words: str, classes: str) -> None:
        self.heard.text = words
        self.heard.classes(replace=f"heard {classes}")

    def _draft(self) -> None:
        here = self.target if self.chosen else Target("", "", "")
        self.view.keep_draft(
            reading=self.text,
            ticket=self.ticket if self.text else "",
            at=here.at,
            other=here.other,
            quantity=here.quantity,
        )

    # -- storing -----------------------------------------------------------------------------------

    async def store(self, *, sure: bool = False) -> None:
        """Store what is typed; the field is emptied only once it is on disk."""
        if not self.text.strip():
            self.view.alert(["Nothing is typed yet: type what the meter shows, then Enter."])
            return
        text, self._storing = self.text, True
        try:
            await self.view.place.read(self.typed(sure=sure), self.ticket)
        except ProblemsError as error:
            huge = any(p.past == "sure" for p in error.problems)
            self.view.alert(words_of(error), self._sure if huge else None)
            return
        except Exception as error:
            kept = "What you typed is still in the field."
            self.view.alert([*words_of(error), kept])
            return
        finally:
            self._storing = False
        self.view.alert([])
        self.ticket = ticket()
        if self.text == text:  # else somebody types the next one already
            self.text, self.chosen = "", False
            # By the browser, and only if it still shows what was stored: whoever types on while the
            # answer is on its way must not lose a key.
            self.field.client.run_javascript(f"halfsplit.stored({json.dumps(text)})")
            self.target = self.proposed()
            self._say("", "")
            self._show_target()
        self._draft()

    def _sure(self) -> None:
        button("It did show that: store it", partial(self.store, sure=True), "act", data_key="sure")

    # -- where it is read --------------------------------------------------------------------------

    def _told(self) -> None:
        """The advice or the journal changed: follow it, unless a reading is under way."""
        came = self.text and self.text == self._came_with and not self._storing
        if came and self.ticket in self.view.ledger["keys"]:
            self._stored_elsewhere()
        if self.chosen or self.text or self.target == self.proposed():
            return
        self.target = self.proposed()
        self._show_target()

    def _stored_elsewhere(self) -> None:
        """Empty the field: another device stored the very draft this one came with."""
        self.text, self.ticket, self.chosen = "", ticket(), False
        self.field.value = ""
        self._say("", "")

    async def _choose(self, name: str, text: str) -> None:
        if getattr(self.target, name) == text.strip():
            return  # the field follows the target, nobody typed
        parts = {"at": self.target.at, "other": self.target.other} | {name: text.strip()}
        self.chosen = True
        self.target = Target(parts["at"], parts["other"], self.target.quantity, self.target.meter)
        self._draw_target()
        self._draft()
        await self.hear()

    async def _quantity(self, quantity: str) -> None:
        self.chosen = True
        self.target = Target(self.target.at, self.target.other, quantity)
        self._show_target()
        self._draft()
        await self.hear()

    async def _follow(self) -> None:
        self.chosen, self.target = False, self.proposed()
        self._show_target()
        self._draft()
        await self.hear()
