"""What filling the reservoirs asks of rectifiers and fuses in the first instant."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.limiter import lamp_of, level_of
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.faults.stress import Stress
from halfsplit.parts.capacitance import Capacitance
from halfsplit.quantity import show

LEAST = 0.05  # J, below which filling a capacitor bothers nothing; common practice
SUPPLY_OHMS = 0.02  # ohm of leads and contacts, when nothing else is known; common practice


@dataclass(frozen=True)
class Inrush:
    """One reservoir at switch-on.

    Attributes
    ----------
    joules: energy it takes in. amps: peak, were the source to come on at its crest.
    i2t: ampere-squared seconds of filling it through that resistance in one go, C V^2 / (2 R).
    ratio: i2t over the surge rating of the weakest part named in `through`, 0 when none is known.
    """

    part: str
    joules: float
    ohms: float
    amps: float
    i2t: float
    ratio: float
    through: str
    words: str


def inrushes(machine: Machine, condition: Condition, stress: Stress) -> list[Inrush]:
    """Reservoirs behind rectifiers or right on a feed, most energy first.

    Filling C to V through R, whatever the time it takes, dissipates C V^2 / 2 in R, so the integral
    of the squared current is C V^2 / (2 R): energy balance of the textbook series circuit. The
    instant of switch-on, saturation of the core and the lamp's cold resistance are not in it.
    """
    assembly = machine.assembly
    feed = assembly.feeds[condition.feed]
    removed = {c.part for c in condition.changes if c.what == "removed"}
    rails = set(machine.rectified()) if feed.mains else set(feed.nets)
    found = []
    for k, (ref, part) in enumerate(assembly.parts.items()):
        if not isinstance(part, Capacitance) or ref in removed:
            continue
        hot = set(part.plates()) & rails
        level = float(stress.volts[0, k])
        joules = 0.5 * part.__dict__["value"] * level**2
        if not hot or not joules >= LEAST:
            continue
        net = hot.pop()
        ohms, limit = (
            _mains_ohms(machine, condition, net)
            if feed.mains
            else (feed.nets[net].ohms, feed.nets[net].limit)
        )
        ohms += part.__dict__.get("esr") or 0.0
        amps = level / ohms if limit is None else min(limit, level / ohms)
        i2t = joules / ohms if limit is None else limit**2 * part.__dict__["value"] * level / limit
        through, ratio = _weakest(machine, net, i2t)
        words = f"{ref} takes in {show(joules, 'J', 2)}, up to {show(amps, 'A', 2)} at switch-on"
        if through and ratio > 0.0:
            words += f": {ratio:.2g} times the surge {through} stands"
        found.append(Inrush(ref, joules, ohms, amps, i2t, ratio, through, words))
    return sorted(found, key=lambda i: -i.joules)


def _mains_ohms(machine: Machine, condition: Condition, net: str) -> tuple[float, float | None]:
    """Resistance between the wall and a rectified net [ohm]: winding, and primary and limiting lamp
    brought over by the square of the turns; the most current a lamp lets through at a peak."""
    elements = list(machine.netlist)
    feeds = {
        other
        for e in elements
        if isinstance(e, (el.Diode, el.Vacuum)) and net in e.nets
        for other in e.nets
        if other != net
    }
    best = SUPPLY_OHMS
    windings = [e for e in elements if isinstance(e, el.Winding)]
    for w in windings:
        if not set(w.nets[:2]) & feeds:
            continue
        first = next(x for x in windings if x.nets[2] == w.nets[2])
        turns = w.values["turns"] / first.values["turns"]
        before = 1.0 / first.values["g"] + _lamp_ohms(machine, condition)
        best = max(best, 1.0 / w.values["g"] + turns**2 * before)
    return best, None


def _lamp_ohms(machine: Machine, condition: Condition) -> float:
    """Cold resistance of a series lamp, a tenth of the hot one [ohm]."""
    watts = lamp_of(machine.assembly, condition)
    inlet = next((p for p in machine.assembly.parts.values() if p.KIND == "mains"), None)
    if not watts or inlet is None:
        return 0.0
    nominal = float(inlet.__dict__["volts"]) * sqrt(level_of(machine.assembly, condition))
    return float(0.1 * nominal**2 / watts)


def _weakest(machine: Machine, net: str, i2t: float) -> tuple[str, float]:
    """Part with a surge rating right at this net that stands least, and how far it is taken."""
    worst, name = 0.0, ""
    for ref, part in machine.assembly.parts.items():
        rated = part.__dict__.get("i2t")
        if rated and net in part.terminals().values() and i2t / rated > worst:
            worst, name = i2t / rated, ref
    return name, worst
