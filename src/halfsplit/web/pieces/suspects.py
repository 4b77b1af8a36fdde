"""Suspects with their weight, and every reading that speaks for or against each."""

from __future__ import annotations

from functools import partial
from typing import Any

from halfsplit.bench.words import percent
from halfsplit.web.html import Markup, Tag, drawn, joined, markup
from halfsplit.web.pieces.where import where_link
from halfsplit.web.pinboard import pinboard
from halfsplit.web.view import View

NAMED = 6  # names told of a group nothing separates
SLIGHT = 0.01  # weight below which a group folds away


def suspects(view: View, *, heading: str = "Suspects", most: int = 6) -> None:
    """Groups, heaviest first, with reasons that fold."""
    desk = view.place.desk

    def behind() -> int | None:
        """The entry they are of, while there is a later one."""
        last = desk.advice.suspects_last
        return last if last != view.ledger["last"] else None

    def label(last: int | None) -> None:
        if last is not None:
            Tag("p", f"As of entry {last}.", "behind")

    def data() -> Any:
        return desk.advice.suspects_last, desk.advice.suspects, pinboard(view.place).pins

    with Tag("section", "", "box suspects"):
        Tag("h2", heading)
        view.live(behind, label)
        view.live(data, partial(_draw, view, most))


def _draw(view: View, most: int, state: Any) -> None:
    last, told, _ = state
    if last is None:
        Tag("p", "Not worked out yet.", "quiet-words")
        return
    pieces = []
    if not told["groups"]:
        words = "No reading yet: everything is as likely as its age makes it."
        pieces.append(markup("p", words, classes="quiet-words"))
    if told.get("pool"):
        words = f"{told['pool']}; `weights FILE` shows them."
        pieces.append(markup("p", words, classes="quiet-words"))
    shown = told["groups"][:most]
    heavy = [g for g in shown if g["weight"] >= SLIGHT] or shown[:1]
    pieces.append(_groups(view, heavy))
    if slight := shown[len(heavy) :]:
        summary = f"{len(slight)} more, each under 1 %"
        pieces.append(_folded(summary, _groups(view, slight, first=False), "slight", "slight"))
    pieces += [markup("p", f"Unexplained: {r['words']}", classes="note") for r in told["misfit"]]
    odd = told["contradictory"]
    pieces += [markup("p", f"Contradictory: {c['words']}", classes="note") for c in odd]
    drawn(joined(*pieces))


def _folded(
    summary: str, inside: Markup, key: str, classes: str = "", *, open_: bool = False
) -> Markup:
    head, opened = markup("summary", summary), "" if open_ else None
    return markup("details", head, inside, classes=classes, data_key=key, open=opened)


def _groups(view: View, groups: list[dict[str, Any]], *, first: bool = True) -> Markup:
    rows = [
        markup("li", _group(view, group, first and rank == 0), classes="group")
        for rank, group in enumerate(groups)
    ]
    return markup("ol", *rows, classes="groups")


def _group(view: View, group: dict[str, Any], first: bool) -> Markup:
    names = list(dict.fromkeys(s["name"] for s in group["suspects"]))
    weight = str(group["weight"])
    pieces = [
        markup(
            "div",
            markup("strong", names[0], classes="name-of"),
            where_link(view, group["suspects"][0]["parts"], names[0]),
            markup("span", percent(group["weight"]), classes="number"),
            classes="line",
        ),
        markup("meter", value=weight, min="0", max="1", aria_label=f"weight of {names[0]}"),
    ]
    if len(names) > 1:
        more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
        words = f"or {', '.join(names[1:NAMED])}{more}: no reading here tells these apart"
        pieces.append(markup("p", words, classes="quiet-words"))
    first_of = group["suspects"][0]
    spoken = [*first_of["reasons"], *first_of["noted"]]
    told = [_reason(r) for r in spoken if r["verdict"] in ("supports", "contradicts")]
    told += [_reason(r) for r in group["within"]]
    if rest := first_of["either_way"]["words"]:
        told.append(markup("p", f"{rest}.", classes="quiet-words"))
    told += [markup("p", words) for words in group["also_stable"]]
    if told:
        pieces.append(_folded("Why", joined(*told), f"why-{names[0]}", open_=first))
    return joined(*pieces)


def _reason(reason: dict[str, Any]) -> Markup:
    fits = reason["verdict"] == "supports"
    head = markup("strong", "Fits: " if fits else "Against: ")
    said = markup("span", reason["words"])
    return markup("p", head, said, classes="fits" if fits else "against")
