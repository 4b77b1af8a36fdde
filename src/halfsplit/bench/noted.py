"""Verdicts and signs in force as a journal has them, each held against suspects."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from halfsplit.bench.felt import by_watts
from halfsplit.diagnosis.noted import NONE, UNMODELLED, Noted, Testimony, hold
from halfsplit.diagnosis.posterior import sign_taken, verdict_taken
from halfsplit.diagnosis.signs import OF_MACHINE, TEMPERATURE, WORKING, Sign
from halfsplit.faults.hypotheses import Hypothesis

if TYPE_CHECKING:
    from halfsplit.bench.reasoning import Reasoner

HEARD = {
    "ticking": "the machine ticks",
    "whine": "the machine whines",
    "hum": "the machine hums",
    "quiet": "the machine is quiet",
}


def noted_of(bench: Reasoner, indices: Sequence[int]) -> dict[int, tuple[Noted, ...]]:
    """Every verdict and sign in force, in order, against some of the hypotheses in play.

    Held beside every single fault, those of parts fitted here too, which are solved for them in any
    case.
    """
    if not (bench.verdicts() or bench.verdicts(new=True) or bench.signs()):
        return dict.fromkeys(indices, ())
    hypotheses = bench.hypotheses
    new = [h for h in hypotheses if len(h.faults) == 1 and h.faults[0].cause == "fresh"]
    standard = [*bench.standard, *new]
    at = {h.key: k for k, h in enumerate(standard) if h.faults}
    at_index, further = dict[int, int](), list[int]()
    for i in dict.fromkeys(indices):
        h = hypotheses[i]
        if not h.faults:
            at_index[i] = i  # both lists begin with the two without
        elif h.key in at:
            at_index[i] = at[h.key]
        else:
            at_index[i] = len(standard) + len(further)
            further.append(i)
    listed = [*standard, *(hypotheses[i] for i in further)]
    known = {h.key: float(w) for h, w in zip(hypotheses, bench.belief.weights(), strict=True)}
    weights = np.array([known.get(h.key, 0.0) for h in listed])
    told = testimonies(bench, listed)
    return {i: tuple(hold(t, listed, weights, k) for t in told) for i, k in at_index.items()}


def testimonies(bench: Reasoner, listed: Sequence[Hypothesis]) -> list[Testimony]:
    """What is weighed beside readings, in the order of the journal; `listed` begins with the two
    hypotheses without faults."""
    found = [
        Testimony(
            number,
            "verdict",
            ref,
            "good" if good else "bad",
            f"{'new ' if new else ''}{ref} tested {'good' if good else 'bad'} (#{number})",
            verdict_taken([h.blames(ref, new) for h in listed], good),
        )
        for new in (False, True)
        for number, ref, good in bench.verdicts(new)
    ]
    found += [_sign(bench, sign, listed) for sign in bench.signs()]
    return sorted(found, key=lambda t: t.number)


def _sign(bench: Reasoner, sign: Sign, listed: Sequence[Hypothesis]) -> Testimony:
    felt = bench.noted_chance(sign, listed)
    watts = by_watts(sign)
    read = sign.degrees if sign.name == TEMPERATURE else None
    there = sign.condition.words() if watts or sign.name in OF_MACHINE else ""
    return Testimony(
        sign.number,
        "sign",
        sign.part,
        sign.name,
        f"{said(sign.name, sign.part, sign.degrees)} (#{sign.number})",
        sign_taken(felt.chance, NONE, UNMODELLED),
        felt.value if watts else None,
        _measure(bench, sign) if watts else "",
        read,
        there,
    )


def said(name: str, part: str, degrees: float) -> str:
    """A sign in words."""
    if name in HEARD:
        return HEARD[name]
    if name == TEMPERATURE:
        return f"{part} {degrees:g} °C at its case"
    return f"{part} {name.replace('-', ' ')}"


def _measure(bench: Reasoner, sign: Sign) -> str:
    if sign.name == TEMPERATURE:
        return "degC"
    if sign.name not in WORKING:
        return "its rated watts"
    tube = bench.machine.assembly.parts[sign.part].KIND == "gas-tube"
    return "the least current it burns at" if tube else "its nominal watts"
