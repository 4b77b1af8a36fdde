"""What may hurt the person or the machine, with numbers, at the step where it matters."""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.limiter import lamp_of, level_of
from halfsplit.assembly.lower import Machine
from halfsplit.diagnosis.next_check import TOUCH_VOLTS
from halfsplit.parts.block import BlockPart
from halfsplit.quantity import show

# A quarter of a joule startles badly; common practice, no published source.
STARTLES = 0.25  # J
DISCHARGED = 1.0  # V a stored charge must be below before a part is touched; common practice
# Above this a rail with a reservoir behind it is taken as lethal at one touch. Common practice.
LETHAL_VOLTS = 200.0
PROTECTION = ("fuse", "scr")
MEASURE = "discharge through a resistor, measure"


def highest_volts(machine: Machine, *, mains: bool = True) -> float:
    """Largest voltage [V] anything in or around the machine is meant to supply; without `mains`
    the inlet and the windings on it left aside, as for nets behind them."""
    levels = [1.0]
    wall = set() if mains else machine.mains_nets()
    for part in machine.assembly.parts.values():
        fields = part.__dict__
        if part.KIND == "mains" and mains:
            levels.append(sqrt(2) * fields["volts"])
        elif part.KIND == "supply":
            levels.append(abs(fields["volts"]))
        elif isinstance(part, BlockPart):
            levels.append(abs(part.volts))
        elif part.KIND == "transformer":
            behind = [w for w in fields["windings"].values() if not {w.start, w.end} & wall]
            levels += [2 * sqrt(2) * w.volts for w in behind]
    levels += [abs(n.volts) for f in machine.assembly.feeds.values() for n in f.nets.values()]
    return max(levels)


def mains_volts(machine: Machine) -> float | None:
    """Mains voltage [V rms] of the machine's inlet, or None when it has none."""
    inlets = [p for p in machine.assembly.parts.values() if p.KIND == "mains"]
    return float(inlets[0].__dict__["volts"]) if inlets else None


def materials(machine: Machine) -> list[str]:
    """What is poisonous in it, part by part, and what to do about that."""
    found = []
    for ref, part in machine.assembly.parts.items():
        if part.KIND == "selenium":
            found.append(
                f"{ref} is selenium: overheated it gives poisonous, foul fumes; switch off, leave "
                "the room, air it, bag the stack, wash hands"
            )
    gas = [ref for ref, part in machine.assembly.parts.items() if part.KIND == "gas-tube"]
    if gas:
        found.append(f"{', '.join(gas)} may hold traces of radioactive gas: do not break the glass")
    return found


def stored(machine: Machine, gone: frozenset[str] = frozenset()) -> list[str]:
    """Capacitors that may hold a startling charge, each with joules and volts; those `gone` by
    a meter left out."""
    found = []
    for ref, part in machine.assembly.parts.items():
        if ref in gone:
            continue
        rated, value = part.__dict__.get("volts"), part.__dict__.get("value")
        if part.KIND not in ("electrolytic", "tantalum") and "capacitor" not in part.KIND:
            continue
        if rated and value and 0.5 * value * rated**2 >= STARTLES:
            energy = show(0.5 * value * rated**2, "J", 2)
            found.append(f"{ref} may hold {energy} at {rated:g} V, its rating")
    return found


def at_limiters(machine: Machine, condition: Condition) -> list[str]:
    """Cautions for whoever puts a variac or a lamp between the wall and the machine."""
    volts = mains_volts(machine)
    if volts is None or not machine.assembly.feeds[condition.feed].mains:
        return []
    first = (
        f"unplug before wiring anything into the mains lead: {volts:.0f} V, lethal; wire it as "
        "local rules ask, or have it done by someone licensed"
    )
    return [first, *_limited(machine, condition, volts)]


def _limited(machine: Machine, condition: Condition, volts: float) -> list[str]:
    """What a variac or a lamp in the mains does not do."""
    found = []
    level, lamp = level_of(machine.assembly, condition), lamp_of(machine.assembly, condition)
    if level != 1.0:
        found.append(
            f"a variac at {level * volts:.0f} V is not isolation: still {volts:.0f} V "
            "to earth on one side, whichever way the plug goes in"
        )
    if lamp:
        found.append(
            f"the {lamp:g} W lamp limits current, not voltage: parts are still live "
            f"at up to {sqrt(2) * level * volts:.0f} V peak"
        )
    return found


def present(
    machine: Machine, condition: Condition, gone: Mapping[str, float] | None = None
) -> list[str]:
    """Hazards at this moment: mains, stored charge, protections put out.

    `gone` has capacitors measured discharged since the machine went off, with the volts read.
    """
    proved = dict(gone or {}) if not condition.energised() else {}
    found = []
    volts = mains_volts(machine)
    if volts is not None and machine.assembly.feeds[condition.feed].mains:
        found.append(f"mains, {volts:.0f} V, is on while fed by {condition.feed}")
        found += _limited(machine, condition, volts)
    charged = stored(machine, frozenset(proved))
    found += [f"{c}: {MEASURE}" for c in charged]
    held = [c for c in stored(machine) if c not in charged]
    if held:
        read = ", ".join(f"{ref} {abs(v):.2g} V" for ref, v in proved.items())
        found.append(f"discharged by meter: {read}; some comes back in minutes, measure again")
    for change in condition.changes:
        if machine.assembly.parts[change.part].KIND in PROTECTION and change.temporary:
            found.append(f"{change}: that protection is out, nothing limits the damage there")
    return found + materials(machine)


def before_touching(
    machine: Machine, condition: Condition, gone: Mapping[str, float] | None = None
) -> list[str]:
    """What to do before hands or iron go in, with this machine's own numbers; `gone` as above."""
    found = []
    volts = mains_volts(machine)
    if volts is not None and machine.assembly.feeds[condition.feed].mains:
        found.append(f"mains {volts:.0f} V is on: pull the plug first, a switch is not isolation")
    elif condition.energised():
        found.append(f"fed by {condition.feed}: switch that off first")
    proved = gone if gone and not condition.energised() else {}
    charged = stored(machine, frozenset(proved))
    if charged:
        found.append(
            f"{'; '.join(charged)}: discharge through a resistor and measure below "
            f"{DISCHARGED:g} V before touching"
        )
    return found + materials(machine)


def before_dead_reading(machine: Machine, condition: Condition, *nets: str) -> list[str]:
    """What to do before an ohmmeter goes on: as before hands go in, and the plug out by the wall
    side, where a switch alone leaves a live end."""
    found = before_touching(machine, condition)
    volts = mains_volts(machine)
    if volts is not None and set(nets) & machine.mains_nets() and condition.feed == "off":
        found.insert(0, f"{volts:.0f} V side: the plug out and in sight, a switch is not isolation")
    return found


def at_reading(machine: Machine, condition: Condition, top_volts: float) -> str:
    """The usual caution at a powered reading, with its number; empty when there is none."""
    words = []
    if top_volts > TOUCH_VOLTS:
        words.append(
            f"up to {top_volts:.0f} V here: one hand, insulated prods, clip on with power off"
        )
    if top_volts > LETHAL_VOLTS:
        words.append(
            "that kills: meter and prods rated for it, strap off, somebody near who knows the "
            "switch"
        )
    volts, live = mains_volts(machine), sorted(machine.mains_nets())
    if volts is not None and live and machine.assembly.feeds[condition.feed].mains:
        words.append(f"{volts:.0f} V mains on {', '.join(live)}: keep clear")
    return "; ".join(words)
