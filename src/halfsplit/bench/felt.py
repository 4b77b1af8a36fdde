"""How hard a part works under each hypothesis, and the chance of what was felt or measured."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from halfsplit.assembly.lower import Machine
from halfsplit.circuit.threads import Progress
from halfsplit.diagnosis.posterior import Floats
from halfsplit.diagnosis.signs import TEMPERATURE, WORKING, Sign, hot_chance, working_chance
from halfsplit.diagnosis.warmth import case_to_air, chance
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.stress import Stress, stresses

if TYPE_CHECKING:
    from halfsplit.bench.reasoning import Reasoner


class Felt(NamedTuple):
    """Of one sign under each hypothesis (H).

    Attributes
    ----------
    chance: of it being noted.
    value: what that is judged by: degrees of a case [degC], share of the rated watts of a part felt
        hot, of the nominal ones of a lamp or fan, of the least current of a gas tube; NaN where
        not solved or not known.
    """

    chance: Floats
    value: Floats


def by_watts(sign: Sign) -> bool:
    """Whether a sign is judged by the watts or amperes its part takes."""
    warm = sign.name in ("hot", TEMPERATURE) and sign.condition.energised()
    return warm or sign.name in WORKING


def felt_kept(bench: Reasoner, sign: Sign, listed: Sequence[Hypothesis]) -> Felt:
    """:func:`felt`, of the standard sets worked out once."""
    standard = bench.standard
    count = len(standard)
    if list(listed[:count]) != standard:
        return felt(bench.machine, sign, listed, bench.progress)
    known = bench.__dict__.setdefault("_felt_before", {})
    if known.get("of") is not bench.book:
        known.clear()
        known["of"] = bench.book
    if sign not in known:
        known[sign] = felt(bench.machine, sign, standard, bench.progress)
    first, others = known[sign], listed[count:]
    if not others:
        return Felt(first.chance, first.value)
    more = felt(bench.machine, sign, [*standard[:2], *others], bench.progress)
    both = [np.concatenate([a, b[2:]]) for a, b in zip(first, more, strict=True)]
    return Felt(both[0], both[1])


def felt(
    machine: Machine, sign: Sign, listed: Sequence[Hypothesis], progress: Progress | None
) -> Felt:
    """Chance of a part being called hot, of its case's temperature, or of how a lamp or fan works,
    under each."""
    laid = [h.laid(sign.condition) for h in listed]
    keys = [repr(sorted(one.items())) for one in laid]
    order = list(dict.fromkeys(keys))
    rows = [laid[keys.index(k)] for k in order]
    found = stresses(machine, sign.condition.as_drawn(), rows, progress=progress)
    place = {k: i for i, k in enumerate(order)}
    at = [place[k] for k in keys]
    if sign.name == TEMPERATURE:
        part = machine.fitted(machine.assembly.parts[sign.part], sign.condition)
        path = case_to_air(part)
        watts = found.watts[:, found.parts.index(sign.part)]
        if path is None:  # the file told once and no longer does
            watts, path = np.full(len(rows), np.nan), 0.0
        told = chance(sign.degrees, watts, path, sign.condition.ambient)
        return Felt(np.asarray(told[at]), np.asarray((sign.condition.ambient + path * watts)[at]))
    if sign.name in WORKING:
        share = np.asarray(_share_of_nominal(machine, found, sign.part)[at])
        stuck = [any((f.part, f.mode) == (sign.part, "stuck") for f in h.faults) for h in listed]
        share = np.where(stuck, 0.0, share)
        return Felt(working_chance(sign.name, share), share)
    share = _share_of_watts(found, sign.part)
    return Felt(np.asarray(hot_chance(share)[at]), np.asarray(share[at]))


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
