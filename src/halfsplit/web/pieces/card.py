"""The next check: the largest thing on the page."""

from __future__ import annotations

from functools import partial
from typing import Any

from halfsplit.web.html import Tag, button, rows
from halfsplit.web.pieces.condition import do_change, set_condition
from halfsplit.web.pieces.said import for_page
from halfsplit.web.view import View

# What the strip above the card does.
ABOVE = {"change": "by the buttons above"}


def next_card(view: View) -> None:
    """What to do next, and what each outcome would mean."""
    desk = view.place.desk

    def data() -> Any:
        advice, last = desk.advice, view.ledger["last"]
        behind = advice.last is not None and advice.last != last
        state = advice.last, advice.trouble, advice.stopped, behind
        return *state, advice.next, advice.checks, advice.early

    view.live(data, partial(_draw, view), "section", "next", aria_label="Next")


def _draw(view: View, state: Any) -> None:
    last, trouble, stopped, behind, data, checks, early = state
    if trouble:
        Tag("h1", "No advice")
        for line in trouble.splitlines():
            Tag("p", line, "trouble")
        button("Try again", view.place.bench.think, data_key="again")
        return
    if last is None:
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
    if stopped or behind:
        with Tag("p", "", "behind"):
            Tag(
                "span",
                f"As of entry {last}. " + ("Stopped. " if stopped else "Being worked out again …"),
            )
            if stopped:
                button("Go on", view.place.bench.think, data_key="go-on")
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
    with Tag("table", "", "outcomes"):
        with Tag("thead"), Tag("tr"):
            for name in ("If it shows", "Chance", "Then it is"):
                Tag("th", name, scope="col")
        with Tag("tbody"):
            for row in asked["outcomes"]:
                with Tag("tr"):
                    Tag("th", row["reads"], "number", scope="row")
                    Tag("td", row["chance"], "chance")
                    Tag("td", row["means"])
    Tag("p", f"Why this one: {asked['why']}.", "quiet-words")


def _probes(asked: dict[str, Any]) -> None:
    with Tag("div", "", "how"):
        with Tag("div", "", "probes"):
            with Tag("p", "", "probe red"):
                Tag("span", "Red on", "name")
                Tag("strong", asked["red"])
            with Tag("p", "", "probe black"):
                Tag("span", "Black on", "name")
                Tag("strong", asked["black_at"])
        with Tag("div", "", "expected"):
            Tag("span", "Healthy reads", "name")
            Tag("strong", asked["healthy"], "big")
            if asked["sign"]:
                Tag("span", asked["sign"], "quiet-words")
        with Tag("div", "", "meter"):
            Tag("span", "Meter", "name")
            Tag("strong", asked["setting"])
            if asked["range"]:
                Tag("span", f"up to {asked['range']} may show", "quiet-words")


async def _set(view: View, step: dict[str, str]) -> None:
    if "did" in step:
        await do_change(view, step["did"])
        return
    await set_condition(view, **{k: v for k, v in step.items() if k in ("feed", "load")})


async def _look(view: View, part: str, as_drawn: bool) -> None:
    sign = "as-drawn" if as_drawn else "not-as-drawn"
    await view.trying(view.place.write(lambda noter: noter.observe("", part, sign=sign)))
