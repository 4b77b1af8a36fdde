"""Boards one at a time: whose turn it is, what to measure first, what it may draw, when to stop."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from halfsplit.quantity import Unit, show
from halfsplit.web.html import Tag, button, details, rows
from halfsplit.web.pieces.insisting import insisting
from halfsplit.web.pieces.said import for_page
from halfsplit.web.pieces.undo import undo_button
from halfsplit.web.pieces.working import Fields, grid
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.racks import RackBench

UNITS: tuple[tuple[Unit, str, str], ...] = (
    ("ohm", "Dead ohms at its edge", "R"),
    ("V", "Volts at the slot", "V"),
    ("A", "Amperes it added", "A"),
)


@machine_page("boards", "Boards", order=10, sorts=("boards",))
async def boards(view: View) -> None:
    """Whose turn it is, what is owed before it goes in, its limits and what was read."""
    view.live(lambda: view.ledger, partial(_draw, view), classes="worked")


def _draw(view: View, sheet: dict[str, Any]) -> None:
    Tag("p", sheet["caution"], "hazard")
    for line in sheet["stop"]:
        Tag("p", line, "hazard stop")
    with Tag("div", "", "columns"):
        with Tag("div", "", "first"):
            _turn(view, sheet)
            _last(view, sheet)
        with Tag("div", "", "second"):
            _rails_on(view, sheet)
            _order(view, sheet)


def _turn(view: View, sheet: dict[str, Any]) -> None:
    """The board to fit next, the largest thing on the page."""
    if sheet["next"] is None:
        with Tag("section", "", "next"):
            for words in sheet["off"]:
                Tag("h1", for_page(words), "what").mark("off")
            if not sheet["off"]:
                Tag("h1", "All boards are in", "what")
        return
    board = next(b for b in sheet["boards"] if b["board"] == sheet["next"])
    with Tag("section", "", "next", aria_label="Next board"):
        slot = f", slot {board['slot']}" if board["slot"] else ""
        Tag("p", f"Next board{slot}", "eyebrow")
        Tag("h1", f"{board['board']} {board['name']}", "what").mark("next-board")
        Tag("p", board["why"], "do")
        for lock in board["interlocks"]:
            limits = _range(lock["volts"], "V")
            words = f"{lock['rail']} stays off until {lock['needs']} reads {limits}: {lock['why']}"
            Tag("p", words, "hazard")
        _limits(board)
        if sheet["owed"]:
            Tag("p", "Before it goes in:", "name")
            rows([for_page(w) for w in sheet["owed"]], "owed")
        _readings(view, board, ("ohm",))
        made = button(f"{board['board']} goes in", partial(_fit, view, board["board"]), "act",
                      data_key="fit")  # fmt: skip
        made.mark("fit")


def _last(view: View, sheet: dict[str, Any]) -> None:
    """The board that went in last, and what is still to be read of it."""
    if not sheet["fitted"]:
        return
    board = next(b for b in sheet["boards"] if b["board"] == sheet["fitted"][-1])
    with Tag("section", "", "box"):
        Tag("h2", f"{board['board']} is in: read it before the next goes in")
        _limits(board)
        _readings(view, board, ("V", "A"))


def _limits(board: dict[str, Any]) -> None:
    lines = []
    for r in board["rails"]:
        read = ", ".join(_read(u, s) for u, s in r["read"].items())
        adds = "made here" if r["made_here"] else _range(r["adds"], "A")
        after = "" if r["made_here"] else show(r["after"], "A")
        after += " OVER RATING" if r["over_rated"] else ""
        ohms, stop = _range(r["dead_ohms"], "ohm"), _range(r["stop"], "A")
        lines.append([r["rail"], ohms, adds, stop, after, _range(r["volts"], "V"), read])
    heads = ("Rail", "Dead ohms", "Adds", "Stop outside", "Total after", "At the slot", "Read")
    grid(heads, lines, label=f"Limits of {board['board']}")


def _readings(view: View, board: dict[str, Any], units: tuple[str, ...]) -> None:
    """Fields for each reading of a board that it can have."""
    asked = {}
    for unit, words, _ in UNITS:
        for r in board["rails"]:
            needless = (unit == "ohm" and r["dead_ohms"] is None) or (
                unit == "A" and (r["made_here"] or r["adds"] is None or r["adds"]["high"] == 0)
            )
            if unit in units and not needless:
                asked[f"{unit}-{r['rail']}"] = f"{r['rail']}: {words.lower()}"
    if not asked:
        return
    with Tag("div", "", "form readings"):
        fields = Fields(view, f"slot-{board['board']}", asked)
        store = partial(_store, view, board["board"], fields, list(asked))
        for key in asked:
            fields.enter(key, store)
        name = f"store-{board['board']}"
        button("Store the readings", store, data_key=name).mark(name)


async def _store(view: View, board: str, fields: Fields, keys: list[str]) -> None:
    items = []
    for key in keys:
        unit, _, rail = key.partition("-")
        text = fields.text(key)
        if text:
            sign = next(s for u, _, s in UNITS if u == unit)
            bare = text.replace(".", "", 1).lstrip("+-").isdigit()
            items.append(f"{board}.{rail}={text}{sign if bare else ''}")
    if not items:
        view.alert(["Nothing is typed yet."])
        return

    def verb(bench: RackBench) -> list[dict[str, Any]]:
        return bench.record_readings(items)

    held = fields.clear()
    if await view.trying(view.place.rack(verb)) is None:
        fields.restore(held)


async def _fit(view: View, board: str) -> None:
    await insisting(view, lambda why: view.place.rack(lambda b: b.fit(board, why)))


def _rails_on(view: View, sheet: dict[str, Any]) -> None:
    with Tag("section", "", "box"):
        with Tag("div", "", "line"):
            Tag("h2", "Rails")
            undo_button(view)
        for rail in dict.fromkeys(r["rail"] for b in sheet["boards"] for r in b["rails"]):
            made = any(
                r["made_here"] for b in sheet["boards"] for r in b["rails"] if r["rail"] == rail
            )
            if made:
                continue
            with Tag("div", "", "line"):
                on, why = rail in sheet["rails_on"], sheet["locked"].get(rail)
                Tag("strong", f"{rail}: {'applied' if on else 'off'}")
                handler = partial(_withhold if on else _apply, view, rail)
                words = f"{rail} is off now" if on else f"{rail} is applied now"
                button(words, handler, data_key=f"rail-{rail}").mark(f"rail-{rail}")
            if why and not on:
                rows([for_page(w) for w in why], "owed")
        if sheet["overridden"]:
            Tag("h3", "Gone on unproved")
            rows([f"{o.get('board') or o.get('rail')}: {o['anyway']}" for o in sheet["overridden"]])


async def _apply(view: View, rail: str) -> None:
    await insisting(view, lambda why: view.place.rack(lambda b: b.apply(rail, why)))


async def _withhold(view: View, rail: str) -> None:
    async def verb() -> bool:
        await view.place.rack(lambda b: b.withhold(rail))
        return True

    await view.trying(verb())


async def _out(view: View, board: str) -> None:
    async def verb() -> bool:
        await view.place.rack(lambda b: b.take_out(board))
        return True

    await view.trying(verb())


def _order(view: View, sheet: dict[str, Any]) -> None:
    with Tag("section", "", "box"):
        Tag("h2", "Order")
        with Tag("ol", "", "all-steps"):
            for number, board in enumerate(sheet["boards"], 1):
                state = "is-next" if board["board"] == sheet["next"] else ""
                with Tag("li", "", state):
                    Tag("span", f"{number}. {board['board']} {board['name']}")
                    if board["in"]:
                        button(f"{board['board']} came out", partial(_out, view, board["board"]),
                               "quiet", data_key=f"out-{board['board']}")  # fmt: skip
        totals = [
            f"{rail} {show(t['amps'], 'A')}"
            + (f" of {show(t['rated'], 'A')}" if t["rated"] else "")
            for rail, t in sheet["totals"].items()
        ]
        Tag("p", f"All in and at work: {', '.join(totals)}.", "quiet-words")
        with details("Every board with its limits", key="limits"):
            for board in sheet["boards"]:
                Tag("h3", f"{board['board']} {board['name']}")
                Tag("p", board["why"], "quiet-words")
                _limits(board)


def _range(found: dict[str, Any] | None, unit: Unit) -> str:
    if found is None:
        return ""
    low, high = found["low"], found["high"]
    if high is None:
        return f"≥ {show(low, unit)}"
    return show(low, unit) if low == high else f"{show(low, unit)} … {show(high, unit)}"


def _read(unit: Any, seen: dict[str, Any]) -> str:
    text = "open" if seen["value"] == "open" else show(float(seen["value"]), unit)
    return text if seen["go"] else f"{text} STOP"
