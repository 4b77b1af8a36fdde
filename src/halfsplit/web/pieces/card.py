"""The next check: the largest thing on the page."""

from __future__ import annotations

from functools import partial
from typing import Any

from halfsplit.web.html import Markup, Tag, button, drawn, joined, markup, rows
from halfsplit.web.pieces.condition import do_change, set_condition
from halfsplit.web.pieces.said import for_page
from halfsplit.web.view import View

# What the strip above the card does.
ABOVE = {"change": "by the buttons above"}


def next_card(view: View) -> None:
    """What to do next, and what each outcome would mean."""
    desk = view.place.desk

    def behind() -> tuple[int | None, bool, bool]:
        advice = desk.advice
        known = advice.last is not None and not advice.trouble
        return advice.last, advice.stopped, known and advice.last != view.ledger["last"]

    def label(state: tuple[int | None, bool, bool]) -> None:
        last, stopped, is_behind = state
        if last is None or not (stopped or is_behind):
            return
        now = "Stopped. " if stopped else "Being worked out again …"
        with Tag("p", "", "behind"):
            Tag("span", f"As of entry {last}. {now}")
            if stopped:
                button("Go on", view.place.bench.think, data_key="go-on")

    def data() -> Any:
        """What is drawn; that an entry came since is told above it, without drawing all anew."""
        advice = desk.advice
        state = advice.last is None, advice.trouble, advice.stopped and advice.last is None
        return *state, advice.next, advice.checks, advice.early

    with Tag("section", "", "next", aria_label="Next"):
        view.live(behind, label, classes="piece-of")
        view.live(data, partial(_draw, view), classes="piece-of")


def _draw(view: View, state: Any) -> None:
    nothing, trouble, stopped, data, checks, early = state
    if trouble:
        Tag("h1", "No advice")
        for line in trouble.splitlines():
            Tag("p", line, "trouble")
        button("Try again", view.place.bench.think, data_key="again")
        return
    if nothing:
        Tag("h1", "Stopped" if stopped else "Working out the first check …")
        if stopped:
            button("Go on", view.place.bench.think, "act", data_key="go-on")
        else:
            Tag(
                "p",
                "Readings can be entered meanwhile: they are on disk before they are shown.",
                "quiet-words",
            )
        return
    if early and not checks:
        Tag("h1", f"{early} …")
    elif early:
        Tag("p", f"{early}.", "quiet-words")
    _notes(data)
    if data["act"]:
        _act(view, data["act"])
    _more(data)
    if data["nothing_left"]:
        Tag(
            "h1" if not data["act"] else "h2",
            f"{data['nothing_left'][0].upper()}{data['nothing_left'][1:]}",
        )
    elif checks:
        head = "Or confirm with" if data["act"] else "To confirm" if data["mended"] else "Next"
        head = "For now" if early and head == "Next" else head
        check(view, checks[0], head, small=bool(data["act"]))


def _notes(data: dict[str, Any]) -> None:
    for name in ("first", "blocked"):
        if data[name]:
            words = for_page(data[name], ABOVE)
            Tag("p", f"{words[0].upper()}{words[1:]}.", "note")


def _act(view: View, act: dict[str, Any]) -> None:
    from halfsplit.bench.words import percent

    Tag("p", f"Enough is known to act ({percent(act['weight'])})", "eyebrow")
    Tag("h1", " or ".join(act["group"][:5]), "what")
    for line in act["before"]:
        Tag("p", line, "hazard")
    if act["done"]:
        Tag("p", f"Already replaced: {', '.join(act['done'])}")
    for ref, label in act["as_drawn"].items():
        Tag("p", f"{ref}: fit what is drawn, a {label}.")
    parts = dict.fromkeys([name.partition(" ")[0] for name in act["group"][:3]])
    for name, lines in act["prove"].items():
        Tag("p", f"Prove {name} out of circuit, or with one lead lifted:")
        rows(lines, "proofs")
    for part in parts:
        with Tag("div", "", "choice", role="group", aria_label=f"What came of {part}"):
            button(f"{part} tested bad", partial(_prove, view, part, False), data_key=f"bad-{part}")
            button(
                f"{part} tested good", partial(_prove, view, part, True), data_key=f"good-{part}"
            )
            button(
                f"New {part} fitted",
                partial(do_change, view, f"{part} fitted"),
                data_key=f"fit-{part}",
            )


async def _prove(view: View, part: str, good: bool) -> None:
    await view.trying(view.place.write(lambda noter: noter.prove(part, good, "")))


def _more(data: dict[str, Any]) -> None:
    """What to check too, what to read again, what stands since a repair, what is quiet."""
    from halfsplit.bench.words import percent

    for taken in data["check_too"][:4]:
        Tag(
            "p",
            f"Check {taken['part']} too ({percent(taken['chance'])} that it went with "
            f"{taken['because']}): {taken['words']}",
            "note",
        )
    for odd in data["contradictory"]:
        Tag("p", f"Contradictory: {odd['words']}.", "note")
    for reason in data["again"]:
        Tag(
            "p",
            f"Read again: {reason['words']}. The leading suspect does not explain it: a slip, "
            "a fault of another size, or two.",
            "note",
        )
    mended = data["mended"]
    if mended:
        count = mended["readings_since"]
        Tag("h1", f"{' or '.join(mended['group'][:5])}: replaced")
        if count and mended["all_explained"]:
            since = f"{count} reading" + ("" if count == 1 else "s")
            Tag("p", f"{since} since then, all as a healthy machine reads. Prove it at every load.")
        elif not count:
            Tag("p", "Read again what was wrong before; nothing has been read since.")
    if data["quiet"]:
        Tag("p", "Nothing wrong shows in the readings so far.", "note")
        hidden = data["quiet"]["would_not_show"]
        if hidden:
            more = f" and {len(hidden) - 6} more" if len(hidden) > 6 else ""
            Tag("p", f"These faults would not have shown in them: {', '.join(hidden[:6])}{more}")


def check(view: View, asked: dict[str, Any], head: str, *, small: bool = False) -> None:
    """One check: probes, meter, what is expected, what each outcome means."""
    Tag("p", head, "eyebrow")
    Tag("h2" if small else "h1", asked["title"], "what")
    if asked["first"]:
        with Tag("div", "", "before"):
            Tag("span", "First:", "name")
            for step in asked["first"]:
                button(
                    f"{step['words']}: done",
                    partial(_set, view, step),
                    "act",
                    data_key=f"first-{step['words']}",
                )
    if asked["caution"]:
        Tag("p", asked["caution"], "hazard")
    if asked["quantity"] == "look":
        Tag("p", asked["question"], "how")
        with Tag("div", "", "choice", role="group", aria_label=f"What {asked['part']} is"):
            button("As drawn", partial(_look, view, asked["part"], True), data_key="as-drawn")
            button(
                "Not as drawn", partial(_look, view, asked["part"], False), data_key="not-as-drawn"
            )
    else:
        _probes(asked)


def meaning(view: View) -> None:
    """What each outcome of the next check would mean, and why that check."""
    desk = view.place.desk

    def draw(checks: tuple[dict[str, Any], ...]) -> None:
        if checks and not desk.advice.next["nothing_left"]:
            Tag("h2", "What it would mean")
            _outcomes(checks[0])

    view.live(lambda: desk.advice.checks, draw, "section", "box meaning")


def _outcomes(asked: dict[str, Any]) -> None:
    heads = [markup("th", n, scope="col") for n in ("If it shows", "Chance", "Then it is")]
    rows_ = [
        markup(
            "tr",
            markup("th", row["reads"], classes="number", scope="row"),
            markup("td", row["chance"], classes="chance"),
            markup("td", row["means"]),
        )
        for row in asked["outcomes"]
    ]
    head, body = markup("thead", markup("tr", *heads)), markup("tbody", *rows_)
    table = markup("table", head, body, classes="outcomes")
    why = markup("p", f"Why this one: {asked['why']}.", classes="quiet-words")
    drawn(joined(table, why))


def _probes(asked: dict[str, Any]) -> None:
    def named(name: str, words: str, classes: str = "") -> Markup:
        return joined(
            markup("span", name, classes="name"), markup("strong", words, classes=classes)
        )

    red = markup("p", named("Red on", asked["red"]), classes="probe red")
    black = markup("p", named("Black on", asked["black_at"]), classes="probe black")
    expected = [named("Healthy reads", asked["healthy"], "big")]
    meter = [named("Meter", asked["setting"])]
    if asked["sign"]:
        expected.append(markup("span", asked["sign"], classes="quiet-words"))
    if asked["range"]:
        words = f"up to {asked['range']} may show"
        meter.append(markup("span", words, classes="quiet-words"))
    pieces = [
        markup("div", red, black, classes="probes"),
        markup("div", *expected, classes="expected"),
        markup("div", *meter, classes="meter"),
    ]
    drawn(joined(*pieces), "how")


async def _set(view: View, step: dict[str, str]) -> None:
    if "did" in step:
        await do_change(view, step["did"])
        return
    await set_condition(view, **{k: v for k, v in step.items() if k in ("feed", "load")})


async def _look(view: View, part: str, as_drawn: bool) -> None:
    sign = "as-drawn" if as_drawn else "not-as-drawn"
    await view.trying(view.place.write(lambda noter: noter.observe("", part, sign=sign)))
