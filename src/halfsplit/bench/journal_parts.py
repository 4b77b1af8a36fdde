"""A journal without what people wrote in it: readings and changes, no words, no names.

By a list of what is kept, not of what is left out: a field nobody thought of stays at home.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

# Kind of entry -> fields that go along. Console logs, overrides and their reasons, plans and their
# notes, memory prints and whatever kind comes later are left out whole.
KEPT: dict[str, tuple[str, ...]] = {
    "condition": ("condition", "did"),
    "read": (
        "net", "against", "quantity", "value", "resolution", "state", "text", "condition", "meter",
        "ohmmeter",
    ),
    "observe": ("part", "touched", "sign", "found", "condition", "degrees"),
    "factor": ("of", "factor"),
    "prove": ("part", "good"),
    "meter": ("meter",),
    "trip": ("rail", "volts"),
    "protect": (
        "part", "rail", "condition", "test", "passed", "volts", "reasons", "knee", "short",
        "seconds",
    ),
    "reform": ("part", "volts", "amps", "rule", "minutes", "condition"),
    "discharge": ("part", "volts", "passed", "condition"),
    "disturbed": ("parts",),
    "strap": ("board", "strap", "position", "moved"),
    "slot": ("board", "rail", "unit", "value"),
    "board-in": ("board",),
    "board-out": ("board",),
    "rail-on": ("rail",),
    "rail-off": ("rail",),
    "outcome": ("part", "mode"),
    "outcomes": ("id", "turn"),
    "undo": ("undoes",),
    "unpacked": ("entries",),
}  # fmt: skip


def without_notes(document: Mapping[str, Any]) -> tuple[dict[str, Any], int]:
    """An exported journal without free text, and how many entries stayed behind whole.

    Numbers of entries stay; the gaps say where something was left out. What a meter's text field
    holds is a reading in the spelling of a meter, and stays.
    """
    kept: list[dict[str, Any]] = []
    there: set[int] = set()
    left = 0
    for entry in document["entries"]:
        kind, body = entry["kind"], entry["body"]
        gone = kind == "undo" and body["undoes"] not in there
        if kind not in KEPT or gone:
            left += 1
            continue
        there.add(entry["seq"])
        bare = {k: body[k] for k in KEPT[kind] if k in body}
        if kind == "observe":
            bare["text"] = str(body.get("sign") or "noted").replace("-", " ")
        elif kind == "prove":
            bare["text"] = "tested good" if body["good"] else "tested bad"
        elif kind == "undo":
            bare["why"] = ""
        kept.append({**entry, "body": bare, "key": None})
    return {"halfsplit_journal": document["halfsplit_journal"], "entries": kept}, left
