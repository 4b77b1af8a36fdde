"""What speaks for and against suspects, printed."""

from __future__ import annotations

from rich.markup import escape

from halfsplit.bench.speaks import SPEAK, either_way, within
from halfsplit.cli.show import out, say
from halfsplit.diagnosis.explain import SuspectGroup

HEADS = {
    "supports": "[green]fits:[/]",
    "contradicts": "[red]against:[/]",
    "neutral": "either way:",
    "between": "between:",
    "says nothing": "open:",
}


def reasons(group: SuspectGroup, whole: bool) -> None:
    """Of the first of a group: readings, then verdicts and signs, that speak; the others in one
    line, or with `whole` each on its own. Of the rest which verdicts and signs speak otherwise."""
    suspect = group.suspects[0]
    told = [("between" if r.between else r.verdict, r.words) for r in suspect.reasons]
    told += [(n.verdict, n.words) for n in suspect.noted]
    for verdict, words in told:
        if whole or verdict in SPEAK:
            out.print(f"     {HEADS[verdict]} {escape(words)}")
    for other in within(group):
        word = "fits" if other["verdict"] == "supports" else "against"
        say(f"     {word} {other['words']}")
    rest = "" if whole else either_way(suspect)["words"]
    if rest:
        say(f"     {rest}")
