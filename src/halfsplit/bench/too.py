"""Parts to see to beside the leading suspect: what it may have taken along, what was tested bad."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from halfsplit.diagnosis.groups import Group
from halfsplit.faults.cascades import Taken
from halfsplit.faults.hypotheses import Hypothesis, together

if TYPE_CHECKING:
    from halfsplit.bench.noting import Noter
    from halfsplit.bench.session import Session

NAMED = 0.05  # chance from which a part that may have been taken along is worth a look


def tested_bad(bench: Noter) -> list[str]:
    """Parts tested bad last and not replaced since."""
    bad = {ref for ref, good in dict(bench.proofs()).items() if not good}
    new = {ref for ref, good in dict(bench.fresh_proofs()).items() if not good}
    return sorted(bad - bench.condition.fitted | new)


def check_too(bench: Session, lead: Group) -> list[dict[str, Any]]:
    """Parts the leading faults may have taken along, likeliest first, with how far overstressed.

    `chance` is that it failed in the way it would, after all readings; `before` what the overstress
    alone says. A part stays named when readings speak for it: it may have failed in another way.
    """
    fitted = bench.condition.fitted
    found: dict[str, dict[str, Any]] = {}
    own = {p for i in lead.members[:3] for p in bench.hypotheses[i].parts}
    for i in lead.members[:3]:
        base = bench.hypotheses[i]
        for fault in base.faults:
            for taken in bench.taken_along(fault.name):
                known = found.get(taken.part)
                if taken.part in own | fitted or taken.chance < NAMED:
                    continue
                if known is None or known["before"] < taken.chance:
                    now = _after_readings(bench, base, taken)
                    row = {"because": fault.name, **taken._asdict()}
                    found[taken.part] = row | {"chance": round(now, 4), "before": taken.chance}
    return sorted(found.values(), key=lambda v: (-v["chance"], v["part"]))


def _after_readings(bench: Session, base: Hypothesis, taken: Taken) -> float:
    """Chance that a set took a part along, given everything read; that of the overstress alone
    where nothing was read or the two together take seconds to solve."""
    further = next(
        (h for h in bench.standard if h.name == f"{taken.part} {taken.mode}"),
        None,
    )
    if further is None or not base.faults or not bench.evidence() or bench.dear():
        return taken.chance
    fault = further.faults[0]
    both = together([*base.faults, fault], base.boost * bench.boost(base, fault))
    if bench.prepare([both], [base]) != [0]:
        return taken.chance
    weights = bench.weigh([*bench.standard[:2], base, both], True).weights()
    return float(weights[3] / max(weights[2] + weights[3], 1e-300))
