"""What a fault takes with it: parts pushed past a rating, how far, and the chance they followed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Feed
from halfsplit.circuit.threads import Progress
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.ratings import Limit
from halfsplit.faults.stress import overstress_words, stresses
from halfsplit.parts.base import PRACTICE, Part

# Overstress at which half of the parts of a kind would have followed, as times their rating; below
# the rating none. Heat kills slowly and parts are rated with some to spare, a junction or a
# dielectric past its volts goes at once. Common practice, no published source.
HALF = {"watts": 3.0, "degC": 3.0, "amps": 3.0, "volts": 1.5, "reverse": 3.0}
MOST = 0.95  # no overstress is certain to have killed
# A fault pushes a part only if it works this much harder than in the healthy machine, and chances
# below the second are not worth a line.
HARDER, LEAST = 1.05, 0.005
SOURCE = PRACTICE
# Fuses against their rated current, by IEC 60127-2 sheet 2 (fast, 5 by 20 mm) as printed in a
# maker's 617 series sheet: 1.5 times is held for an hour, 2.1 times opens within half an hour.
HOLDS, OPENS = 1.5, 2.1
# A fuse in the same row that opens at once leaves too little time for slow heat.
# Common practice, no published source.
CUT_SHORT, FAST = 0.3, 4.0

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
        return min(max((ratio - HOLDS) / (OPENS - HOLDS), 0.0), 1.0) * 0.98
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
        found = stresses(
            machine,
            condition,
            [{}, *(h.changes for h in listed)],
            fresh=[{}, *(h.fresh for h in listed)],
            progress=told,
        )
        ratios = found.ratios
        usual = np.nan_to_num(ratios[0])
        for r, h in enumerate(listed, start=1):
            row = [
                (found.limits[i], float(found.values[r, i]), float(ratios[r, i]))
                for i in range(len(found.limits))
                if ratios[r, i] > max(1.0, HARDER * usual[i])
            ]
            for taken in _row(machine, h.faults[0].part, row, condition):
                held = worst[h.name].get(taken.part)
                if held is None or held.chance < taken.chance:
                    worst[h.name][taken.part] = taken
    return {
        name: sorted(parts.values(), key=lambda t: (-t.chance, t.part))
        for name, parts in worst.items()
    }


def _row(
    machine: Machine,
    own: str,
    row: Sequence[tuple[Limit, float, float]],
    condition: Condition,
) -> list[Taken]:
    """What one fault takes along in one condition."""
    parts: Mapping[str, Part] = machine.assembly.parts
    blown = [x.part for x, _, ratio in row if parts[x.part].KIND == "fuse" and ratio >= FAST]
    found = []
    for limit, value, ratio in row:
        part = parts[limit.part]
        mode = mode_of(part, limit.element)
        if limit.part == own or mode is None:
            continue
        chance = chance_of(limit.quantity, ratio, part.KIND)
        words = f"{overstress_words(limit, value, ratio)}, {condition.words()}"
        if blown and part.KIND != "fuse" and limit.quantity in ("watts", "degC"):
            chance *= CUT_SHORT
            words += f"; {' or '.join(blown)} blowing may have spared it"
        if chance >= LEAST:
            found.append(Taken(limit.part, mode, ratio, chance, words))
    return found


def _shifted(progress: Progress | None, before: int, whole: int) -> Progress | None:
    if progress is None:
        return None
    told = progress
    return lambda done, _: told(before + done, whole)
