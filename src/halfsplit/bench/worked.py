"""How hard a part works under each hypothesis, for what a finger, an eye or an ear says of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from halfsplit.diagnosis.signs import Sign
from halfsplit.faults.dictionary import Floats
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.stress import Stress, stresses

if TYPE_CHECKING:
    from halfsplit.bench.reasoning import Reasoner


def share_of_rating(bench: Reasoner, sign: Sign, listed: Sequence[Hypothesis]) -> Floats:
    """Watts of a part over its rating under each hypothesis (H); NaN where unknown."""
    found, place = _stress(bench, sign, listed)
    mine = [
        k
        for k, limit in enumerate(found.limits)
        if limit.part == sign.part and limit.quantity == "watts"
    ]
    share = found.ratios[:, mine].max(axis=1) if mine else np.full(len(found.status), np.nan)
    return np.asarray(share[place])


def share_of_nominal(bench: Reasoner, sign: Sign, listed: Sequence[Hypothesis]) -> Floats:
    """Watts a lamp or fan gets over its nominal ones, current of a gas tube over the least it
    burns at, under each hypothesis (H); none where a fan is stuck, NaN where not solved."""
    found, place = _stress(bench, sign, listed)
    part, k = bench.assembly.parts[sign.part], found.parts.index(sign.part)
    if part.KIND == "gas-tube":
        share = found.amps[:, k] / part.__dict__["min_current"]
    else:
        share = found.watts[:, k] / (part.__dict__["volts"] * part.__dict__["amps"])
    share = np.asarray(share[place])
    held = [any((f.part, f.mode) == (sign.part, "stuck") for f in h.faults) for h in listed]
    return np.where(held, 0.0, share)


def _stress(bench: Reasoner, sign: Sign, listed: Sequence[Hypothesis]) -> tuple[Stress, list[int]]:
    """Stress of each different state of the machine in a sign's condition, and the row of each
    hypothesis (H)."""
    laid = [h.laid(sign.condition) for h in listed]
    keys = [repr(sorted(one.items())) for one in laid]
    order = dict.fromkeys(keys)
    rows = [laid[keys.index(k)] for k in order]
    found = stresses(bench.machine, sign.condition.as_drawn(), rows, progress=bench.progress)
    place = {k: i for i, k in enumerate(order)}
    return found, [place[k] for k in keys]
