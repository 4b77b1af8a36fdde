"""A plan for one old capacitor: steps, series resistor, limits, and what happens if it shorts."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

from halfsplit.bringup.discharge import joules
from halfsplit.bringup.rules import LEAKAGES, RULES, Leakage, Rule
from halfsplit.bringup.solving import Bench
from halfsplit.parts.base import Part
from halfsplit.parts.capacitance import Capacitance
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

WARM = 0.5  # W in the can at which it heats itself: stop; common practice
SPARE = 2.0  # times its worst heat a series resistor is rated; common practice
HEAVY = 10.0  # W at a short above which a plan is refused whatever the resistor; common practice
FORMED = ("electrolytic", "tantalum")


@dataclass(frozen=True)
class Stage:
    """One setting of the supply [V], how long [s], and what flows if the capacitor shorts there."""

    volts: float
    seconds: float
    until: str
    short_amps: float
    short_watts: float


@dataclass(frozen=True)
class Plan:
    """Everything about reforming one capacitor.

    Attributes
    ----------
    target: volts formed to: its highest working volts in the circuit, or its rating.
    most_amps: current never passed; jump: most the supply may stand above the capacitor [V].
    resistor_watts: rating the series resistor needs [W].
    refused: why this is not to be done so, "" where nothing speaks against it.
    """

    part: str
    farads: float
    rated: float
    target: float
    working: float | None
    target_from: str
    rule: str
    rule_words: str
    rule_source: str
    leakage_rule: str
    leakage_source: str
    leakage_limit: float
    ohms: float
    supply_limit: float | None
    most_amps: float
    jump: float
    stages: tuple[Stage, ...]
    hold: float
    energy: float
    worst_watts: float
    resistor_watts: float
    refused: tuple[str, ...]
    cautions: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return asdict(self)


def short_at(level: float, ohms: float, limit: float | None = None) -> tuple[float, float]:
    """Amps and watts in the series resistor when the capacitor shorts at `level` volts."""
    amps = level / ohms
    amps = min(amps, limit) if limit is not None else amps
    return amps, amps**2 * ohms


def working_volts(bench: Bench, part: Part) -> float | None:
    """Highest volts across the part over no load and every load of the file; None if unsolved."""
    if not bench.condition.energised():
        return None
    laid: list[Any] = [{}]
    for load in bench.machine.assembly.loads.values():
        laid.append({(f"load:{n}", "g"): 1.0 / v.ohms for n, v in load.items() if v.ohms})
    table = bench.solve(laid)
    first, second = (table.column(n) for n in part.terminals().values())
    over = [
        abs(float(table.mean[r, first] - table.mean[r, second]))
        for r in range(len(laid))
        if bench.claimed(table, r)
    ]
    return max(over, default=None)


def pick_rule(name: str | None) -> Rule:
    """The rule the user named. Raises ProblemsError listing them: no rule is chosen for him."""
    if name is None:
        listed = [f"  {r.name}: {r.words}; {r.source}" for r in RULES.values()]
        wrong = "\n".join(
            ["the published rules disagree and none is chosen for you. Pick one of:", *listed]
        )
        raise ProblemsError([Problem("", 0, 0, "rule", wrong, "--rule and its name")])
    if name not in RULES:
        raise NotFoundError(f"there is no rule {name}; there are {', '.join(RULES)}")
    return RULES[name]


def pick_leakage(name: str | None, rated: float) -> Leakage:
    """The leakage rule named, else the one for parts of the period, where that reaches."""
    if name is not None and name not in LEAKAGES:
        raise NotFoundError(f"there is no leakage rule {name}; there are {', '.join(LEAKAGES)}")
    if name is not None:
        return LEAKAGES[name]
    return LEAKAGES["jan-c-62" if rated <= 450.0 else "small-part"]


def plan(
    part: Part,
    rule: Rule,
    leakage: Leakage,
    *,
    working: float | None = None,
    ohms: float | None = None,
    resistor_watts: float | None = None,
    supply_limit: float | None = None,
    target: float | None = None,
    at_once: bool = False,
    months: float = 0.0,
) -> Plan:
    """Plan the reforming of one capacitor by one rule.

    `ohms` and `resistor_watts` are of the series resistor at hand, `supply_limit` [A] of the
    supply; `at_once` asks for full volts in one step, which is refused where a short would burn.
    Raises ProblemsError for what cannot be reformed.
    """
    rated = _rated(part)
    farads = float(part.__dict__["value"])
    goal = target or min(working or rated, rated)
    series = ohms or rule.ohms(rated)
    try:
        most_leak = leakage.amps(farads, rated)
    except ValueError as error:
        wrong = Problem("", 0, 0, part.ref, str(error), "--leakage small-part")
        raise ProblemsError([wrong]) from error
    amps = rule.most_amps or goal / series
    jump = amps * series
    levels = [goal] if at_once else _levels(rule, goal, jump)
    stages = []
    for level in levels:
        last = level == levels[-1]
        hold = rule.holding(months) if last else rule.step_hold
        until = "hold" if last else "and until the current no longer falls"
        stages.append(Stage(level, hold, until, *short_at(level, series, supply_limit)))
    worst = stages[-1].short_watts
    refused = _refused(part, rated, goal, stages, worst, resistor_watts, rule, at_once, jump)
    return Plan(
        part.ref,
        farads,
        rated,
        goal,
        working,
        "asked" if target else "working" if working else "rating",
        rule.name,
        rule.words,
        rule.source,
        leakage.name,
        leakage.source,
        most_leak,
        series,
        supply_limit,
        amps,
        jump,
        tuple(stages),
        rule.holding(months),
        joules(farads, goal),
        worst,
        SPARE * worst,
        tuple(refused),
        tuple(_cautions(part, goal, farads)),
    )


def _levels(rule: Rule, goal: float, jump: float) -> list[float]:
    """Supply volts one after another, no step above `jump`: the capacitor may be a short."""
    shares = (0.0, *rule.shares)
    if all((b - a) * goal <= jump * 1.0001 for a, b in pairwise(shares)):
        return [share * goal for share in rule.shares]
    count = math.ceil(goal / jump - 1e-9)
    return [goal * (k + 1) / count for k in range(count)]


def _rated(part: Part) -> float:
    rated = part.__dict__.get("volts")
    wrong = instead = ""
    if not isinstance(part, Capacitance):
        wrong, instead = f"{part.ref} is a {part.KIND}, no capacitor", "a capacitor of the file"
    elif part.KIND not in FORMED:
        wrong = f"{part.ref} is a {part.KIND}: it has no oxide to form; test its leakage instead"
        instead = f"reform FILE {part.ref} --leak, with one lead lifted"
    elif not rated:
        wrong, instead = f"{part.ref} has no rated volts in the file", "volts: 450V in its line"
    if wrong:
        raise ProblemsError([Problem("", 0, 0, part.ref, wrong, instead)])
    return float(rated)  # type: ignore[arg-type]


def _refused(
    part: Part,
    rated: float,
    goal: float,
    stages: list[Stage],
    worst: float,
    have: float | None,
    rule: Rule,
    at_once: bool,
    jump: float,
) -> list[str]:
    found = []
    if goal > rated:
        found.append(f"{volts(goal)} is above its rating of {volts(rated)}")
    if at_once and rule.most_amps is not None and goal > jump:
        found.append(
            f"the resistor alone does not hold {show(rule.most_amps, 'A', 2)}: at most "
            f"{volts(jump)} across it, so raise the supply in steps"
        )
    top = stages[-1]
    if worst > HEAVY:
        found.append(
            f"if {part.ref} shorts, {show(top.short_amps, 'A', 2)} flow and the resistor turns "
            f"{show(worst, 'W', 2)} into heat: take more ohms, or a supply limited to "
            f"{show(10e-3, 'A', 2)}"
        )
    elif have is not None and have < worst:
        found.append(
            f"if {part.ref} shorts, the resistor turns {show(worst, 'W', 3)} into heat, and it is "
            f"rated {show(have, 'W', 2)}"
        )
    return found


def _cautions(part: Part, goal: float, farads: float) -> list[str]:
    found = [
        f"one lead off, or the board's other parts take the current; {part.ref} then holds "
        f"{show(joules(farads, goal), 'J', 2)} at {volts(goal)}: discharge and measure after"
    ]
    if goal > 60.0:
        found.append(
            f"{volts(goal)} direct, enough to kill: clip on with the supply off, one hand, covered "
            "joints, a second person near; local rules and licensed practice come first"
        )
    found.append(
        "face out of line with its vent; stop if it warms or swells, or takes over "
        f"{show(WARM, 'W', 1)} by itself. Reforming mends oxide, not dried electrolyte: measure "
        "capacitance and series resistance after it"
    )
    if part.KIND == "tantalum":
        found.append("a tantalum flares when it fails: eyes covered, nothing that burns near")
    return found


@dataclass(frozen=True)
class LeakTest:
    """Leakage at working volts through a series resistor, one lead lifted; and why not by ohmmeter.

    Attributes
    ----------
    level: volts applied. drop_limit: volts across the resistor that a sound part stays below.
    leaky: volts a specimen leaking as this kind does with age would drop.
    ohmmeter: what an ohmmeter may show on that same specimen.
    """

    part: str
    level: float
    ohms: float
    limit_amps: float
    drop_limit: float
    leaky_amps: float
    leaky_drop: float
    leaky_watts: float
    ohmmeter: str
    worst_amps: float
    worst_watts: float
    cautions: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return asdict(self)


# A sound paper or film capacitor at working volts passes less than this: 100 Mohm at 0.1 uF, ten
# times worse than new. Common practice, no published source.
SOUND_SECONDS = 10.0
TEST_OHMS = 1e6
# Test volts of an ohmmeter; from memory, unconfirmed, 0.2 to 3 V for most.
OHMMETER_VOLTS = 3.0


def leak_test(part: Part, level: float, ohms: float = TEST_OHMS) -> LeakTest:
    """The test of one capacitor at `level` volts through `ohms`."""
    farads = float(part.__dict__["value"])
    limit = level / (SOUND_SECONDS / farads)
    leak = float(part.leak())  # type: ignore[attr-defined]
    amps = level / (ohms + leak)
    worst = short_at(level, ohms)
    return LeakTest(
        part.ref,
        level,
        ohms,
        limit,
        limit * ohms,
        amps,
        amps * ohms,
        amps**2 * leak,
        f"over 20 MΩ: at its {OHMMETER_VOLTS:g} V at most, "
        f"{OHMMETER_VOLTS / level:.1%} of working volts, the weak spot does not conduct; an "
        "ohmmeter clears nothing here",
        *worst,
        tuple(_cautions(part, level, farads)[:2]),
    )


def leak_verdict(test: LeakTest, drop: float) -> dict[str, Any]:
    """What volts across the series resistor say once they stand still."""
    amps = drop / test.ohms
    reasons = []
    if drop > test.drop_limit:
        left = max(test.level - drop, 0.0)
        ohms = left / amps if amps else float("inf")
        reasons.append(
            f"{volts(drop)} across {show(test.ohms, 'ohm', 2)}: it leaks {show(amps, 'A', 2)}, "
            f"like {show(ohms, 'ohm', 2)}, over the {show(test.limit_amps, 'A', 2)} of a sound "
            "one: replace it"
        )
    return {"part": test.part, "passed": not reasons, "amps": amps, "reasons": reasons}
