"""What leans on what, drawn and as lists: what to prove first, and what is proved."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from halfsplit.quantity.volts import volts
from halfsplit.web.html import Tag, rows
from halfsplit.web.pieces.drawn import draw_map, map_svg
from halfsplit.web.pieces.sight import scripts
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session


@machine_page("leans", "Leans on", order=40)
async def leans(view: View) -> None:
    """What each rail and signal leans on, and what is proved of it."""
    scripts()
    Tag("h1", "What leans on what")
    about = "Found by experiment; minutes the first time on a supply that beats by itself."
    view.worked(_found, _draw, what="what leans on what", about=about)


def _found(session: Session) -> dict[str, Any]:
    from halfsplit.bench.gating import leans_dict

    return leans_dict(session) | {"map": map_svg(session)}


def _draw(data: dict[str, Any]) -> None:
    draw_map(data["map"])
    with Tag("section", "", "box"):
        Tag("h2", "Bring up in this order")
        Tag("p", ", then ".join(data["order"]), "big")
    with Tag("section", "", "box"):
        Tag("h2", "Proved, or what is missing")
        rows([_proof(p) for p in data["proofs"]], "reasons")
    with Tag("section", "", "box"):
        Tag("h2", "As trees")
        for name, tree in data["trees"].items():
            Tag("h3", name)
            Tag("pre", "\n".join(tree), "tree", tabindex="0", aria_label=f"what {name} leans on")
    with Tag("section", "", "box wide"):
        Tag("h2", "Each with its reason")
        with Tag("table", "", "outcomes"):
            with Tag("thead"), Tag("tr"):
                for head in ("This", "Leans on", "How", "Without it reads", "At load"):
                    Tag("th", head, scope="col")
            with Tag("tbody"):
                for e in data["edges"]:
                    with Tag("tr"):
                        Tag("th", e["of"], scope="row")
                        Tag("td", e["on"])
                        mark = "" if e["source"] == "circuit" else " (from the file)"
                        Tag("td", e["how"] + mark)
                        known = e["without"] == e["without"]
                        Tag("td", volts(e["without"]) if known else "", "number")
                        Tag("td", e["at"])


def _proof(proof: dict[str, Any]) -> str:
    if proof["proved"]:
        entries = ", ".join(f"#{n}" for n in proof["readings"])
        return f"{proof['label']}: proved by entries {entries}"
    return f"{proof['label']}: {'; '.join(proof['missing'])}"
