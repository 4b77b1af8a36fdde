"""How hard a part works under each hypothesis, and the chance of what was felt or measured."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from halfsplit.assembly.lower import Machine
from halfsplit.circuit.threads import Progress
from halfsplit.diagnosis.posterior import Floats
from halfsplit.diagnosis.signs import TEMPERATURE, WORKING, Sign, hot_chance, working_chance
from halfsplit.diagnosis.warmth import case_to_air, chance
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.stress import Stress, stresses


def felt(
    machine: Machine, sign: Sign, listed: Sequence[Hypothesis], progress: Progress | None
) -> Floats:
    """Chance of a part being called hot, of its case's temperature, or of how a lamp or fan works,
    under each (H)."""
    laid = [h.laid(sign.condition) for h in listed]
    keys = [repr(sorted(one.items())) for one in laid]
    order = list(dict.fromkeys(keys))
    rows = [laid[keys.index(k)] for k in order]
    found = stresses(machine, sign.condition.as_drawn(), rows, progress=progress)
    if sign.name == TEMPERATURE:
        part = machine.fitted(machine.assembly.parts[sign.part], sign.condition)
        path = case_to_air(part)
        watts = found.watts[:, found.parts.index(sign.part)]
        if path is None:  # the file told once and no longer does
            watts, path = np.full(len(rows), np.nan), 0.0
        told = chance(sign.degrees, watts, path, sign.condition.ambient)
    elif sign.name in WORKING:
        told = _share_of_nominal(machine, found, sign.part)
    else:
        told = hot_chance(_share_of_watts(found, sign.part))
    place = {k: i for i, k in enumerate(order)}
    told = np.asarray(told[[place[k] for k in keys]])
    if sign.name in WORKING:
        stuck = [any((f.part, f.mode) == (sign.part, "stuck") for f in h.faults) for h in listed]
        told = working_chance(sign.name, np.where(stuck, 0.0, told))
    return told


def _share_of_watts(found: Stress, part: str) -> Floats:
    """Watts of a part over its rating (H); NaN where unknown."""
    mine = [k for k, x in enumerate(found.limits) if x.part == part and x.quantity == "watts"]
    if not mine:
        return np.full(len(found.ratios), np.nan)
    return np.asarray(found.ratios[:, mine].max(axis=1))


def _share_of_nominal(machine: Machine, found: Stress, ref: str) -> Floats:
    """Watts a lamp or fan gets over its nominal ones, current of a gas tube over the least it
    burns at (H); NaN where not solved."""
    part, k = machine.assembly.parts[ref], found.parts.index(ref)
    if part.KIND == "gas-tube":
        return np.asarray(found.amps[:, k] / part.__dict__["min_current"])
    return np.asarray(found.watts[:, k] / (part.__dict__["volts"] * part.__dict__["amps"]))
