"""What each capacitor holds, through what to let it go, and the meter's proof that it is gone."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from halfsplit.quantity import show
from halfsplit.quantity.volts import volts
from halfsplit.web.html import Tag, button, rows
from halfsplit.web.pieces.said import for_page
from halfsplit.web.pieces.working import Fields, Worked
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

MIND = (
    "Plug out first. Insulated prods and a resistor, never a screwdriver. A bleeder fails open "
    "without a sign, so each is charged until a meter says otherwise."
)


@machine_page("discharge", "Discharge", order=80, under="plan")
async def discharge(view: View) -> None:
    """What each capacitor holds, how long it takes to go, and the proof by meter."""
    Tag("h1", "Stored charge")
    Tag("p", MIND, "hazard")

    def ask(parts: tuple[str, ...] = (), measured: str | None = None) -> Any:
        def verb(session: Session) -> dict[str, Any]:
            from halfsplit.bench import proving

            if not parts:
                return proving.discharge(session)
            told = proving.discharge(session, parts, measured=measured)
            return proving.discharge(session) | {"verdict": told["verdict"]}

        return view.place.ask(verb, "what the capacitors hold")

    def draw(data: dict[str, Any]) -> None:
        if data["verdict"]:
            _verdict(data["verdict"])
        if not data["capacitors"]:
            Tag("p", "None of these holds a millijoule.", "note")
        with Tag("div", "", "charges"):
            for item in data["capacitors"]:
                charge(item)

    def charge(item: dict[str, Any]) -> None:
        part = item["part"]
        with Tag("section", "", "box charge"):
            at = "its rating" if item["from_rating"] else volts(item["level"])
            Tag("h2", f"{part}: {show(item['energy'], 'J', 2)} at {at}")
            Tag("p", item["words"])
            back = volts(item["rebound_volts"])
            Tag("p", f"Measure again in 5 min: up to {back} may come back.", "quiet-words")
            with Tag("div", "", "form"):
                labels = {"volts": f"Volts measured across {part}"}
                fields = Fields(view, f"discharge-{part}", labels)
                enter = partial(store, part, fields)
                fields.enter("volts", enter)
                button("Store", enter, "act", data_key=f"measured-{part}").mark(f"measured-{part}")

    async def store(part: str, fields: Fields) -> None:
        text = fields.given("volts")
        if text is None:
            view.alert([f"Type what the meter shows across {part}."])
            return
        held = fields.clear()
        if await shown.of(ask((part,), text)) is None:
            fields.restore(held)

    shown: Worked[dict[str, Any]] = Worked(view, ask, draw, about="Working out the charges …")


def _verdict(verdict: dict[str, Any]) -> None:
    word = "below the limit" if verdict["passed"] else "not yet"
    with Tag("div", "", "said" if verdict["passed"] else "said bad", role="status"):
        Tag("span", f"Stored as entry {verdict['stored']}", "name")
        Tag("strong", f"{verdict['part']} {volts(verdict['volts'])}: {word}", "big")
        rows([for_page(r) for r in (*verdict["reasons"], verdict["again"])])
