"""What speaks for and against suspects in few words: what tells nothing of one, counted and named,
and which verdicts and signs part those no reading tells apart."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from halfsplit.bench.words import KINDS
from halfsplit.diagnosis.explain import Reason, Suspect, SuspectGroup
from halfsplit.diagnosis.noted import Noted

NAMED = 6  # told by name; `suspects --all` and `--json` tell every one
SPEAK = ("supports", "contradicts")


def either_way(suspect: Suspect) -> dict[str, Any]:
    """Numbers of the entries, by what they leave open, and `words`, "" where there are none.

    `neutral` read as they would with nothing wrong, or are about as likely; `between` lie neither
    near what is predicted nor far from it; of `no_prediction` nothing is predicted.
    """
    read, noted = suspect.reasons, suspect.noted
    same = [r for r in read if r.verdict == "neutral" and not r.between]
    between = [r for r in read if r.between]
    blind = [r for r in read if r.verdict == "says nothing"]
    told = [n for n in noted if n.verdict == "neutral"]
    unknown = [n for n in noted if n.verdict == "says nothing"]
    lines = [
        _line(same, told, ("tells nothing either way", "tell nothing either way")),
        _line(between, (), ("lies between fitting and not", "lie between fitting and not")),
        _line(blind, unknown, ("has no prediction", "have no prediction")),
    ]
    return {
        "neutral": _numbers(same, told),
        "between": _numbers(between, ()),
        "no_prediction": _numbers(blind, unknown),
        "words": "; ".join(filter(None, lines)),
    }


def within(group: SuspectGroup) -> list[dict[str, Any]]:
    """Verdicts and signs that speak otherwise for others of a group than for its first, each with
    the names of those."""
    first, *others = group.suspects
    found = []
    for k, one in enumerate(first.noted):
        for verdict in SPEAK:
            if verdict == one.verdict:
                continue
            named = [s.hypothesis.name for s in others if s.noted[k].verdict == verdict]
            names = list(dict.fromkeys(named))
            if not names:
                continue
            more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
            found.append(
                {
                    "entry": one.of.number,
                    "verdict": verdict,
                    "suspects": names,
                    "words": f"{', '.join(names[:NAMED])}{more}: {one.of.head}",
                }
            )
    return found


def _numbers(read: Iterable[Reason], noted: Iterable[Noted]) -> list[int]:
    return sorted([*(r.evidence.number for r in read), *(n.of.number for n in noted)])


def _line(read: Sequence[Reason], noted: Sequence[Noted], verb: tuple[str, str]) -> str:
    verdicts = sum(n.of.kind == "verdict" for n in noted)
    counts = (len(read), "reading"), (verdicts, "verdict"), (len(noted) - verdicts, "sign")
    told = [f"{count} {word}" + ("" if count == 1 else "s") for count, word in counts if count]
    if not told:
        return ""
    many = len(read) + len(noted) != 1
    names = [*dict.fromkeys(map(_place, read)), *(n.of.head for n in noted)]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    counted = " and ".join(filter(None, (", ".join(told[:-1]), told[-1])))
    return f"{counted} {verb[many]}: {', '.join(names[:NAMED])}{more}"


def _place(one: Reason) -> str:
    item = one.evidence
    where = f"{item.pos} to {item.neg}" if item.neg else item.pos
    return where + KINDS.get(item.quantity, f" {item.quantity}")
