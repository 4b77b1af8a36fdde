"""What a fault takes with it: parts pushed past a rating, how far, and the chance they followed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Feed
from halfsplit.circuit.threads import Progress
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.melting import HOLDS, OPENS, Cleared, cleared, fuses_in
from halfsplit.faults.ratings import Limit
from halfsplit.faults.stress import Stress, overstress_words, stresses
from halfsplit.parts.base import PRACTICE, Part

# Overstress at which half of the parts of a kind would have followed, as times their rating; below
# the rating none. Heat kills slowly and parts are rated with some to spare, a junction or a
# dielectric past its volts goes at once. Common practice, no published source.
HALF = {"watts": 3.0, "degC": 3.0, "amps": 3.0, "volts": 1.5, "reverse": 3.0, "ripple": 3.0}
# Ripple current past its rating ages a capacitor; only far past it does one boil. The watts go with
# the square of it. Common practice, no published source.
BOILS = 2.0
# Share of machines left on long enough, with a first fault in them, for what it overstresses to
# follow; others were switched off at once or failed while they stood. From memory, unconfirmed.
RAN_ON = 0.7
MOST = 0.95  # no overstress is certain to have killed
# A fault pushes a part only if it works this much harder than in the healthy machine, and chances
# below the second are not worth a line.
HARDER, LEAST = 1.05, 0.005
SOURCE = PRACTICE
# A fuse that has opened after so long [s] left too little time for slow heat.
# Common practice, no published source.
CUT_SHORT, BRIEF = 0.3, 3.0
SLOWLY = ("watts", "degC", "ripple")

# How parts fail by overstress, kind by kind; the first name the part knows is taken. Transistors
# fuse from collector to emitter before they open, resistors open, capacitors short.
# Common practice, no published source.
FIRST = {
    "npn": ("c-e short",),
    "pnp": ("c-e short",),
    "scr": ("a-k short",),
    "regulator": ("short", "in-out short"),
    "fuse": ("open",),
    "resistor": ("open",),
    "wire": ("open",),
    "trace": ("open",),
    "connector": ("open", "poor"),
    "inductor": ("open",),
    "potentiometer": ("wiper open",),
    "relay": ("contact welded",),
    "tube-rectifier": ("worn",),
    "triode": ("worn",),
    "pentode": ("worn",),
    "gas-tube": ("aged",),
}


class Taken(NamedTuple):
    """A part a fault may have taken along.

    `mode` is one of its failure modes, `ratio` its overstress, `chance` that it followed, `words`
    what overstressed it and in which condition.
    """

    part: str
    mode: str
    ratio: float
    chance: float
    words: str


def chance_of(quantity: str, ratio: float, kind: str = "") -> float:
    """Chance that a part at `ratio` times its rating failed of it: common practice, no published
    source; fuses between what the standard says they hold and what must open them."""
    if kind == "fuse":
        holds, opens = HOLDS["IEC"], OPENS["IEC"]
        return min(max((ratio - holds) / (opens - holds), 0.0), 1.0) * 0.98
    if quantity == "ripple":
        ratio /= BOILS
    if not ratio > 1.0:
        return 0.0
    return float(min(1.0 - 0.5 ** ((ratio - 1.0) / (HALF[quantity] - 1.0)), MOST))


def mode_of(part: Part, element: str = "") -> str | None:
    """Name of the mode this part fails in when overstressed; None when it has none that fits.

    `element` tells which arm or winding of a part of several.
    """
    names = [m.name for m in part.modes()]
    inside = element.partition(":")[2]
    if inside:
        arm = [n for n in names if n.startswith(inside)]
        names = arm or names
    for wanted in FIRST.get(part.KIND, ("short", "open")):
        for name in names:
            if name == wanted:
                return name
    for wanted in ("short", "open"):
        for name in names:
            if name.endswith(wanted):
                return name
    return None


def likely(machine: Machine) -> list[Condition]:
    """Conditions the machine is likely to have failed in: every feed with real power behind it,
    with every load of the file."""
    assembly = machine.assembly
    feeds = [n for n, f in assembly.feeds.items() if _strong(machine, f)]
    return [Condition(feed, load) for feed in feeds for load in assembly.loads]


def _strong(machine: Machine, feed: Feed) -> bool:
    """Whether a feed can burn anything: not limited in current on every net it lies on."""
    kinds = {p.KIND for p in machine.assembly.parts.values()}
    if feed.mains or (feed.supplies and "supply" in kinds):
        return True
    return any(source.limit is None for source in feed.nets.values())


def cascades(
    machine: Machine,
    hypotheses: Sequence[Hypothesis],
    conditions: Sequence[Condition] | None = None,
    progress: Progress | None = None,
) -> dict[str, list[Taken]]:
    """For every single fault by name, the parts it pushes past a rating, likeliest first.

    The worst of the conditions counts, part by part. Rows that could not be solved claim nothing.
    What is solved is kept on disk, so a run interrupted goes on where it stopped.
    """
    listed = [h for h in hypotheses if len(h.faults) == 1]
    chosen = likely(machine) if conditions is None else list(conditions)
    worst: dict[str, dict[str, Taken]] = {h.name: {} for h in listed}
    rows = (len(listed) + 1) * len(chosen)
    for k, condition in enumerate(chosen):
        told = _shifted(progress, k * (len(listed) + 1), rows)
        changes, fresh = [{}, *(h.changes for h in listed)], [{}, *(h.fresh for h in listed)]
        found = stresses(machine, condition, changes, fresh=fresh, progress=told)
        usual = np.nan_to_num(found.ratios[0])
        fuses = [fuses_in(machine, condition, c) for c in changes]
        gone = cleared(machine, condition, changes, fresh, found, fuses)
        for r, h in enumerate(listed, start=1):
            own, done = h.faults[0].part, gone.get(r)
            taken_here = _row(machine, own, _pushed(found, r, usual), condition, done)
            if done is not None:
                pushed = _pushed(done.stress, done.row, usual)
                taken_here += _row(machine, own, pushed, condition, None, done.names)
            for taken in taken_here:
                held = worst[h.name].get(taken.part)
                if held is None or held.chance < taken.chance:
                    worst[h.name][taken.part] = taken
    return {
        name: sorted(parts.values(), key=lambda t: (-t.chance, t.part))
        for name, parts in worst.items()
    }


Pushed = list[tuple[Limit, float, float]]


def _pushed(found: Stress, row: int, usual: npt.NDArray[np.float64]) -> Pushed:
    """Limits a row goes past, each with value and ratio, and further than the healthy machine."""
    ratios = found.ratios[row]
    return [
        (found.limits[i], float(found.values[row, i]), float(ratios[i]))
        for i in range(len(found.limits))
        if ratios[i] > max(1.0, HARDER * usual[i])
    ]


def _row(
    machine: Machine,
    own: str,
    row: Pushed,
    condition: Condition,
    done: Cleared | None,
    opened: str = "",
) -> list[Taken]:
    """What one fault takes along in one condition: until the fuses of `done` open, or with those
    named `opened` open."""
    parts: Mapping[str, Part] = machine.assembly.parts
    brief = done is not None and done.most <= BRIEF
    found = []
    for limit, value, ratio in row:
        part = parts[limit.part]
        mode = "value low" if limit.quantity == "ripple" else mode_of(part, limit.element)
        if limit.part == own or mode is None:
            continue
        chance = chance_of(limit.quantity, ratio, part.KIND)
        words = f"{overstress_words(limit, value, ratio)}, {condition.words()}"
        if opened:
            words += f", once {opened} is open"
        if done is not None and brief and part.KIND != "fuse" and limit.quantity in SLOWLY:
            chance *= CUT_SHORT
            words += f"; {done.names} blowing may have spared it"
        if chance >= LEAST:
            found.append(Taken(limit.part, mode, ratio, chance, words))
    return found


def _shifted(progress: Progress | None, before: int, whole: int) -> Progress | None:
    if progress is None:
        return None
    told = progress
    return lambda done, _: told(before + done, whole)
