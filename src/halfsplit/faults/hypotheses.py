"""Every single fault the parts of a machine can have, each with its prior weight and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from halfsplit.assembly.model import Assembly
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import Part

NONE = "no fault"
UNMODELLED = "something not in this model"

# A machine is on the bench because something is wrong; these two keep the door open.
# Common practice, no published source.
PRIOR_NONE = 0.03
PRIOR_UNMODELLED = 0.03

# Multiplies the handbook's rate of a new part for one about fifty years old. Wet and tantalum
# capacitors lead, as every restorer finds. Common practice, no published source.
AGEING = {
    "electrolytic": 10.0,
    "tantalum": 30.0,
    "potentiometer": 3.0,
    "switch": 5.0,
    "connector": 5.0,
    "paper-capacitor": 30.0,
    "selenium": 10.0,
    # A handbook's valve burns all its hours, one of these stood dark for decades.
    **dict.fromkeys(("triode", "pentode", "tube-rectifier", "gas-tube"), 0.05),
    "lamp": 0.05,  # the handbook counts hours lit; these stood dark for decades
}
# Suspicion of a part an earlier repairer touched. Common practice, no published source.
TOUCHED = 5.0


@dataclass(frozen=True)
class Hypothesis:
    """One explanation of how the machine stands.

    Attributes
    ----------
    name: such as "C4 short".
    part: reference designator, or "" for the two that blame no part.
    prior: weight before any reading; all hypotheses together sum to 1.
    changes: parameter values that make the fault.
    look: what the part shows out of circuit if this is true.
    why: how the prior came about, in words.
    """

    name: str
    part: str
    mode: str
    prior: float
    changes: Overrides
    look: str
    why: str


def weight(part: Part, touched: bool) -> tuple[float, str]:
    """Relative weight of this part having failed at all, and the words for it."""
    rate = part.rate()
    age = AGEING.get(part.KIND, 1.0)
    words = [f"{rate.per_million_hours:g} per million hours ({rate.source})"]
    if age != 1.0:
        words.append(f"× {age:g} for its age and kind")
    value = rate.per_million_hours * age
    if touched:
        value *= TOUCHED
        words.append(f"× {TOUCHED:g}: touched before")
    return value, " ".join(words)


def single_faults(assembly: Assembly, touched: Iterable[str] = ()) -> list[Hypothesis]:
    """No fault, something not in the model, then every mode of every part; priors sum to 1."""
    marked = {t.lower() for t in touched}
    raw: list[tuple[Part, str, float, Overrides, str, str]] = []
    for part in assembly.parts.values():
        suspicious = part.touched is not None or part.ref.lower() in marked
        value, why = weight(part, suspicious)
        for mode in part.modes():
            raw.append((part, mode.name, value * mode.share, mode.changes, mode.look, why))
    total = sum(item[2] for item in raw) or 1.0
    scale = (1.0 - PRIOR_NONE - PRIOR_UNMODELLED) / total
    found = [
        Hypothesis(NONE, "", "", PRIOR_NONE, {}, "", "kept open"),
        Hypothesis(UNMODELLED, "", "", PRIOR_UNMODELLED, {}, "", "kept open"),
    ]
    for part, mode_name, value, changes, look, why in raw:
        name = f"{part.ref} {mode_name}"
        found.append(Hypothesis(name, part.ref, mode_name, value * scale, changes, look, why))
    return found
