"""Does the healthy solution make sense? Doubts about a file that only solving it can show."""

from __future__ import annotations

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.faults.dictionary import predict
from halfsplit.faults.predictions import Predictions
from halfsplit.problems import Problem
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

REVERSED = -0.5  # V across a polarised capacitor, its positive terminal first


def healthy_doubts(machine: Machine) -> list[Problem]:
    """Capacitors the wrong way round, rails outside their limits, or no solution at all."""
    assembly = machine.assembly
    condition = _solvable(machine)
    problems: list[Problem] = []

    def add(where: str, wrong: str, instead: str, severity: str) -> None:
        line, column = assembly.lines.get(where, (0, 0))
        problems.append(Problem(str(assembly.file), line, column, where, wrong, instead, severity))

    if condition is None:
        add(
            "feeds",
            "this circuit switches by itself thousands of times a mains cycle, too often to follow "
            "from the wall: its healthy readings were not checked",
            "a feed from bench supplies on its raw nets, beside the mains",
            "doubt",
        )
        return problems
    table = predict(machine, condition, [{}], moves=[])
    if not np.isfinite(table.mean).all():
        add("parts", "the healthy circuit could not be solved", "the values as drawn", "doubt")
        return problems
    for ref, part in assembly.parts.items():
        if not part.POLAR:
            continue
        pos, neg = part.terminals().values()
        across = table.mean[0, table.column(pos)] - table.mean[0, table.column(neg)]
        if across < REVERSED:
            add(
                f"parts.{ref}",
                f"{ref} is the wrong way round: {volts(float(across))} across it when healthy",
                f"pos: {neg}, neg: {pos}",
                "error",
            )
    for name, rail in assembly.rails.items():
        level = float(table.mean[0, table.column(rail.net)])
        if not rail.limits.low <= level <= rail.limits.high:
            add(
                f"rails.{name}",
                f"the healthy circuit gives {volts(level)} at {name} ({condition.words()}), "
                "outside its limits: a value, a terminal or a limit is mistyped",
                "each part's entry again, against the drawing",
                "doubt",
            )
    return problems + overloads(machine, table)


def _solvable(machine: Machine) -> Condition | None:
    """The usual feed, or where that is the mains of a circuit that switches by itself another."""
    assembly = machine.assembly
    names = [assembly.default_feed(), *assembly.feeds]
    for name in names:
        condition = Condition(name, assembly.default_load())
        followed = not machine.self_oscillating or machine.alternating(condition) is None
        if followed and (assembly.feeds[name].nets or name == names[0]):
            return condition
    return None


def overloads(machine: Machine, table: Predictions) -> list[Problem]:
    """Resistors over their watts and capacitors over their volts in the healthy circuit."""
    assembly, problems = machine.assembly, []
    for ref, part in assembly.parts.items():
        for rating in part.ratings():
            element = machine.netlist.elements[rating.element]
            first, second = (table.column(n) for n in element.nets[:2])
            across = abs(float(table.mean[0, first] - table.mean[0, second]))
            if rating.quantity == "watts" and isinstance(element, el.Resistor):
                watts = across**2 * element.values["g"]
                over, shown = watts > rating.limit, (show(watts, "W"), show(rating.limit, "W"))
            elif rating.quantity == "volts" and isinstance(element, el.Capacitor):
                over, shown = across > rating.limit, (volts(across), volts(rating.limit))
            else:
                continue  # currents and junction watts need the power check, not a look at volts
            if over:
                where = f"parts.{ref}"
                line, column = assembly.lines.get(where, (0, 0))
                wrong = (
                    f"healthy, {ref} would see {shown[0]} and its rating is {shown[1]}: "
                    "a value, a net or the rating is mistyped"
                )
                advice = "the entry again, against the drawing"
                problems.append(
                    Problem(str(assembly.file), line, column, where, wrong, advice, "doubt")
                )
    return problems
