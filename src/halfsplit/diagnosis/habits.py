"""How parts of a healthy circuit are made to work: within ratings, and the right way round."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.condition import BENCH
from halfsplit.circuit import elements as el
from halfsplit.circuit.solution import Floats
from halfsplit.faults.ratings import junction_limit, thermal_path
from halfsplit.parts.base import Part
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# Chance that a right file breaks such a habit all the same. Common practice, no published source.
OVER_WATTS, OVER_VOLTS, REVERSED, UPSIDE, FORWARD = 0.02, 0.02, 0.002, 0.02, 0.05
BACKWARDS = -0.5  # V across a polarised capacitor; of a transistor, V of collector past emitter
CONDUCTS = 0.45  # V forward across a zener


@dataclass(frozen=True)
class Habit:
    """How one part is made to work: a limit on the volts between two of its nets.

    `gain`, `squared`: what is held is gain times the volts (squared); it must not pass `limit`.
    With an `element` it is the watts that one turns into heat, whatever its volts.
    """

    ref: str
    first: str
    second: str
    gain: float
    squared: bool
    limit: float
    chance: float
    words: str  # with {value} for what it would be
    element: str = ""

    @property
    def heat(self) -> bool:
        """Whether it is about watts."""
        return self.squared or bool(self.element)


def habits(part: Part, elements: Mapping[str, el.Element]) -> list[Habit]:
    """What a part of a healthy circuit does not do: pass its rating, work the wrong way round."""
    found: list[Habit] = []

    def ends(element: el.Element) -> tuple[str, str]:
        return element.nets[0], element.nets[1]

    for rating in part.ratings():
        element = elements.get(rating.element)
        if isinstance(element, el.Resistor) and rating.quantity == "watts":
            text = f"{part.ref} takes {{value}}: it is rated {show(rating.limit, 'W')}"
            g = element.values["g"]
            found.append(Habit(part.ref, *ends(element), g, True, rating.limit, OVER_WATTS, text))
        elif isinstance(element, el.Capacitor) and rating.quantity == "volts":
            text = f"{part.ref} stands at {{value}}: it is rated {volts(rating.limit)}"
            for gain in (1.0, -1.0):
                found.append(
                    Habit(part.ref, *ends(element), gain, False, rating.limit, OVER_VOLTS, text)
                )
    found += _warm(part, elements)
    for element in elements.values():
        if part.POLAR and isinstance(element, el.Capacitor):
            text = f"{part.ref} stands the wrong way round, {{value}} across it"
            found.append(Habit(part.ref, *ends(element), -1.0, False, -BACKWARDS, REVERSED, text))
        elif isinstance(element, el.Bjt) and element.name == part.ref:
            text = f"{part.ref} has collector and emitter the wrong way round, by {{value}}"
            pol = element.values["pol"]
            emitter = part.__dict__["e"]
            found.append(
                Habit(part.ref, element.nets[0], emitter, -pol, False, -BACKWARDS, UPSIDE, text)
            )
        elif isinstance(element, el.Diode) and part.KIND == "zener":
            text = f"{part.ref} conducts forwards, {{value}} across it"
            found.append(Habit(part.ref, *ends(element), 1.0, False, CONDUCTS, FORWARD, text))
    return found


def _warm(part: Part, elements: Mapping[str, el.Element]) -> list[Habit]:
    """Watts of what has a junction or an anode: its rating, or what its heatsink takes away."""
    rated = [r for r in part.ratings() if r.quantity == "watts"]
    for rating in rated:
        element = elements.get(rating.element)
        if element is None or isinstance(element, el.Resistor):
            continue
        limit, text = rating.limit, f"it is rated {show(rating.limit, 'W')}"
        hottest, to_air = junction_limit(part), thermal_path(part)
        if hottest is not None and to_air:
            carried = (hottest[0] - BENCH) / to_air
            if carried < limit:
                limit = carried
                text = f"its junction would pass {hottest[0]:.0f} °C at {show(limit, 'W', 2)}"
        words = f"{part.ref} takes {{value}}: {text}"
        name = element.name
        ends = element.nets[:2]
        return [Habit(part.ref, ends[0], ends[1], 1.0, False, limit, OVER_WATTS, words, name)]
    return []


def worked(
    x: Floats, index: Mapping[str, int], found: Sequence[Habit], watts: Mapping[str, Floats]
) -> tuple[Floats, Floats]:
    """Logarithm of the chance of each habit (V, H), and what it comes to (V, H).

    x: net volts [V] (V, N+1); watts: of elements by name [W] (V). What has none is not judged.
    """
    if not found:
        return np.zeros((len(x), 0)), np.zeros((len(x), 0))
    first = [index[h.first] for h in found]
    second = [index[h.second] for h in found]
    gain = np.array([h.gain for h in found])
    across = x[:, first] - x[:, second]
    value = np.where([h.squared for h in found], across**2, across) * gain
    for k, habit in enumerate(found):
        if habit.element:
            value[:, k] = watts.get(habit.element, 0.0)
    limit = np.array([h.limit for h in found])
    odds = np.where(np.nan_to_num(value) > limit * 1.001, np.log([h.chance for h in found]), 0.0)
    return odds, value
