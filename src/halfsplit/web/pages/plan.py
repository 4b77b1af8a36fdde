"""The bring-up plan, one step at a time; all that was done is in the journal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from nicegui import background_tasks

from halfsplit.web.html import Tag, button
from halfsplit.web.pieces.said import for_page
from halfsplit.web.pieces.sheets import sheet_button
from halfsplit.web.pieces.step import StepCard
from halfsplit.web.pieces.working import Worked
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

SAYS = {"done": "done", "stop": "STOP", "next": "next", "open": "to do"}
ABOUT = (
    "Nothing is powered before its limits are written down. The plan holds every step with what to "
    "expect and where to stop; it takes minutes to work out, and is then in the journal."
)


@machine_page("plan", "Bring-up", order=50)
async def plan(view: View) -> None:
    """One step at a time from cold to boards: what to do, what to expect, where to stop."""
    Walk(view)


def _known(session: Session) -> dict[str, Any] | None:
    from halfsplit.bench import planning

    return planning.plan_dict(session) if planning.written(session) is not None else None


def _write(session: Session) -> dict[str, Any] | None:
    from halfsplit.bench import planning

    planning.write(session)
    return _known(session)


class Walk:
    """The step being looked at, and ways to the others."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.data: dict[str, Any] | None = None
        self.key = view.draft("plan-step")
        self.box: Worked[dict[str, Any] | None] = Worked(
            view, self._ask, self._draw, about="Reading the plan …", words="Show the plan"
        )
        self._last = view.ledger["last"]
        view.place.changed.subscribe(self._told)
        background_tasks.create(self._at_once(), name="the plan by the journal")

    async def _at_once(self) -> None:
        """Show what the journal says while the gates, which may take minutes, are worked out."""
        from halfsplit.bench import planning

        found = await self.view.trying(self.view.place.look(planning.sketch))
        if found and self.data is None:
            self.show(found)
            with self.box.box:
                Tag("p", "What the gates say is still being worked out …", "quiet-words")

    async def _ask(self) -> dict[str, Any] | None:
        return await self.view.place.ask(_known, "how far the plan is") or {}

    def _told(self) -> None:
        """An entry came, from here or from another device: look how far the plan is now."""
        if self.box.box.is_deleted:
            self.view.place.changed.unsubscribe(self._told)
            return
        last = self.view.ledger["last"]
        if last != self._last:
            self._last = last
            background_tasks.create(self._refresh(), name="the plan again")

    async def _refresh(self) -> None:
        found = await self.view.trying(self._ask())
        if found and found != self.data:
            self.show(found)

    def show(self, data: dict[str, Any]) -> None:
        """Draw the plan as it is now."""
        if self.box.box.is_deleted:
            return
        self._last = self.view.ledger["last"]
        self.box.box.clear()
        with self.box.box:
            self._draw(data)

    # -- drawing -----------------------------------------------------------------------------------

    def _draw(self, data: dict[str, Any] | None) -> None:
        if not data:
            Tag("h1", "No bring-up plan yet")
            Tag("p", ABOUT)
            button("Write the plan", self._write, "act", data_key="write").mark("write")
            return
        self.data = data
        steps = data["steps"]
        keys = [s["key"] for s in steps]
        if self.key not in keys:
            self.key = next((s["key"] for s in steps if s["state"] in ("stop", "next")), keys[0])
        at = keys.index(self.key)
        done = sum(s["state"] == "done" for s in steps)
        with Tag("nav", "", "line walk", aria_label="Steps"):
            self._way("Previous", at - 1, "p", "the step before", "previous-step")
            Tag("p", f"Step {at + 1} of {len(steps)}, {done} done", "big", aria_live="polite")
            self._way("Next", at + 1, "n", "the step after", "next-step")
        for step in steps:
            if step["state"] == "stop" and step["key"] != self.key:
                Tag("p", f"STOP at “{step['title']}”: a reading is beyond its limits.", "hazard")
        titles = {s["key"]: s["title"] for s in steps}
        StepCard(self.view, steps[at], titles, self.show)
        for name in data["unsolved"]:
            Tag("p", f"Not solved, so left out: {name}", "trouble")
        self._all(steps)
        self._paper(data)

    def _way(self, words: str, to: int, key: str, says: str, name: str) -> None:
        assert self.data is not None
        steps = self.data["steps"]
        off = not 0 <= to < len(steps)
        made = button(
            words,
            lambda: None if off else self._go(steps[to]["key"]),
            "act way",
            id=name,
            data_key=name,
            data_shortcut=key,
            data_says=says,
            disabled=True if off else None,
        )
        made.mark(name)

    def _go(self, key: str) -> None:
        self.key = key
        self.view.keep_draft(**{"plan-step": key})
        if self.data is not None:
            self.show(self.data)

    def _all(self, steps: list[dict[str, Any]]) -> None:
        with Tag("section", "", "box"):
            Tag("h2", "All steps")
            with Tag("ol", "", "all-steps"):
                for number, step in enumerate(steps, 1):
                    with Tag("li", "", f"is-{step['state']}"):
                        made = button(
                            f"{number}. {step['title']}",
                            lambda key=step["key"]: self._go(key),
                            "quiet",
                            data_key=f"step-{step['key']}",
                            aria_current="step" if step["key"] == self.key else None,
                        )
                        made.mark(f"step-{step['key']}")
                        Tag("span", SAYS[step["state"]], f"state is-{step['state']}")

    def _paper(self, data: dict[str, Any]) -> None:
        from halfsplit.bench import planning

        with Tag("section", "", "box"):
            Tag("h2", "On paper")
            Tag("p", "Print this page for the whole plan, or make a sheet of the open steps.")
            with Tag("div", "", "choice"):
                sheet_button(self.view, "worksheet", "Make a worksheet")
                button("Work the plan out afresh", self._write, data_key="write").mark("write")
        lines = planning.page(data, self.view.facts["name"])
        Tag("pre", "\n".join(for_page(line) for line in lines), "on-paper")

    async def _write(self) -> None:
        self.key = ""
        found = await self.view.trying(self.view.place.ask(_write, "the bring-up plan"))
        if found:
            self.show(found)
