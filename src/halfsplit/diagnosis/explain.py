"""Reasons in words: what each suspect predicts for each reading taken, and how that fits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from halfsplit.diagnosis.evidence import Evidence
from halfsplit.diagnosis.noted import Noted
from halfsplit.diagnosis.posterior import MISTYPED, Belief, Lookup
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.predictions import Predictions
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

VAGUE = 0.3  # share of a prediction from which its two sigma are told
FITS, MISSES = 2.5, 4.0  # sigmas below which a reading supports, above which it contradicts


@dataclass(frozen=True)
class Reason:
    """One reading held against one hypothesis; `off` [sigma] by how far, None where there is no
    prediction."""

    evidence: Evidence
    predicted: float
    sigma: float
    verdict: str  # "supports", "neutral", "contradicts", "says nothing"
    words: str
    off: float | None = None

    @property
    def between(self) -> bool:
        """Whether it is neither near what is predicted nor far from it."""
        return self.verdict == "neutral" and self.off is not None and self.off > FITS

    @property
    def shown(self) -> float:
        """The prediction in volts, hertz or ohms; `sigma` of the last two stays relative."""
        return self.evidence.unscaled(self.predicted)

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "entry": self.evidence.number,
            "net": self.evidence.pos,
            "against": self.evidence.neg,
            "quantity": self.evidence.quantity,
            "read": None if self.evidence.over else self.evidence.value,
            "predicted": self.shown,
            "sigma": self.sigma,
            "off": None if self.off is None else round(self.off, 2),
            "verdict": self.verdict,
            "words": self.words,
        }


@dataclass(frozen=True)
class Suspect:
    """One hypothesis with its weight now, the readings and what else was noted for or against."""

    hypothesis: Hypothesis
    weight: float
    reasons: tuple[Reason, ...]
    noted: tuple[Noted, ...] = ()


@dataclass(frozen=True)
class SuspectGroup:
    """Suspects no reading on this bench separates."""

    suspects: tuple[Suspect, ...]
    weight: float


def _words(item: Evidence, x: float) -> str:
    """A value on the reading's scale as the meter shows it."""
    if item.quantity == "frequency":
        return show(item.unscaled(x), "Hz", 3)
    meter = item.ohmmeter
    if item.quantity == "amps":
        return show(x, "A", 3)
    if meter is None or meter.test == "diode":
        return volts(x if meter is None or x <= meter.ranges[-1].top else math.inf)
    value = meter.unscale(x) if math.isfinite(x) else math.inf
    return show(value if value <= meter.ranges[-1].top else math.inf, "ohm", 3)


def reasons(
    belief_prior: Belief,
    evidence: Sequence[Evidence],
    lookup: Lookup,
    hypotheses: Sequence[Hypothesis],
    index: int,
) -> list[Reason]:
    """Each reading against hypothesis `index`, with marked values (nothing learnt)."""
    found = []
    who = hypotheses[index]
    only = np.array([index, belief_prior.none])
    for item in evidence:
        table = lookup(item)
        expected = belief_prior.expect(table, item, only)
        mean, sigma = float(expected.mean[0]), float(expected.sigma[0])
        good, off = float(expected.mean[1]), 0.0
        where = item.pos if not item.neg else f"{item.pos} to {item.neg}"
        kind = {"ripple": "ripple ", "ac": "AC range ", "diode": "diode test "}.get(
            item.quantity, ""
        )
        read = f"{kind}{_words(item, item.scaled)}"
        if index == belief_prior.unmodelled or not expected.known[0]:
            words = f"{where}: no prediction; you read {read}"
            found.append(Reason(item, mean, sigma, "says nothing", words))
            continue
        if item.over and expected.over is not None:  # as many sigmas as its rarity amounts to
            chance = max(float(expected.over[0]), 1e-12)
            off = float(np.sqrt(-2.0 * np.log(chance)))
            moved = float(expected.over[1]) < 0.5
        else:
            off = float(expected.off(item.scaled)[0])
            moved = abs(mean - good) > 3 * sigma
        if off <= FITS:
            verdict = "supports" if moved or not who.faults else "neutral"
        else:
            verdict = "contradicts" if off > MISSES else "neutral"
        wide = item.quantity in ("volts", "amps") and 2 * sigma > VAGUE * abs(mean)
        vague = f", give or take {_words(item, 2 * sigma)}," if wide else ""
        lead = f"with {who.name}" if who.faults else "in a healthy machine"
        words = (
            f"{lead} you would read {kind}{_words(item, mean)}{vague} at {where} "
            f"({item.condition.words()}); you read {_words(item, item.scaled)}"
        )
        if verdict == "contradicts":
            words += mistyped(item, mean, sigma)
        both = ""
        if isinstance(table, Predictions) and item.quantity == "volts" and not item.neg:
            both = table.bistable(index, item.pos)
        words += f"; {both}" if both else ""
        found.append(Reason(item, mean, sigma, verdict, words, off))
    return found


def against(told: Sequence[Reason]) -> list[Reason]:
    """Those that contradict, and were not taken again since to fit."""
    return [r for r in told if r.verdict == "contradicts" and not retaken(r, told)]


def retaken(one: Reason, told: Sequence[Reason]) -> bool:
    """Whether a reading was taken again in the same place and did not come out so."""

    def place(item: Evidence) -> tuple[object, ...]:
        return item.pos, item.neg, item.quantity, item.condition

    old = one.evidence
    later = [r for r in told if r.evidence.number > old.number and place(r.evidence) == place(old)]
    return bool(later) and later[-1].verdict != "contradicts"


def mistyped(item: Evidence, mean: float, sigma: float) -> str:
    """Words for a reading that would fit with its point or sign put right, else nothing."""
    if item.ohmmeter is not None or abs(mean) < 3 * sigma:
        return ""
    for factor in MISTYPED:
        what = "its sign" if factor < 0 else "its decimal point"
        if abs(item.value / factor - mean) < FITS * sigma:
            return f"; with {what} put right it would fit ({volts(item.value / factor)})"
    return ""
