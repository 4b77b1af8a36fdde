"""Reasons in words: what each suspect predicts for each reading taken, and how that fits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from halfsplit.diagnosis.evidence import Evidence
from halfsplit.diagnosis.posterior import Belief, Lookup
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.quantity.volts import volts

FITS, MISSES = 2.5, 4.0  # sigmas below which a reading supports, above which it contradicts


@dataclass(frozen=True)
class Reason:
    """One reading held against one hypothesis."""

    evidence: Evidence
    predicted: float
    sigma: float
    verdict: str  # "supports", "neutral", "contradicts", "says nothing"
    words: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "entry": self.evidence.number,
            "net": self.evidence.pos,
            "read": self.evidence.value,
            "predicted": self.predicted,
            "sigma": self.sigma,
            "verdict": self.verdict,
            "words": self.words,
        }


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
    for item in evidence:
        table = lookup(item)
        expected = belief_prior.expect(table, item)
        mean, sigma = float(expected.mean[index]), float(expected.sigma[index])
        good, off = float(expected.mean[belief_prior.none]), 0.0
        where = item.pos if not item.neg else f"{item.pos} to {item.neg}"
        unit = "ripple " if item.quantity == "ripple" else ""
        if index == belief_prior.unmodelled or not expected.known[index]:
            words = f"{where}: no prediction; you read {unit}{volts(item.value)}"
            found.append(Reason(item, mean, sigma, "says nothing", words))
            continue
        off = abs(item.value - mean) / sigma
        moved = abs(mean - good) > 3 * sigma
        if off <= FITS:
            verdict = "supports" if moved or not who.part else "neutral"
        else:
            verdict = "contradicts" if off > MISSES else "neutral"
        lead = f"with {who.name}" if who.part else "in a healthy machine"
        words = (
            f"{lead} you would read {unit}{volts(mean)} at {where} ({item.condition.words()}); "
            f"you read {volts(item.value)}"
        )
        both = "" if item.neg or unit else table.bistable(index, item.pos)
        words += f"; {both}" if both else ""
        found.append(Reason(item, mean, sigma, verdict, words))
    return found
