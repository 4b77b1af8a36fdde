"""Where the next check is, on the pictures; and where a suspect is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from nicegui import background_tasks, ui

from halfsplit.web.crop import crop_svg, near
from halfsplit.web.frame import address
from halfsplit.web.html import Markup, Tag, link, markup
from halfsplit.web.pieces.sight import Mark, scripts
from halfsplit.web.pinboard import pinboard
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.pins import Spot

MOST = 2  # pieces of pictures: one for each probe


def where(view: View) -> None:
    """The next check on the pictures; one line where there is nothing to show."""
    board, desk = pinboard(view.place), view.place.desk
    scripts()
    background_tasks.create(view.trying(board.look()), name="pins")

    def data() -> tuple[Any, ...]:
        checks = desk.advice.checks
        if not checks or desk.advice.next["nothing_left"]:
            return ()
        asked = checks[0]
        place = {k: asked[k] for k in ("net", "black", "quantity")}
        here = [r["reads"] for r in view.ledger["now_read"] if place.items() <= r.items()]
        read = here[-1] if here else ""
        return asked, board.of_check(asked), read, board.pinned, board.pins is None

    def draw(state: tuple[Any, ...]) -> None:
        if not state:
            return
        asked, spots, read, pinned, unseen = state
        if unseen:
            return
        if not spots:
            what = asked.get("part") or asked["net"]
            words = f"Pin {what}, and its place shows here" if pinned else (
                "Pin a photo of the board, and every check shows where to put the probe"
            )  # fmt: skip
            link(words, f"{address('pins', view.place.key)}?show={what}", data_key="pin-it")
            return
        with Tag("div", "", "where-at"):
            for source, size, marks, title in _pieces(view, asked, spots, read):
                with Tag("figure"):
                    said = "; ".join(f"{m.probe} on {', '.join(m.words)}" for m in marks)
                    ui.html(crop_svg(source, *size, marks, f"{title}: {said}"), sanitize=False)
                    Tag("figcaption", title)
        what = asked.get("part") or asked["net"]
        link("The whole picture", f"{address('pins', view.place.key)}?show={what}")

    view.live(data, draw, "section", "where-box", aria_label="Where it is")


def _pieces(
    view: View, asked: dict[str, Any], spots: list[Spot], read: str
) -> list[tuple[str, tuple[int, int], list[Mark], str]]:
    """Each probe's best place, both in one piece where they are near each other."""
    board = pinboard(view.place)
    assert board.pins is not None
    first = {p: next((s for s in spots if s.probe == p), None) for p in ("red", "black", "look")}
    lead = first["red"] or first["look"] or first["black"]
    assert lead is not None
    black = next((s for s in spots if s.probe == "black" and s.picture == lead.picture), None)
    first["black"] = black or first["black"]
    groups: list[tuple[str, list[Mark]]] = []
    for spot in [s for s in first.values() if s is not None]:
        words = [spot.label]
        if spot.probe == "red":
            words += [f"healthy {asked['healthy']}"] + ([f"read {read}"] if read else [])
        mark = Mark(spot.x, spot.y, tuple(words), spot.probe)
        if groups and groups[-1][0] == spot.picture and near(groups[-1][1][0], mark):
            groups[-1][1].append(mark)
        else:
            groups.append((spot.picture, [mark]))
    made = []
    for picture, marks in groups[:MOST]:
        kept = board.pins.pictures.get(picture)
        if kept is not None:
            source = board.source(picture, whole=True)
            made.append((source, (kept.width, kept.height), marks, kept.title or picture))
    return made


def where_link(view: View, parts: list[str], name: str) -> Markup:
    """A link to where a suspect's parts are, if one of them was pinned."""
    for spot in pinboard(view.place).of_parts(parts)[:1]:
        part = spot.label.partition(" ")[0]
        to = f"{address('pins', view.place.key)}?show={part}"
        more = {"aria_label": f"Where {name} is", "data_key": f"where-{part}"}
        return markup("a", "Where", classes="where-link", href=to, **more)
    return Markup()
