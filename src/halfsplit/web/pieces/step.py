"""One step of the bring-up plan: what to do, what to expect, where to stop, and its tick."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from halfsplit.bench.typed import Typed
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts
from halfsplit.web.drafts import ticket
from halfsplit.web.frame import address
from halfsplit.web.html import Tag, button, field, link, rows
from halfsplit.web.pieces.insisting import insisting
from halfsplit.web.pieces.said import for_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

STATES = {
    "done": "Done",
    "stop": "STOP: a reading is beyond its limits",
    "next": "Next",
    "open": "To do",
}
# What this page has a button or a link for, below the step's words.
BELOW = dict.fromkeys(("observe", "protect", "reform", "gate"), "below")
LINKS = {"reform": "reform", "trip-": "protect", "boards": "gates", "ohms": "discharge"}


class StepCard:
    """A step, drawn; `shown` is called with the plan once something of it changed."""

    def __init__(
        self,
        view: View,
        step: dict[str, Any],
        titles: dict[str, str],
        shown: Callable[[dict[str, Any]], None],
    ) -> None:
        self.view, self.step, self.shown = view, step, shown
        with Tag("section", "", f"next step-card {step['state']}", aria_label="Step"):
            Tag("p", STATES[step["state"]], f"eyebrow is-{step['state']}", role="status")
            Tag("h1", step["title"], "what")
            for line in step["before"]:
                Tag("p", line, "hazard")
            needs = [titles.get(n, "every gate") for n in step["needs"]]
            if needs:
                Tag("p", f"Only after: {', '.join(needs)}.", "note")
            words = for_page(step["do"], BELOW)
            Tag("p", f"{words[:1].upper()}{words[1:]}.", "do")
            self._limits()
            if step["points"]:
                self._points()
            self._links()
            self._tick()

    def _limits(self) -> None:
        step, stops = self.step, []
        if step["amps"]:
            stops.append(("Stop above", show(step["amps"], "A", 2)))
        if step["celsius"]:
            stops.append(("Stop when hotter to the hand than", f"{step['celsius']:g} °C"))
        if step["seconds"]:
            stops.append(("Stay, look, listen, smell", show(step["seconds"], "s", 2)))
        if stops:
            with Tag("dl", "", "limits"):
                for name, value in stops:
                    with Tag("div"):
                        Tag("dt", name)
                        Tag("dd", value, "big number")

    def _points(self) -> None:
        step = self.step
        read = {r["label"]: r for r in step["read"]}
        asked = step["condition"] is not None and step["condition"]["feed"] != "off"
        if asked:
            self._feed()
        with (
            Tag("div", "", "wide-table", tabindex="0", role="region", aria_label="Readings"),
            Tag("table", "", "outcomes points"),
        ):
            with Tag("thead"), Tag("tr"):
                for head in ("At", "Expect", "Stop outside", "Read"):
                    Tag("th", head, scope="col")
            with Tag("tbody"):
                for point in step["points"]:
                    self._point(point, read.get(point["label"]), asked)

    def _point(self, point: dict[str, Any], seen: dict[str, Any] | None, asked: bool) -> None:
        with Tag("tr"):
            Tag("th", point["label"], scope="row")
            Tag("td", volts(point["expected"]), "number big")
            Tag("td", f"{volts(point['low'])} to {volts(point['high'])}", "number")
            with Tag("td"):
                if seen is not None:
                    mark = "in limits" if seen["good"] else "STOP"
                    words = f"{volts(seen['value'])}, {mark} (entry {seen['entry']})"
                    Tag("strong", words, "good" if seen["good"] else "trouble")
                if asked:
                    self._field(point)

    def _field(self, point: dict[str, Any]) -> None:
        name = f"plan-{self.step['key']}-{point['label']}"
        made = field(
            f"Volts at {point['label']}",
            self.view.draft(name),
            lambda text: self.view.keep_draft(**{name: text}),
            data_key=name,
            inputmode="text",
            enterkeyhint="done",
        )
        made.mark(f"point-{point['label']}")
        key = ticket()

        async def store() -> None:
            if not self._there():
                words = "The machine is not in this step's feed and load: say first that it is."
                self.view.alert([words])
                return
            typed = Typed(str(made.value or ""), point["net"], "", "volts", "")
            if await self.view.trying(self.view.place.read(typed, key)) is not None:
                made.value = ""

        made.on("keydown.enter", store, args=[])

    def _there(self) -> bool:
        """Whether the journal has the machine in the feed and load of this step."""
        now, at = self.view.ledger["condition"], self.step["condition"]
        names = ("feed", "load", "extra")
        lamp = (now.get("lamp") or 0.0) == (at.get("lamp") or 0.0)
        return lamp and all(now.get(n) == at.get(n) for n in names)

    def _feed(self) -> None:
        def draw(there: bool) -> None:
            if there:
                Tag("p", f"The machine is {self.view.ledger['condition_words']}.", "note")
                return
            with Tag("div", "", "before"):
                Tag("span", f"Now it is {self.view.ledger['condition_words']}.", "name")
                made = button("It is put into this step's feed and load", self._begin, "act",
                              data_key="begin")  # fmt: skip
                made.mark("begin")

        self.view.live(self._there, draw)

    async def _begin(self) -> None:
        key = self.step["key"]

        def verb(anyway: str | None, session: Session) -> dict[str, Any]:
            from halfsplit.bench import planning

            planning.begin(session, key, anyway)
            return planning.plan_dict(session)

        what = "whether this step may be fed"
        await insisting(
            self.view, lambda why: self.view.place.ask(partial(verb, why), what), self.shown
        )

    def _links(self) -> None:
        key = self.step["key"]
        if key == "fuses":
            self._fuses()
        for name, page in LINKS.items():
            if key == name or (name.endswith("-") and key.startswith(name)):
                words = {
                    "reform": "Old capacitors: rule, log, when to stop",
                    "protect": "The test of this trip, with its numbers",
                    "gates": "What still refuses the boards",
                    "discharge": "What each capacitor holds, and letting it go",
                }[page]
                link(words, address(page, self.view.place.key), "act plain")

    def _fuses(self) -> None:
        """A button for each fuse the step names."""
        refs = [p["ref"] for p in self.view.facts["parts"]]
        named = [r for r in refs if re.search(rf"\b{re.escape(r)} \d", self.step["do"])]

        def draw(seen: list[str]) -> None:
            for ref in named:
                done = ref in seen
                words = f"{ref}: read, as drawn" if done else f"{ref} is as drawn"
                made = button(words, partial(self._drawn, ref), data_key=f"drawn-{ref}",
                              aria_pressed="true" if done else "false")  # fmt: skip
                made.mark(f"drawn-{ref}")

        self.view.live(
            lambda: [r for r in named if r in self.view.ledger["as_drawn"]],
            draw,
            classes="choice",
            role="group",
            aria_label="Fuses read",
        )

    async def _drawn(self, ref: str) -> None:
        verb = self.view.place.write(lambda n: n.observe("", ref, sign="as-drawn"))
        await self.view.trying(verb)

    def _tick(self) -> None:
        step = self.step
        if step["note"]:
            rows([f"Noted: {step['note']}"], "note")
        if step["state"] == "done" and not step["note"]:
            return
        name = f"note-{step['key']}"
        with Tag("div", "", "form tick"):
            made = field(
                "What was seen, such as 18 mA, all in limits",
                self.view.draft(name),
                lambda text: self.view.keep_draft(**{name: text}),
                data_key="step-note",
            )
            made.mark("step-note")

            async def done() -> None:
                text = str(made.value or "")

                def verb(anyway: str | None, session: Session) -> dict[str, Any]:
                    from halfsplit.bench import planning

                    planning.tick(session, step["key"], text, anyway)
                    return planning.plan_dict(session)

                def after(data: dict[str, Any]) -> None:
                    self.view.keep_draft(**{name: ""})
                    self.shown(data)

                what = "whether this step may be ticked"
                await insisting(
                    self.view, lambda why: self.view.place.ask(partial(verb, why), what), after
                )

            made.on("keydown.enter", done, args=[])
            button("Done", done, "act", data_key="step-done").mark("step-done")
