"""Protection tests: predicted numbers, where to stop, what was measured, and the verdict."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from halfsplit.quantity import show
from halfsplit.quantity.volts import volts
from halfsplit.web.html import Choice, Tag, button, rows
from halfsplit.web.pieces.working import Fields, Worked
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

FIRST = (
    "Bench information, not permission: local rules and licensed practice come first. Boards out "
    "until the rail is proved; face out of line with what fires."
)
ABOUT = "What fires, what limits and what holds up, worked out for the machine as it stands."
FIELDS = {
    "crowbar": {"one": "First trip, volts", "two": "Second", "three": "Third"},
    "over-current": {"knee": "Most current read", "short": "Current into a short"},
}


@machine_page("protect", "Protection", order=60, under="plan")
async def protect(view: View) -> None:
    """How to prove crowbar, current limit and hold-up, in numbers, and what readings say."""
    Tag("h1", "Protection tests")
    Tag("p", FIRST, "hazard")
    ProtectPage(view)


class ProtectPage:
    """The tests of every rail, each with fields for what was measured."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.latched: dict[str, bool] = {}
        self.verdicts: list[dict[str, Any]] = []
        self.data: dict[str, Any] | None = None
        self.shown: Worked[dict[str, Any]] = Worked(
            view,
            lambda: view.place.ask(_tests, "the protection tests"),
            self._draw,
            about=ABOUT,
            words="Work the tests out",
            at_once=False,
        )

    def _draw(self, data: dict[str, Any]) -> None:
        self.data = data
        Tag("p", f"For the machine {data['condition']}, {data['stands']}.", "note")
        if not data["tests"]:
            Tag("p", "No crowbar and no rail with a rated current or load is in this file.")
        for test in data["tests"]:
            with Tag("section", "", "box test"):
                Tag("h2", f"{test['rail']}: {test['test']}")
                if "not_solved" in test:
                    Tag("p", f"Not solved, so nothing is claimed: {test['not_solved']}", "trouble")
                    continue
                _numbers(test)
                rows(test["steps"], "steps-of", tag="ol")
                for line in test.get("after", []):
                    Tag("p", line, "quiet-words")
                if test.get("refused"):
                    Tag("p", test["refused"], "hazard")
                self._fields(test)

    def _fields(self, test: dict[str, Any]) -> None:
        kind, rails = test["test"], test["rail"].split(", ")
        verdict = next((v for v in self.verdicts if v["test"] == kind and v["rail"] in rails), None)
        if verdict is not None:
            _verdict(verdict)
        labels = dict(FIELDS.get(kind, {}))
        if kind == "hold-up":
            labels = {r: f"{r} stood for, as 18 ms" for r in rails}
        if not labels:
            return
        with Tag("div", "", "form"):
            fields = Fields(self.view, f"{kind}-{test['rail']}", labels)
            store = partial(self._store, kind, rails, fields)
            if kind == "crowbar":
                rail = rails[0]
                self.latched.setdefault(rail, True)

                def latched(said: str) -> None:
                    self.latched[rail] = said == "yes"
                    choice.show(said)

                choice = Choice(
                    [("yes", "It stayed fired"), ("no", "It let go")],
                    "yes" if self.latched[rail] else "no",
                    latched,
                    label="After firing",
                    key=f"latched-{rail}",
                )
            button("Judge and store", store, "act", data_key=f"store-{kind}-{test['rail']}").mark(
                f"store-{kind}-{rails[0]}"
            )

    async def _store(self, kind: str, rails: list[str], fields: Fields) -> None:
        rail, more = rails[0], dict[str, Any]()
        if kind == "crowbar":
            found = [fields.given(n) for n in FIELDS[kind]]
            more = {"trip": [t for t in found if t], "let_go": not self.latched.get(rail, True)}
        elif kind == "hold-up":
            rail = next((r for r in rails if fields.given(r)), rails[0])
            more = {"hold_up": fields.given(rail)}
        else:
            more = {"knee": fields.given("knee"), "short": fields.given("short")}
        if not any(v for k, v in more.items() if k != "let_go"):
            self.view.alert(["Nothing is entered yet: type what was measured."])
            return
        verb = partial(_judged, rail, more)
        told = await self.view.trying(self.view.place.ask(verb, f"what that says of {rail}"))
        if told is None or self.data is None:
            return
        new = [v | {"rail": rail} for v in told["verdicts"]]
        mine = {(v["test"], v["rail"]) for v in new}
        self.verdicts = [v for v in self.verdicts if (v["test"], v["rail"]) not in mine] + new
        fields.clear()
        await self.shown.of(_given(self.data))


async def _given(data: dict[str, Any]) -> dict[str, Any]:
    return data


def _tests(session: Session) -> dict[str, Any]:
    from halfsplit.bench import bringing, proving

    return proving.protect(session, feed=bringing.planned_feed(session))


def _judged(rail: str, read: dict[str, Any], session: Session) -> dict[str, Any]:
    from halfsplit.bench import bringing, proving

    return proving.protect(session, [rail], feed=bringing.planned_feed(session), **read)


def _numbers(test: dict[str, Any]) -> None:
    """The few numbers of a test, large."""
    said: list[tuple[str, str]] = []
    if test["test"] == "crowbar" and test["trip"] is not None:
        band = f" ({volts(test['low'])} to {volts(test['high'])})" if test["low"] else ""
        said.append(("Expected to trip at", volts(test["trip"]) + band))
        said.append((f"Stop at, {test['stop_reason']}", volts(test["stop"])))
    elif test["test"] == "over-current":
        said.append(("Limits at", show(test["knee_amps"], "A", 3)))
        said.append(("Into a short", show(test["short_amps"], "A", 3)))
        said.append(("Sort", test["kind"]))
    elif test["test"] == "hold-up":
        for rail, seconds in test["rails"].items():
            said.append((rail, "not told" if seconds is None else show(seconds, "s", 2)))
    with Tag("dl", "", "limits"):
        for name, value in said:
            with Tag("div"):
                Tag("dt", name)
                Tag("dd", value, "big number")


def _verdict(verdict: dict[str, Any]) -> None:
    good = verdict["passed"]
    with Tag("div", "", "said" if good else "said bad", role="status"):
        Tag("span", f"Stored as entry {verdict['stored']}", "name")
        words = "as it should be" if good else "not proved"
        Tag("strong", f"{verdict['rail']} {verdict['test']}: {words}", "big").mark("verdict")
        rows(verdict["reasons"])
