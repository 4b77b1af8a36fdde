"""What stands between the wall and the machine: a variac or a low mains, and a lamp in series."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.model import Assembly
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import Part
from halfsplit.problems import Problem, ProblemsError
from halfsplit.quantity import QuantityError, parse

# A variac reaches about 20 % over its input; no lamp sold for lighting was above this [W].
MOST_LEVEL, MOST_WATTS = 1.25, 2000.0
COLDEST, WARMEST = -40.0, 70.0  # degC, air a person can work in, wide
OPEN = 1e-12  # S


def level_of(assembly: Assembly, condition: Condition) -> float:
    """Mains volts as a fraction of nominal: as the condition says, else as the feed does."""
    said = condition.mains if condition.mains is not None else assembly.feeds[condition.feed].level
    return 1.0 if said is None else said


def lamp_of(assembly: Assembly, condition: Condition) -> float:
    """Rated watts of the lamp in series with the mains; 0 for none."""
    said = condition.lamp if condition.lamp is not None else assembly.feeds[condition.feed].lamp
    return 0.0 if said is None else said


def mains_changes(assembly: Assembly, condition: Condition, part: Part) -> Overrides:
    """Values of a mains inlet in a condition: off, at its level, its lamp in or linked out."""
    ref, volts = part.ref, float(part.__dict__["volts"])
    if not assembly.feeds[condition.feed].mains:
        return {(ref, "ac"): 0.0, (ref, "g"): OPEN}
    changes: Overrides = {}
    level, watts = level_of(assembly, condition), lamp_of(assembly, condition)
    if level != 1.0:
        changes[ref, "ac"] = sqrt(2.0) * volts * level
    if watts > 0.0:
        changes |= {(f"{ref}:link", "g"): OPEN, (f"{ref}:lamp", "amps"): watts / volts}
    return changes


def with_limiters(
    assembly: Assembly,
    condition: Condition,
    mains: str | None = None,
    lamp: str | None = None,
    ambient: str | None = None,
) -> Condition:
    """The condition with a mains level (``90%``), a series lamp (``60W``, ``none``) or an air
    temperature (``35``) as typed. Raises ProblemsError.
    """
    problems = []

    def read(text: str, unit: str, low: float, high: float, where: str, instead: str) -> float:
        try:
            value = parse(text, unit)  # type: ignore[arg-type]
        except QuantityError as error:
            problems.append(Problem("", 0, 0, where, f"“{text}”: {error.wrong}", instead))
            return low
        if not low <= value <= high:
            problems.append(Problem("", 0, 0, where, f"“{text}” is beyond any bench", instead))
        return value

    if mains is not None:
        level = read(mains, "%", 0.0, MOST_LEVEL, "mains", "a share of nominal, such as 90%")
        condition = replace(condition, mains=level)
    if lamp is not None:
        none = lamp.strip().lower() in ("none", "out", "0")
        watts = 0.0 if none else read(lamp, "W", 0.0, MOST_WATTS, "lamp", "60W, or none")
        condition = replace(condition, lamp=watts)
    if ambient is not None:
        air = read(ambient, "degC", COLDEST, WARMEST, "ambient", "25degC")
        condition = replace(condition, ambient=air)
    if (mains or lamp) and not assembly.feeds[condition.feed].mains:
        wrong = f"feed {condition.feed} does not use the mains, so nothing can stand in its way"
        fed = [n for n, f in assembly.feeds.items() if f.mains]
        instead = f"--feed {fed[0]}" if fed else "nothing there: no feed of this file uses them"
        problems.append(Problem("", 0, 0, "mains" if mains else "lamp", wrong, instead))
    if problems:
        raise ProblemsError(problems)
    return condition
