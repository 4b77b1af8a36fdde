"""Cables of a console file as verbs: the wire list with reasons, idle volts held against it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from halfsplit.boards.before import Judged, end_measured, judged
from halfsplit.boards.cable import Finding, judge
from halfsplit.boards.connector import settled
from halfsplit.boards.consoles import ConsoleFile
from halfsplit.boards.wiring import Plan, plan
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import QuantityError, parse

VERDICTS = {
    "join": "This cable will do.",
    "marginal": "This cable works, with too little to spare: see below.",
    "measure": "Measure first: an end is not known.",
    "converter": "No cable alone will do: a converter belongs between.",
    "refuse": "Do not join these.",
}


@dataclass(frozen=True)
class Planned:
    """A cable, the ends found by measuring, and each idle voltage read with what it says."""

    plan: Plan
    ends: dict[str, str]
    read: tuple[Judged, ...]

    @property
    def wrong(self) -> bool:
        """Whether the two must not be joined so, or a voltage is not what it should be."""
        return self.plan.verdict == "refuse" or any(not j.good for j in self.read)

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        read = [j.as_dict() for j in self.read]
        return self.plan.as_dict() | {"measured": self.ends, "read": read}


def planned(console: ConsoleFile, names: Sequence[str], idle: Sequence[str] = ()) -> Planned:
    """The cable between two connectors; `idle` are volts at pins, such as ``T1.2=-9.1V``.

    Raises ProblemsError, NotFoundError.
    """
    if len(names) < 2:
        known = ", ".join(console.connectors) or "none"
        raise ProblemsError([Problem("", 0, 0, "wire", "name two connectors", known)])
    first, second = (console.connector(n) for n in names)
    if names[0] == names[1]:
        raise ProblemsError([Problem("", 0, 0, "wire", "both ends are the same", "two of them")])
    read = measured(console, names, idle)
    known_ends = {n: end_measured(console.connector(n), v) for n, v in read.items()}
    ends = {n: e for n, e in known_ends.items() if e != "unknown"}
    found = plan(names[0], first, names[1], second, ends, console.converters)
    return Planned(found, ends, tuple(judged(found.checks, read)))


def measured(
    console: ConsoleFile, names: Sequence[str], idle: Sequence[str]
) -> dict[str, dict[str, float]]:
    """Idle volts as typed: end -> pin -> volts. Raises ProblemsError, NotFoundError."""
    wrong, volts = [], dict[str, dict[str, float]]()
    for text in idle:
        place, _, value = text.partition("=")
        name, _, pin = place.rpartition(".")
        if name not in names:
            wrong.append(Problem("", 0, 0, text, "it names no end of this cable", "T1.2=-9.1V"))
            continue
        if pin not in console.connector(name).all_pins():
            raise NotFoundError(f"{name} has no pin {pin}")
        try:
            volts.setdefault(name, {})[pin] = parse(value, "V")
        except QuantityError as error:
            wrong.append(Problem("", 0, 0, text, f"“{error.text}”: {error.wrong}", error.instead))
    if wrong:
        raise ProblemsError(wrong)
    return volts


def cable_findings(console: ConsoleFile, name: str) -> list[Finding]:
    """What is wrong with a cable as it was found. Raises NotFoundError."""
    cable = console.cable(name)
    ends = {n: settled(n, console.connector(n)) for n in (cable.start, cable.to)}
    return judge(ends, cable.pairs())
