"""Suspects with their weight, and every reading that speaks for or against each."""

from __future__ import annotations

from functools import partial
from typing import Any

from halfsplit.bench.words import percent
from halfsplit.web.html import Tag, details
from halfsplit.web.pieces.where import where_link
from halfsplit.web.pinboard import pinboard
from halfsplit.web.view import View

NAMED = 6  # names told of a group nothing separates
SLIGHT = 0.01  # weight below which a group folds away


def suspects(view: View, *, heading: str = "Suspects", most: int = 6) -> None:
    """Groups, heaviest first, with reasons that fold."""
    desk = view.place.desk

    def data() -> Any:
        advice = desk.advice
        behind = advice.suspects_last != view.ledger["last"]
        return advice.suspects_last, advice.suspects, behind, pinboard(view.place).pins

    view.live(data, partial(_draw, view, heading, most), "section", "box suspects")


def _draw(view: View, heading: str, most: int, state: Any) -> None:
    last, told, behind, _ = state
    Tag("h2", heading)
    if last is None:
        Tag("p", "Not worked out yet.", "quiet-words")
        return
    if behind:
        Tag("p", f"As of entry {last}.", "behind")
    if not told["groups"]:
        Tag("p", "No reading yet: everything is as likely as its age makes it.", "quiet-words")
    if told.get("pool"):
        Tag("p", f"{told['pool']}; `weights FILE` shows them.", "quiet-words")
    shown = told["groups"][:most]
    heavy = [g for g in shown if g["weight"] >= SLIGHT] or shown[:1]
    _groups(view, heavy)
    if slight := shown[len(heavy) :]:
        with details(f"{len(slight)} more, each under 1 %", classes="slight", key="slight"):
            _groups(view, slight, first=False)
    for reason in told["misfit"]:
        Tag("p", f"Unexplained: {reason['words']}", "note")


def _groups(view: View, groups: list[dict[str, Any]], *, first: bool = True) -> None:
    with Tag("ol", "", "groups"):
        for rank, group in enumerate(groups):
            with Tag("li", "", "group"):
                _group(view, group, first and rank == 0)


def _group(view: View, group: dict[str, Any], first: bool) -> None:
    names = list(dict.fromkeys(s["name"] for s in group["suspects"]))
    with Tag("div", "", "line"):
        Tag("strong", names[0], "name-of")
        where_link(view, group["suspects"][0]["parts"], names[0])
        Tag("span", percent(group["weight"]), "number")
    Tag("meter", value=group["weight"], min=0, max=1, aria_label=f"weight of {names[0]}")
    if len(names) > 1:
        more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
        Tag(
            "p",
            f"or {', '.join(names[1:NAMED])}{more}: no reading here tells these apart",
            "quiet-words",
        )
    reasons = group["suspects"][0]["reasons"]
    told = [r for r in reasons if r["verdict"] in ("supports", "contradicts")]
    if told or group["also_stable"]:
        with details("Why", open_=first, key=f"why-{names[0]}"):
            for reason in told:
                fits = reason["verdict"] == "supports"
                with Tag("p", "", "fits" if fits else "against"):
                    Tag("strong", "Fits: " if fits else "Against: ")
                    Tag("span", reason["words"])
            for words in group["also_stable"]:
                Tag("p", words)
