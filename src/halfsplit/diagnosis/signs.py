"""What was seen, heard or smelt, and how likely each is under a hypothesis.

Every chance here is common practice, no published source: eyes and noses are good witnesses of
burnt and blown parts and poor ones of sound ones.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import Floats
from halfsplit.faults.hypotheses import Fault, Hypothesis
from halfsplit.faults.predictions import UNCLAIMED, Predictions

AUDIBLE = 16e3  # Hz; what most people past forty still hear
HUMS = 0.3  # V of ripple on a rail from which a machine hums or its lamps and lines show it


@dataclass(frozen=True)
class Sign:
    """One observation that weighs: of a part, or of the machine in a condition.

    Attributes
    ----------
    name: one of `OF_PART` or `OF_MACHINE`, or `TEMPERATURE`.
    part: reference designator, "" for one of the machine.
    condition: the state it was seen in.
    number: journal entry it came from.
    degrees: of a temperature [degC], else NaN.
    """

    name: str
    part: str
    condition: Condition
    number: int = 0
    degrees: float = math.nan


@dataclass(frozen=True)
class Witness:
    """Chance of a sign of a part under each of its faults, by mode, else when it is sound.

    `wrong` is the chance where it is not the part or fitting of the drawing.
    """

    modes: Mapping[str, float]
    sound: float
    wrong: float
    words: str


_BURNT = {"open": 0.4, "drifted high": 0.3, "short": 0.3, "c-e short": 0.2}
OF_PART: dict[str, Witness] = {
    "as-drawn": Witness({}, 0.98, 0.03, "its marking and fitting are those of the drawing"),
    "not-as-drawn": Witness({}, 0.02, 0.97, "its marking or fitting is not that of the drawing"),
    "blown": Witness({"open": 0.95}, 0.01, 0.01, "the fuse or trace has burnt through"),
    "burnt": Witness(_BURNT, 0.005, 0.02, "charred, discoloured or cracked by heat"),
    "bulged": Witness(
        {"short": 0.3, "leaky": 0.3, "value low": 0.3, "value half": 0.15, "fitted backwards": 0.5},
        0.03,
        0.03,
        "swollen, leaking, or its vent is open",
    ),
    # By the watts it takes for its size, where they are known: see `hot_chance`.
    "hot": Witness({}, 0.1, 0.1, "too hot to keep a finger on, in the condition it was felt in"),
    "cracked": Witness({"open": 0.3, "short": 0.1}, 0.01, 0.01, "broken body, seal or lead"),
}
# What lamps, gas tubes and fans show of the current they get; judged by what is solved for them.
SHINES, TURNS = ("lamp", "gas-tube"), ("fan",)
WORKING: dict[str, tuple[tuple[str, ...], str]] = {
    "lit": (SHINES, "as bright as it should be"),
    "dim": (SHINES, "glows, but well below what it should"),
    "dark": (SHINES, "no light"),
    "turning": (TURNS, "at its speed"),
    "slow": (TURNS, "turns, but well below its speed"),
    "stopped": (TURNS, "does not turn"),
}
TEMPERATURE = "temperature"  # of a part's case, by a thermometer: see diagnosis.warmth
OF_MACHINE = {
    "ticking": "ticks or clicks in a steady rhythm",
    "whine": "whines or whistles",
    "hum": "hums, or a picture or meter shows mains ripple",
    "quiet": "none of these",
}
# Share of its rated watts from which a part is about as likely as not to be called hot, and how
# sharply that sets in. A resistor at half its rating is too hot to hold.
HALF_HOT, ONSET = 0.4, 0.1
# Share of its nominal watts below which a lamp is dark or a fan stands, and above which it is
# called bright or turning; and how sharply either sets in. A filament at 30 % of its volts takes 15
# % of its watts and barely glows. Common practice, no published source.
DARK, BRIGHT = (0.12, 0.03), (0.5, 0.08)
HEARD, IMAGINED = 0.85, 0.04  # chance of a sound being noted when it is there, and when it is not


def exclude(one: str, other: str) -> bool:
    """Whether two signs of one part, or of the machine, cannot both be right at a time."""
    both = {one, other}
    if len(both) == 1:
        return False
    if both == {"as-drawn", "not-as-drawn"} or both <= WORKING.keys():
        return True
    return "quiet" in both and both <= OF_MACHINE.keys()


def likelihood(
    sign: Sign, listed: Sequence[Hypothesis], table: Predictions | None, rails: Sequence[str]
) -> Floats:
    """Chance of a sign under each hypothesis (H); `table` in its condition, for the machine's."""
    if sign.part:
        return np.array([_of_part(sign, h) for h in listed])
    assert table is not None
    there = {
        "ticking": table.status == int(Status.RESTARTING),
        "whine": (table.status == int(Status.OSCILLATING)) & (table.period * AUDIBLE > 1.0),
        "hum": _hums(table, rails),
    }
    if sign.name == "quiet":
        silent = ~np.logical_or.reduce(list(there.values()))
        chance = np.where(silent, 1.0 - 3 * IMAGINED, 1.0 - HEARD)
    else:
        chance = np.where(there[sign.name], HEARD, IMAGINED)
    return np.where(np.isin(table.status, UNCLAIMED), 0.3, chance)


def _hums(table: Predictions, rails: Sequence[str]) -> np.ndarray:
    columns = [table.column(n) for n in rails]
    if not columns or not len(table.ripple):
        return np.zeros(len(table.status), dtype=bool)
    beats = table.period == 0.0  # what keeps time by itself ripples at its own rate
    return np.asarray((np.nan_to_num(table.ripple[:, columns]) > HUMS).any(axis=1) & beats)


def hot_chance(share: Floats) -> Floats:
    """Chance that a part taking this share of its rated watts is called hot; NaN shares, of parts
    whose watts or rating are not known, say nothing."""
    felt = 0.03 + 0.94 / (1.0 + np.exp(-np.clip((share - HALF_HOT) / ONSET, -60.0, 60.0)))
    return np.where(np.isfinite(share), felt, 0.3)


def working_chance(name: str, share: Floats) -> Floats:
    """Chance of a sign of `WORKING` for a part that gets this share of its nominal watts; NaN
    shares, of cases not solved, say nothing."""
    steps = [
        1.0 / (1.0 + np.exp(-np.clip((share - at) / wide, -60.0, 60.0)))
        for at, wide in (DARK, BRIGHT)
    ]
    there = {"dark": 1.0 - steps[0], "lit": steps[1]}
    there["dim"] = np.clip(1.0 - there["dark"] - there["lit"], 0.0, 1.0)
    same = {"stopped": "dark", "turning": "lit", "slow": "dim"}
    seen = IMAGINED + (1.0 - 3 * IMAGINED) * there[same.get(name, name)]
    return np.where(np.isfinite(share), seen, 1.0 / 3.0)


def _of_part(sign: Sign, hypothesis: Hypothesis) -> float:
    mine = [f for f in hypothesis.faults if f.part == sign.part and f.present(sign.condition)]
    return _given(OF_PART[sign.name], mine)


def _given(witness: Witness, faults: Sequence[Fault]) -> float:
    """Chance given the part's faults; of several the one that decides the sign counts."""
    if not faults:
        return witness.sound
    wrong = any(f.cause == "wrong" for f in faults)
    if witness.wrong < witness.sound:  # a sign that all is as drawn: any wrongness spoils it
        return witness.wrong if wrong else witness.sound
    found = [witness.modes.get(f.mode, witness.sound) for f in faults]
    return max([*found, witness.wrong] if wrong else found)


def look_outcomes(ref: str, listed: Sequence[Hypothesis], condition: Condition) -> Floats:
    """Chance of finding a part as drawn, and not, under each hypothesis (H, 2)."""
    seen = likelihood(Sign("as-drawn", ref, condition), listed, None, ())
    return np.column_stack([seen, 1.0 - seen])
