"""The power check of a machine on the bench: its present condition, its suspects, its journal."""

from __future__ import annotations

from typing import Any

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.bench.hazards import MEASURE, at_limiters, before_touching, present
from halfsplit.bench.markings import marked_fuses
from halfsplit.bench.session import Session
from halfsplit.bringup.power import PowerCheck, power_check
from halfsplit.bringup.touch import untouchable
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.quantity.volts import volts

LEAST_WEIGHT = 0.02  # weight above which a suspect is looked at unless told otherwise
MOST = 40  # suspects looked at, heaviest first


def live_suspects(bench: Session, least: float = LEAST_WEIGHT) -> list[tuple[Hypothesis, float]]:
    """Suspects that blame a part and weigh at least `least`, heaviest first."""
    weights = bench.belief.weights()
    listed = [(h, float(w)) for h, w in zip(bench.hypotheses, weights, strict=True) if h.faults]
    return sorted([c for c in listed if c[1] >= least], key=lambda c: -c[1])[:MOST]


def check_power(
    bench: Session, condition: Condition, least: float = LEAST_WEIGHT, propose: bool = True
) -> PowerCheck:
    """Power check of a condition with the suspects that are left."""
    return power_check(
        bench.machine,
        condition,
        live_suspects(bench, least),
        marked=marked_fuses(bench),
        propose=propose,
        progress=bench.progress,
    )


def over_touch(machine: Machine, check: PowerCheck) -> list[str]:
    """Reservoirs that would hold more than may be touched, at the volts they would reach."""
    found = []
    for item in check.inrush:
        farads = float(machine.assembly.parts[item.part].__dict__["value"])
        level = (2.0 * item.joules / farads) ** 0.5
        words = untouchable(level, farads)
        if words:
            found.append(f"{item.part} would stand at {volts(level)}: {words}")
    return found


def power_dict(bench: Session, condition: Condition, least: float = LEAST_WEIGHT) -> dict[str, Any]:
    """The check as plain data, with the cautions that belong to this step."""
    check = check_power(bench, condition, least)
    gone = bench.discharged()
    # What is charged is told once, with what to do before hands go in.
    there = [c for c in present(bench.machine, condition, gone) if not c.endswith(MEASURE)]
    touching = before_touching(bench.machine, bench.condition, gone)
    return check.as_dict() | {
        "at": check.at,
        "least_weight": least,
        "cautions": [
            *at_limiters(bench.machine, condition),
            *there,
            *over_touch(bench.machine, check),
            *(c for c in touching if c not in there),
            "local wiring rules and licensed-practice limits come first; eyes and face out of line "
            "with capacitors at first power",
        ],
    }
