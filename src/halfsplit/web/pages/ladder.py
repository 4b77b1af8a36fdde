"""The load ladder: resistors at hand joined into loads for each rail, and what it should read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from halfsplit.quantity import show
from halfsplit.quantity.volts import volts
from halfsplit.web.html import Tag, button, rows
from halfsplit.web.pieces.working import Fields, Worked, grid
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

ABOUT = "Type the resistors at hand; which go on which rail, what each must bear, what it reads."
FIRST = (
    "Bench information, not permission: local rules and licensed practice come first. Boards out "
    "until the rail is proved. Load resistors burn fingers and benches."
)


@machine_page("ladder", "Loads", order=55, under="plan")
async def ladder(view: View) -> None:
    """A load ladder for each rail from the resistors at hand."""
    Tag("h1", "Load ladder")
    Tag("p", FIRST, "hazard")
    with Tag("section", "", "box"), Tag("div", "", "form"):
        fields = Fields(
            view,
            "ladder",
            {"stock": "Resistors, such as 1R/50W*4, 10R/10W*6", "stress": "Share of watts, 80%"},
        )

        async def work() -> None:
            await shown.again()

        fields.enter("stock", work)
        button("Work the loads out", work, "act", data_key="ladder").mark("ladder")

    async def ask() -> dict[str, Any]:
        stock, stress = fields.text("stock"), fields.text("stress") or "80%"

        def verb(session: Session) -> dict[str, Any]:
            from halfsplit.bench.bringing import plain, planned_feed
            from halfsplit.bench.proving import load_ladder

            own, feed = stock.replace(" ", ""), planned_feed(session)
            found = load_ladder(session, (), stock=own, stress=stress, feed=feed)
            return dict(plain(found.as_dict()))

        return await view.place.ask(verb, "the loads")

    shown: Worked[dict[str, Any]] = Worked(
        view, ask, _draw, about=ABOUT, words="Work the loads out", key="ladder-again",
        at_once=False, offered=False,
    )  # fmt: skip


def _draw(data: dict[str, Any]) -> None:
    rails = dict.fromkeys(s["rail"] for s in data["steps"])
    of = {r: [c for c in data["cautions"] if c.startswith(f"{r}: ")] for r in rails}
    rows([c for c in data["cautions"] if not any(c in some for some in of.values())], "hazard")
    Tag("p", f"For the machine {data['condition']}.", "note")
    for rail in rails:
        with Tag("section", "", "box"):
            Tag("h2", rail)
            lines = [_step(data, rail, None)]
            lines += [_step(data, rail, s) for s in data["steps"] if s["rail"] == rail]
            heads = ("Step", "Connect", "Draws", "Watts", "Hottest", "Reads alone", "All loaded")
            grid(heads, lines, label=f"Loads of {rail}")
            rows([c.removeprefix(f"{rail}: ") for c in of[rail]], "reasons warned")
            rows(_notes(data, rail), "quiet-words")


def _step(data: dict[str, Any], rail: str, step: dict[str, Any] | None) -> list[str]:
    share = step["share"] if step else 0.0
    lines = [e for e in data["expected"] if e["rail"] == rail and e["share"] == share]
    alone = next((e for e in lines if not e["together"]), lines[0])
    both = next((e for e in lines if e["together"]), lines[0])
    if step is None:
        return ["0 %", "nothing", "–", "–", "–", _reads(alone), _reads(both)]
    words = _bare(step["network"]) or (
        f"none at hand: {step['ohms']:.3g} ohm, {step['rated_watts_needed']:.0f} W; "
        f"{step['refused']}"
    )
    hot = max((p["body_degC"] for p in step["pieces"]), default=None)
    return [
        f"{100 * share:.0f} %",
        words,
        show(step["amps"], "A", 3),
        show(step["watts"], "W", 2),
        "–" if hot is None else f"{hot:.0f} °C",
        _reads(alone),
        _reads(both),
    ]


def _reads(e: dict[str, Any]) -> str:
    if e["within"] is None or e["volts"] is None:
        return "not solved"
    ripple = f", {volts(e['ripple'])} ripple" if (e["ripple"] or 0.0) > 5e-4 else ""
    out = "" if e["within"] else " OUT OF LIMITS"
    return f"{volts(e['volts'])} ({volts(e['low'])} to {volts(e['high'])}){ripple}{out}"


def _notes(data: dict[str, Any], rail: str) -> list[str]:
    found = [
        f"Loading the others moves it {volts(c['moves'])} at full load, of {volts(c['room'])} "
        "between its limits."
        for c in data["cross_regulation"]
        if c["rail"] == rail and c["moves"] is not None
    ]
    found += [f"Least load: {m['why']}" for m in data["minimum_load"] if m["rail"] == rail]
    return found


def _bare(network: str | None) -> str:
    """A network without the brackets around the whole of it."""
    return network[1:-1] if network and network[0] == "(" and network[-1] == ")" else network or ""
