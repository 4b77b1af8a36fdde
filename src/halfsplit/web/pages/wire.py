"""The cable between two connectors: each wire with its reason, and what to measure first."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from halfsplit.quantity.volts import volts
from halfsplit.web.html import Choice, Tag, button, rows
from halfsplit.web.pieces.sheets import Made, maker
from halfsplit.web.pieces.working import Fields, Worked, drawing, grid
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.cables import Planned
    from halfsplit.boards.plan import Check
    from halfsplit.boards.through import Through
    from halfsplit.boards.wiring import Plan


@machine_page("wire", "Cable", order=20, sorts=("console",))
async def wire(view: View) -> None:
    """The wire list between two connectors, with reasons, a drawing, and what to measure first."""
    Tag("h1", "Cable")
    CablePage(view)


class CablePage:
    """Two ends, the idle volts read at them, and the cable."""

    def __init__(self, view: View) -> None:
        self.view = view
        names = view.facts["connectors"]
        kept = [view.draft("end-a"), view.draft("end-b")]
        first = [*names, "", ""]
        self.ends = [k if k in names else first[n] for n, k in enumerate(kept)]
        options = [(n, f"{n}, {at}" if at else n) for n, at in names.items()]
        with Tag("section", "", "box"):
            self.choices = []
            for place, label in enumerate(("One end", "Other end")):
                Tag("span", label, "name")
                pick = partial(self._pick, place)
                key = f"end-{'ab'[place]}"
                choice = Choice(options, self.ends[place], pick, label=label, key=key)
                self.choices.append(choice)
            with Tag("div", "", "form"):
                label = "Idle volts read, 3 kΩ across the pin: T1.2=-9.1V, J3.3=-8V"
                self.idle = Fields(view, "idle", {"volts": label})
                self.idle.enter("volts", self._again)
                button("Plan the cable", self._again, "act", data_key="plan-cable").mark("plan")
        self.shown: Worked[Planned] = Worked(
            view, self._ask, self._draw, about="Pick two ends.", words="Plan the cable",
            key="cable", at_once=len(names) > 1,
        )  # fmt: skip
        if view.facts["cables"]:
            with Tag("section", "", "box"):
                Tag("h2", "Cables as they were found")
                with Tag("div", "", "choice", role="group", aria_label="Cables as found"):
                    for name in view.facts["cables"]:
                        button(name, partial(self._judge, name), data_key=f"cable-{name}").mark(
                            f"cable-{name}"
                        )
                self.judged = Tag("div", "", "", role="status")

    async def _pick(self, place: int, name: str) -> None:
        self.ends[place] = name
        self.choices[place].show(name)
        self.view.keep_draft(**{f"end-{'ab'[place]}": name})
        await self.shown.again()

    async def _again(self) -> None:
        await self.shown.again()

    async def _ask(self) -> Planned:
        from halfsplit.bench.cables import planned

        idle = [t.strip() for t in self.idle.text("volts").split(",") if t.strip()]
        ends = [e for e in self.ends if e]
        return await self.view.place.console(lambda file, _: planned(file, ends, idle))

    def _draw(self, made: Planned) -> None:
        from halfsplit.bench.cables import VERDICTS
        from halfsplit.boards.drawing import sheet, svg

        plan = made.plan
        for item in made.read:
            Tag("p", item.words, "note" if item.good else "hazard")
        with Tag("section", "", "next"):
            Tag("p", f"{plan.a} to {plan.b}", "eyebrow")
            good = all(j.good for j in made.read)
            words = VERDICTS[plan.verdict] if good else "Explain that reading before joining them."
            Tag("h2", words, "what").mark("verdict")
            rows(plan.reasons, "hazard" if plan.verdict == "refuse" else "")
            if plan.checks:
                Tag("h3", "Before joining, both machines on and the cable off, measure")
                _checks(plan.checks)
        _wires(plan)
        if plan.through is not None:
            _between(plan, plan.through)
        _margins(plan)
        if plan.wires or (plan.through and plan.through.parts):
            with Tag("section", "", "box"):
                Tag("h2", "Drawing")
                drawing(svg(plan), f"Cable from {plan.a} to {plan.b}")
        for answer, then in plan.if_so.items():
            with Tag("section", "", "box"):
                Tag("h2", f"If {answer}: {VERDICTS[then.verdict]}")
                rows(then.reasons)
                _told(then)
                for deeper, last in then.if_so.items():
                    Tag("h3", f"and if {deeper}: {VERDICTS[last.verdict]}")
                    _told(last)
        title = self.view.facts["name"]

        async def page() -> Made:
            return [("html", "Open the sheet", sheet(plan, title).encode()),
                    ("svg", "Save the drawing", svg(plan).encode())]  # fmt: skip

        maker(self.view, "Make a sheet to print", page, "cable")

    async def _judge(self, name: str) -> None:
        from halfsplit.bench.cables import cable_findings

        verb = self.view.place.console(lambda file, _: cable_findings(file, name))
        found = await self.view.trying(verb)
        if found is None or self.judged.is_deleted:
            return
        self.judged.clear()
        with self.judged:
            Tag("h3", name)
            if not found:
                Tag("p", "Nothing wrong with it on paper; measure before joining.", "note")
            for item in found:
                mark = "Do not join: " if item.harm else "Wrong: "
                Tag("p", mark + item.words, "hazard" if item.harm else "note")


def _checks(checks: Sequence[Check]) -> None:
    from halfsplit.boards.drawing import reads

    heads = ("At", "Against", "Should read", "Is", "Otherwise")
    for words in dict.fromkeys(c.caution for c in checks if c.caution):
        Tag("p", f"Caution: {words}.", "hazard")
    lines = [[c.at, c.to, reads(c), c.means, c.otherwise] for c in checks]
    grid(heads, lines, label="To measure before joining")


def _wires(plan: Plan) -> None:
    if not (plan.wires or plan.ties):
        return
    with Tag("section", "", "box"):
        Tag("h2", "Wires")
        grid(("From", "To", "Why"), [[w.a.label, w.b.label, w.why] for w in plan.wires])
        if plan.ties:
            Tag("h3", "Ties within one plug")
            ties: list[list[Any]] = [[t.pin.label, t.far, t.why] for t in plan.ties]
            grid(("From", "To", "Why"), ties)


def _told(plan: Plan) -> None:
    """A cable of which one answer is not known yet."""
    _wires(plan)
    if plan.through is not None:
        _between(plan, plan.through)
    _margins(plan)


def _between(plan: Plan, made: Through) -> None:
    """The way with converters: what they are, every conductor by its place, what feeds them."""
    from halfsplit.boards.drawing_through import lists
    from halfsplit.boards.through import amps

    with Tag("section", "", "box").mark("converters"):
        Tag("h2", "Converters between")
        rows([f"no converter known here helps: {words}" for words in made.lacking], "hazard")
        rows([f"{name}: {part.says}" for name, part in made.parts.items()])
        rows(made.reasons)
        for title, wires in lists(plan, made):
            Tag("h3", title)
            grid(("From", "To", "Why"), [list(row) for row in wires], label=title)
        if made.supplies:
            Tag("h3", "They are fed with")
            fed = [[s.pin.label, volts(s.volts), amps(s)] for s in made.supplies]
            grid(("Pin", "Volts", "Current"), fed, label="What feeds the converters")
        if made.checks:
            Tag("h3", "Converters first alone, then with one machine joined, measure")
            _checks(made.checks)


def _margins(plan: Plan) -> None:
    spare = [[m.at, m.shown] for k in (plan.through or plan).links for m in k.margins]
    if spare:
        with Tag("section", "", "box"):
            Tag("h2", "To spare")
            grid(("Where", "To spare"), spare)
