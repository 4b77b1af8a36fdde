"""What works far harder than it should without passing a rating, and ripple nobody rated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.rules import life_factor
from halfsplit.circuit.solution import Status
from halfsplit.faults.melting import Cleared
from halfsplit.faults.ratings import MADE_FOR_SINK, thermal_path
from halfsplit.faults.stress import Stress
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# Watts a part must take, and times what it takes when all is well, to be worth a line: heat that
# scorches what is beside it long before a rating is passed. Common practice, no published source.
HARDER, LEAST = 2.0, 0.5
MUCH = 0.1  # A of ripple from which an unrated electrolytic is told; common practice
# An electrolytic at its rated ripple current is about this much warmer inside than its case, and
# that goes with the square of the current. Makers' life formulas, from memory, unconfirmed.
RIPPLE_RISE = 10.0  # K


@dataclass(frozen=True)
class Harder:
    """A part that takes `watts` [W] `under` a suspect of `weight`, `times` its `usual` [W].

    `known` is whether the file tells enough to say that it bears that.
    """

    part: str
    watts: float
    usual: float
    times: float
    under: str
    weight: float
    known: bool
    words: str


def harder(
    machine: Machine,
    condition: Condition,
    stress: Stress,
    cases: Sequence[tuple[str, float]],
    own: Sequence[frozenset[str]],
    gone: Mapping[int, Cleared],
) -> list[Harder]:
    """Parts no rating objects to that take several times their healthy watts, worst case each,
    most watts first."""
    if stress.status[0] == Status.UNSOLVED:
        return []
    best: dict[str, Harder] = {}
    for row, (name, weight) in enumerate(cases):
        if row == 0 or stress.status[row] == Status.UNSOLVED:
            continue
        over = {o.part for o in stress.over(row, 1.0)}
        for k, ref in enumerate(stress.parts):
            watts, usual = float(stress.watts[row, k]), float(stress.watts[0, k])
            part = machine.assembly.parts[ref]
            if ref in own[row] | over or part.KIND in ("transformer", "mains", "supply"):
                continue
            if not (watts >= LEAST and watts >= HARDER * usual) or (
                ref in best and best[ref].watts >= watts
            ):
                continue
            now = machine.fitted(part, condition)
            power = now.__dict__.get("power")
            sunk = not power or power <= MADE_FOR_SINK or thermal_path(now) is not None
            resistive = part.KIND in ("resistor", "potentiometer")
            known = bool(power) and (sunk or resistive)
            times = watts / max(usual, 1e-3)
            before = show(usual, "W", 2) if usual >= 1e-3 else "nothing"
            words = f"{part.label()} {ref} takes {show(watts, 'W', 2)}, usually {before}, "
            words += f"if {name} ({100 * weight:.0f} %)"
            words += f", until {gone[row].names} opens" if row in gone else ""
            if not known:
                words += "; what it bears here is not known, its heatsink or rating is not told"
            best[ref] = Harder(ref, watts, usual, times, name, weight, known, words)
    return sorted(best.values(), key=lambda h: -h.watts)


def ripple_words(machine: Machine, condition: Condition, stress: Stress) -> list[str]:
    """Electrolytics of the healthy row: ripple with no rating in the file, or past the rating."""
    if stress.status[0] == Status.UNSOLVED:
        return []
    found = []
    for k, (ref, part) in enumerate(machine.assembly.parts.items()):
        amps = float(stress.ripple[0, k])
        if not part.POLAR or not np.isfinite(amps) or amps < MUCH:
            continue
        rated = machine.fitted(part, condition).__dict__.get("ripple")
        shown = f"{ref} carries {show(amps, 'A', 2)} of ripple current"
        if rated is None:
            found.append(f"{shown}; its rating is not in the file, so nothing is judged")
        elif amps > rated:
            shorter = 1.0 / life_factor(-RIPPLE_RISE * ((amps / rated) ** 2 - 1.0))
            found.append(
                f"{shown}, rated {show(rated, 'A', 2)}: by the ten-degree rule it lasts about "
                f"{'a tenth' if shorter >= 10 else f'1/{shorter:.1g}'} as long or less"
            )
    return found


def starting_words(machine: Machine, stress: Stress) -> list[str]:
    """Fans and lamps of the healthy row that take far more at switch-on than once they run."""
    if stress.status[0] == Status.UNSOLVED:
        return []
    found = []
    for k, (ref, part) in enumerate(machine.assembly.parts.items()):
        amps = float(stress.amps[0, k])
        if not amps >= MUCH:
            continue
        if part.KIND == "fan" and part.__dict__.get("start"):
            first = amps * part.__dict__["start"] / part.__dict__["amps"]
            found.append(f"{ref} starts with {show(first, 'A', 2)}, {show(amps, 'A', 2)} turning")
        elif part.KIND == "lamp":
            first = amps / part.__dict__["cold_ratio"]
            found.append(
                f"{ref} takes up to {show(first, 'A', 2)} cold, {show(amps, 'A', 2)} alight"
            )
    return found


def rail_words(
    machine: Machine,
    cases: Sequence[tuple[str, float]],
    stress: Stress,
    gone: Mapping[int, Cleared],
) -> list[str]:
    """Rails that would stand above what nothing on them may ever see, worst case each, in words."""
    worst: dict[str, tuple[float, str]] = {}
    for row, (name, weight) in enumerate(cases):
        done = gone.get(row)
        states = [(stress, row, "")]
        if done is not None:
            states.append((done.stress, done.row, f", once {done.names} is open"))
        for seen, at, when in states:
            if seen.status[at] == Status.UNSOLVED:
                continue
            for (label, rail), level in zip(
                machine.assembly.rails.items(), seen.levels[at], strict=True
            ):
                size = abs(float(level))
                if rail.absolute is None or size <= abs(rail.absolute):
                    continue
                if size > worst.get(label, (0.0, ""))[0]:
                    under = name if row == 0 else f"if {name} ({100 * weight:.0f} %)"
                    worst[label] = (
                        size,
                        f"{label} would stand at {volts(float(level))} {under}{when}: nothing on "
                        f"it may see over {volts(rail.absolute)}, so no board stays on it",
                    )
    return [words for _, words in worst.values()]
