"""Verdicts and signs held against a suspect: how likely each is with it, against nothing wrong."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from halfsplit.faults.dictionary import Floats
from halfsplit.faults.hypotheses import Hypothesis

# Times from which a verdict or a sign is said to speak; the weights count whatever it is. Common
# practice, no published source.
TELLS = 2.0
NONE, UNMODELLED = 0, 1  # their places in every list of hypotheses
MOST_TIMES = 1000.0  # beyond it the chances are not known well enough for a number


@dataclass(frozen=True)
class Testimony:
    """A verdict or a sign in force, with what is expected of it under each hypothesis.

    Attributes
    ----------
    number: journal entry it came from.
    part: reference designator, "" for a sign of the machine.
    said: "good" or "bad" of a verdict, else the sign.
    head: it in words, such as "C4 tested bad (#7)". where: in which condition, if that counts.
    chance: of it under each hypothesis (H), as it is weighed.
    value: what that chance is judged by (H), NaN where it is not known; None where by nothing.
    measure: what the value is: "degC", or what it is a share of.
    read: what was read where it is no word, degrees of a case [degC].
    """

    number: int
    kind: Literal["verdict", "sign"]
    part: str
    said: str
    head: str
    chance: Floats
    value: Floats | None = None
    measure: str = ""
    read: float | None = None
    where: str = ""


@dataclass(frozen=True)
class Noted:
    """One verdict or sign held against one hypothesis.

    Attributes
    ----------
    chance, healthy: of it with the suspect, and with nothing wrong.
    best, best_name: the highest chance under any fault, and the likeliest of those that have it.
    predicted, healthy_value: what it is judged by, with the suspect and with nothing wrong.
    verdict: "supports", "neutral", "contradicts", "says nothing".
    """

    of: Testimony
    chance: float
    healthy: float
    best: float
    best_name: str
    predicted: float | None
    healthy_value: float | None
    verdict: str
    words: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``; `ratio` is the chance over that with nothing wrong, `ratio_best` over
        that with the fault under which it is likeliest."""
        item = self.of
        return {
            "entry": item.number,
            "kind": item.kind,
            "part": item.part,
            "said": item.said,
            "read": item.read,
            "predicted": None if self.predicted is None else _short(self.predicted),
            "predicted_no_fault": (
                None if self.healthy_value is None else _short(self.healthy_value)
            ),
            "measure": item.measure,
            "chance": _short(self.chance),
            "chance_no_fault": _short(self.healthy),
            "ratio": _short(self.chance / self.healthy),
            "best": self.best_name,
            "ratio_best": _short(self.chance / self.best),
            "verdict": self.verdict,
            "words": self.words,
        }


def hold(item: Testimony, listed: Sequence[Hypothesis], weights: Floats, index: int) -> Noted:
    """A verdict or sign against hypothesis `index` of `listed`, those without faults first.

    `weights` (H) are those after everything; they only choose which of several equal is named.
    """
    faulty = np.array([bool(h.faults) for h in listed])
    chance, healthy = float(item.chance[index]), float(item.chance[NONE])
    others = np.where(faulty, item.chance, 0.0)
    best = float(others.max(initial=0.0)) or healthy
    first = int(np.argmax(np.where(others > 0.999 * best, 1.0 + weights, 0.0)))
    name = listed[first].name if faulty.any() else ""
    predicted, usual = (_known(item.value, i) for i in (index, NONE))
    blind = index == UNMODELLED or (item.value is not None and predicted is None)
    least = float(item.chance[faulty].min(initial=healthy))
    if blind:
        verdict = "says nothing"
    elif chance >= TELLS * healthy:
        verdict = "supports"
    elif TELLS * chance <= max(healthy, best):
        verdict = "contradicts"
    elif index == NONE and chance >= TELLS * least:
        verdict = "supports"
    else:
        verdict = "neutral"
    found = Noted(item, chance, healthy, best, name, predicted, usual, verdict, "")
    told = _words(found, listed[index])
    return Noted(item, chance, healthy, best, name, predicted, usual, verdict, told)


def _words(one: Noted, who: Hypothesis) -> str:
    p, q = one.chance, one.healthy
    head = f"{one.of.head}, {one.of.where}" if one.of.where else one.of.head
    here = who.name if who.faults else "nothing wrong"
    if one.verdict == "says nothing":
        return f"{head}: no prediction"
    if one.verdict == "supports" and not who.faults:
        return f"{head}: as it should be with nothing wrong"
    if one.verdict == "supports":
        said = f"{_times(p / q)} likelier with {here} than with nothing wrong"
    elif one.verdict == "contradicts" and TELLS * p <= q:
        said = f"{_times(q / p)} less likely with {here} than with nothing wrong"
    elif one.verdict == "contradicts":
        said = f"{_times(one.best / p)} likelier with {one.best_name} than with {here}"
    elif who.faults:
        said = f"about as likely with {here} as with nothing wrong"
    else:
        said = "about as likely whatever is wrong"
    return f"{head}: {said}{_expected(one, who)}"


def _expected(one: Noted, who: Hypothesis) -> str:
    """What it is judged by, with the suspect and with nothing wrong."""
    if one.predicted is None:
        return ""
    usual = ""
    if who.faults and one.healthy_value is not None:
        usual = f", {_value(one.healthy_value, one.of.measure)} with nothing wrong"
    value = _value(one.predicted, one.of.measure)
    if one.of.measure == "degC":
        return f"; you would read {value}{usual}"
    verb = "take" if one.of.said == "hot" else "get"
    return f"; it would {verb} {value} of {one.of.measure}{usual}"


def _value(value: float, measure: str) -> str:
    return f"{value:.0f} °C" if measure == "degC" else f"{100.0 * value:.0f} %"


def _times(ratio: float) -> str:
    if ratio > MOST_TIMES:
        return f"over {MOST_TIMES:.0f} times"
    return f"{ratio:.0f} times" if ratio >= 10.0 else f"{ratio:.1f} times".replace(".0 ", " ")


def _known(values: Floats | None, index: int) -> float | None:
    if values is None or not math.isfinite(values[index]):
        return None
    return float(values[index])


def _short(value: float) -> float:
    """Four figures and six places: nothing here is known better."""
    return round(float(f"{value:.4g}"), 6)
