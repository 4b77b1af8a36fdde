"""Wrong parts found in a part's place: what somebody fits by mistake, or to get going.

Shares are common practice, no published source: an earlier repairer takes the nearest value in the
drawer, slips a decade on the colour code, or turns a part end for end.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import PRACTICE, Mode, Part
from halfsplit.quantity.eseries import next_above, next_below

AT = 1e-3  # A at which the forward drop of a diode fitted end for end is matched


def fitted(part: Part, **fields: Any) -> Overrides:
    """What the circuit becomes with other fields of the part, such as ``value=6.8``."""
    other = part.model_copy(update=fields)
    return {
        (e.name, name): value
        for e in other.elements()
        for name, value in zip(e.PARAMS, e.vector(), strict=True)
    }


def other_values(part: Part, field: str, marked: Mapping[str, str]) -> list[tuple[str, float, Any]]:
    """Names, shares and values of the wrong values of a field: a decade off, or a neighbour.

    `marked` gives the words of the two neighbours; shares sum to 1.
    """
    value = float(part.__dict__[field])
    return [
        ("a decade high", 0.25, 10.0 * value),
        ("a decade low", 0.25, 0.1 * value),
        (marked["above"], 0.25, next_above("E12", 1.001 * value)),
        (marked["below"], 0.25, next_below("E12", 0.999 * value)),
    ]


def value_misfits(part: Part, field: str = "value") -> list[Mode]:
    """Modes of a part whose one value was mistaken."""
    words = {"above": "next value up", "below": "next value down"}
    return [
        Mode(name, share, PRACTICE, fitted(part, **{field: value}), f"marked {name} of the drawing")
        for name, share, value in other_values(part, field, words)
    ]


def turned_diode(ref: str, junction: Mapping[str, float]) -> Overrides:
    """Parameters of a diode element that acts as the same diode fitted end for end.

    Forward conduction becomes breakdown at the forward drop, and breakdown conduction.
    """
    full = {**el.Diode.PARAMS, **junction}
    drop = full["nvt"] * math.log(AT / full["is"]) if full["is"] > 0 else 1e6
    onset = 0.0
    if full["ibv"] > 0:
        onset = full["ibv"] * math.exp(max(-full["bv"] / full["nbv"], -600.0))
    return {
        (ref, "is"): onset,
        (ref, "nvt"): full["nbv"],
        (ref, "bv"): drop,
        (ref, "ibv"): AT,
        (ref, "nbv"): full["nvt"],
        (ref, "tt"): 0.0,
    }
