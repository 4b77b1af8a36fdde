"""Words of the bench on a page: in place of a command to type, the page that does it."""

from __future__ import annotations

import re
from collections.abc import Mapping

# By the command's verb; what has none is typed into a field beside the words.
PLACES = {
    "observe": "on the page “Bench”, under “Seen, heard, smelt”",
    "change": "at the top of the page “Bench”",
    "ohms": "on the page “Bench”, as ohms",
    "protect": "on the page “Protection”",
    "reform": "on the page “Old capacitors”",
    "gate": "on the page “Gates”",
    "--withhold": "under “Rails”",
    "--fit": "“goes in”",
    "--out": "“came out”",
}
HERE = "in its field here"


def for_page(text: str, here: Mapping[str, str] | None = None) -> str:
    """Words of the bench with each command (between backquotes) said as a page does it.

    `here` says where this very page does some of them.
    """
    places = {**PLACES, **(here or {})}
    pieces = text.split("`")
    for k in range(1, len(pieces), 2):
        words = [w for w in pieces[k].split() if w != "halfsplit"]
        pieces[k] = places.get(words[0] if words else "", HERE)
    return "".join(pieces)


def of_problem(text: str) -> str:
    """Words of a problem: a command that a page does is said as :func:`for_page` says it, anything
    else between backquotes is what somebody typed, and stays."""

    def said(found: re.Match[str]) -> str:
        words = [w for w in found[1].split() if w != "halfsplit"]
        return PLACES.get(words[0] if words else "", f"“{found[1]}”")

    return re.sub("`([^`]*)`", said, text)
