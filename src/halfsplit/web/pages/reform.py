"""Old capacitors: reforming by the rule somebody picks, its log with the trend, when to stop."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from halfsplit.quantity import show
from halfsplit.quantity.volts import volts
from halfsplit.web.html import Choice, Tag, button, rows
from halfsplit.web.pieces.working import Fields, Worked, drawing
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

FROM = {
    "working": "its working volts",
    "asked": "as asked",
    "rating": "its rating, for its working volts were not solved",
}
MIND = (
    "An electrolytic that fails can burst and spray. Eyes covered, a lid or a bag over it, never "
    "left alone under volts; discharge it through a resistor after every run."
)


@machine_page("reform", "Old capacitors", order=70, under="plan")
async def reform(view: View) -> None:
    """The reforming of one capacitor: rule, stages, log, trend, stop rule."""
    Tag("h1", "Old capacitors")
    Tag("p", MIND, "hazard")
    Reforming(view)


class Reforming:
    """One capacitor at a time, with the rule picked for it."""

    def __init__(self, view: View) -> None:
        from halfsplit.bringup.rules import LEAKAGES, RULES

        self.view = view
        self.part, self.rule = view.draft("reform-part"), view.draft("reform-rule")
        self.leakage = view.draft("reform-leakage")
        wet = [p for p in view.facts["parts"] if p.get("kind") == "electrolytic"]
        with Tag("section", "", "box"):
            Tag("h2", "Which capacitor")
            if not wet:
                Tag("p", "No electrolytic is in this file.", "note")
            names = [
                (p["ref"], f"{p['ref']} {p['label'].removesuffix(' electrolytic capacitor')}")
                for p in wet
            ]
            self.parts = Choice(names, self.part, partial(self._pick, "part"), label="Capacitor",
                                key="reform-part")  # fmt: skip
            Tag("h2", "By which rule: published ones differ, the choice is yours")
            with Tag("ul", "", "rules"):
                for name, rule in RULES.items():
                    Tag("li", f"{name}: {rule.words} ({rule.source})")
            self.rules = Choice([(n, n) for n in RULES], self.rule, partial(self._pick, "rule"),
                                label="Rule", key="reform-rule")  # fmt: skip
            Tag("h2", "Most leakage")
            with Tag("ul", "", "rules"):
                for name, leak in LEAKAGES.items():
                    Tag("li", f"{name}: {leak.words} ({leak.source})")
            first = [("", "by its volts"), *((n, n) for n in LEAKAGES)]
            self.leaks = Choice(first, self.leakage, partial(self._pick, "leakage"),
                                label="Leakage limit", key="reform-leakage")  # fmt: skip
            with Tag("div", "", "form"):
                self.have = Fields(
                    view,
                    "reform",
                    {
                        "ohms": "Series resistor, if not the rule's",
                        "watts": "Its watts",
                        "limit": "Current limit of the supply",
                        "months": "Months on the shelf",
                    },
                )
            button("Show the plan", self._show, "act", data_key="reform-show").mark("reform-show")
        self.shown: Worked[dict[str, Any]] = Worked(
            view, self._ask, self._draw, about="Pick a capacitor and a rule.",
            words="Show the plan", key="reform-work", at_once=False, offered=False,
        )  # fmt: skip

    def _pick(self, name: str, value: str) -> None:
        setattr(self, name, value)
        {"part": self.parts, "rule": self.rules, "leakage": self.leaks}[name].show(value)
        self.view.keep_draft(**{f"reform-{name}": value})

    async def _show(self) -> None:
        if not self.part:
            self.view.alert(["Pick the capacitor first."])
            return
        await self.shown.again()

    def _ask(self, **read: Any) -> Any:
        return self.view.place.ask(partial(self._verb, read), f"the reforming of {self.part}")

    def _verb(self, read: dict[str, Any], session: Session) -> dict[str, Any]:
        from halfsplit.bench import bringing, proving, views
        from halfsplit.pictures.chart import chart_svg

        months = bringing.value("months", self.have.given("months"), "1") or 0.0
        found = proving.forming(
            session,
            self.part,
            rule=self.rule or None,
            leakage=self.leakage or None,
            feed=None,
            ohms=self.have.given("ohms"),
            watts=self.have.given("watts"),
            limit=self.have.given("limit"),
            target=None,
            at_once=False,
            months=months,
            **read,
        )
        logged = bool(found["log"]["readings"])
        found["svg"] = chart_svg(views.forming(session, found["part"])) if logged else ""
        return found

    def _draw(self, d: dict[str, Any]) -> None:
        log = d["log"]
        with Tag("section", "", "next"):
            Tag("p", f"{d['part']}, rated {volts(d['rated'])}", "eyebrow")
            Tag("h2", f"Now: {log['state'].replace('-', ' ')}", "what")
            Tag("p", log["why"], "do").mark("reform-why")
            rows(d["cautions"], "hazard")
            rows([f"Refused: {line}" for line in d["refused"]], "hazard")
            with Tag("dl", "", "limits"):
                for name, value in (
                    (f"Form to, {FROM[d['target_from']]}", volts(d["target"])),
                    ("Series resistor", f"{show(d['ohms'], 'ohm', 2)}, "
                     f"{show(d['resistor_watts'], 'W', 2)} or more"),
                    ("Never over", show(d["most_amps"], "A", 2)),
                    ("Most leakage", show(d["leakage_limit"], "A", 2)),
                ):  # fmt: skip
                    with Tag("div"):
                        Tag("dt", name)
                        Tag("dd", value, "big number")
            with Tag("div", "", "form"):
                fields = Fields(
                    self.view,
                    f"reformed-{d['part']}",
                    {
                        "volts": "Volts across it",
                        "amps": "Current into it, such as 400uA",
                        "drop": "Or volts across the resistor",
                    },
                )
                store = partial(self._store, d["part"], fields)
                button("Store the reading", store, "act", data_key="reformed").mark("reformed")
        with Tag("section", "", "box"):
            Tag("h2", f"Rule {d['rule']}")
            Tag("p", f"{d['rule_words']} ({d['rule_source']})", "quiet-words")
            rows([_stage(s) for s in d["stages"]], "steps-of", tag="ol")
        if log["readings"]:
            self._log(d, log)

    def _log(self, d: dict[str, Any], log: dict[str, Any]) -> None:
        with Tag("section", "", "box"):
            last = log["readings"][-1]
            count = len(log["readings"])
            Tag("h2", f"Log: {count} reading{'' if count == 1 else 's'}")
            words = f"Last {volts(last['volts'])}, {show(last['amps'], 'A', 2)}, "
            Tag("p", f"{words}{show(last['watts'], 'W', 2)} in the can.")
            if log["predicted_seconds"]:
                at = show(log["predicted_seconds"] / 60, "1", 2)
                Tag("p", f"At this trend within the limit {at} min after the start.", "note")
            if d["svg"]:
                drawing(d["svg"], f"Current of {d['part']} against time")

    async def _store(self, part: str, fields: Fields) -> None:
        if self.part != part:
            self._pick("part", part)
        read = {name: fields.given(name) for name in ("volts", "amps", "drop")}
        if not any(read.values()):
            self.view.alert(["Nothing is entered yet: volts across it and the current into it."])
            return
        held = fields.clear()  # before the part is drawn anew, with fields of its own
        if await self.view.trying(self._checked(read)) is None:
            fields.restore(held)

    async def _checked(self, read: dict[str, Any]) -> bool:
        found = await self._ask(**read)

        async def given() -> dict[str, Any]:
            return dict(found)

        await self.shown.of(given())
        return True


def _stage(s: dict[str, Any]) -> str:
    return (
        f"Supply {volts(s['volts'])}, {show(s['seconds'] / 60, '1', 3)} min {s['until']}; if it "
        f"shorts here {show(s['short_amps'], 'A', 2)}, {show(s['short_watts'], 'W', 3)} in the "
        "resistor"
    )
