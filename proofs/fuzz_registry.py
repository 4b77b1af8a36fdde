"""Cases and targets of proofs/fuzz.py: what a target gets, and how it is drawn and run."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from proofs.fuzz_mutate import mutate

from halfsplit.problems import HalfsplitError, Problem
from halfsplit.quantity import QuantityError

TOLD = Sequence[Problem]


@dataclass
class Case:
    """One case: its own random numbers, a folder to write in, and mutated input."""

    rng: Random
    folder: Path

    def made(self, seeds: Sequence[bytes], others: Sequence[bytes] = ()) -> bytes:
        """One of `seeds`, mutated with pieces of these and of `others`."""
        return mutate(self.rng.choice(seeds), self.rng, [*seeds, *others])

    def file(self, name: str, data: bytes) -> Path:
        """`data` in the case's folder."""
        path = self.folder / name
        path.write_bytes(data)
        return path


@dataclass(frozen=True)
class Target:
    """A function under fuzz; `weight` says how often it is drawn, `sort` what it belongs to."""

    name: str
    sort: str
    weight: float
    run: Callable[[Case], TOLD | None]


@dataclass
class Registry:
    """Every target by name."""

    all: dict[str, Target] = field(default_factory=dict)

    def pick(self, rng: Random, only: Sequence[str] = ()) -> Target:
        """One target by weight, among those whose name or sort is in `only`."""
        able = [t for t in self.all.values() if not only or {t.name, t.sort} & set(only)]
        return rng.choices(able, [t.weight for t in able])[0]


TARGETS = Registry()


def target(sort: str, weight: float = 1.0) -> Callable[..., Any]:
    """Decorator: make a function a target of "files", "tables" or "bundles"."""

    def add(run: Callable[[Case], TOLD | None]) -> Callable[[Case], TOLD | None]:
        name = run.__name__.replace("_", "-")
        TARGETS.all[name] = Target(name, sort, weight, run)
        return run

    return add


def checked(told: TOLD | None) -> None:
    """Every problem can be shown as text and as JSON."""
    for problem in told or ():
        json.dumps(problem.as_dict()).encode()
        assert str(problem) and problem.line >= 0 and problem.column >= 0


def attempt(one: Target, case: Case) -> str:
    """Run a case: "taken", "told" (problems) or "refused" (one of our errors); else it raises."""
    try:
        told = one.run(case)
    except (HalfsplitError, QuantityError) as error:
        checked(getattr(error, "problems", None))
        assert str(error)
        return "refused"
    checked(told)
    return "told" if told else "taken"
