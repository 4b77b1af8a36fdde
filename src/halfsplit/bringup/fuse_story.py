"""Fuses in the power check: what flows until one opens, what is left, and what if none does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.assembly.lower import Machine
from halfsplit.bringup.conductors import conductor_words
from halfsplit.circuit.solution import Status
from halfsplit.faults.melting import Cleared, fuse_amps, lasting, melting_time, undecided
from halfsplit.faults.stress import Stress
from halfsplit.parts.kinds.fuse import Fuse
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

MOST_NAMED = 3  # parts named as hurt before or after; the table has them all


@dataclass(frozen=True)
class FuseStory:
    """Fuses under one case: `under` the machine as it should be, or a suspect of `weight`.

    Attributes
    ----------
    opens: fuses that must open, in that order; empty where one ought to and does not.
    least, most: time until the last is open [s].
    until, after: what is hurt before, and what the rails are left with, in words.
    rails: volts each rail is left with, None where that was not solved.
    """

    under: str
    weight: float
    opens: tuple[str, ...]
    least: float
    most: float
    words: str
    until: str
    after: str
    rails: dict[str, float] | None


def fuse_stories(
    machine: Machine,
    cases: Sequence[tuple[str, float]],
    own: Sequence[frozenset[str]],
    stress: Stress,
    fuses: Sequence[Mapping[str, Fuse]],
    gone: Mapping[int, Cleared],
) -> list[FuseStory]:
    """What fuses do in each row: one story where some open, one for each that ought to have."""
    found = []
    for row, (name, weight) in enumerate(cases):
        if stress.status[row] == Status.UNSOLVED:
            continue
        if row in gone:
            found.append(_opened(machine, name, weight, own[row], stress, row, gone[row]))
        seen, at = (gone[row].stress, gone[row].row) if row in gone else (stress, row)
        if seen.status[at] == Status.UNSOLVED:
            continue
        for words in _held(machine, seen, at, fuses[row]):
            found.append(FuseStory(name, weight, (), 0.0, float("inf"), words, "", "", None))
    return found


def _opened(
    machine: Machine,
    name: str,
    weight: float,
    own: frozenset[str],
    stress: Stress,
    row: int,
    done: Cleared,
) -> FuseStory:
    words = ", then ".join(o.words for o in done.openings)
    until = _hurt(machine, stress, row, own)
    rails = None
    if done.stress.status[done.row] == Status.UNSOLVED:
        after = "what is left was not solved, so nothing is claimed of it"
    else:
        labels = list(machine.assembly.rails)
        levels = [float(v) for v in done.stress.levels[done.row]]
        rails = dict(zip(labels, levels, strict=True))
        after = ", ".join(f"{k} {volts(v)}" for k, v in rails.items()) or "no rail is named"
        hurt = _hurt(machine, done.stress, done.row, own)
        after += f"; {hurt}" if hurt else ""
    least = sum(o.least for o in done.openings)
    opens = tuple(o.part for o in done.openings)
    return FuseStory(name, weight, opens, least, done.most, words, until, after, rails)


def _hurt(machine: Machine, stress: Stress, row: int, own: frozenset[str]) -> str:
    """Parts over a rating in a row, fuses and accused ones left out."""
    over = [
        o.words
        for o in stress.over(row, 1.0)
        if o.part not in own and not isinstance(machine.assembly.parts[o.part], Fuse)
    ]
    more = f"; {len(over) - MOST_NAMED} more" if len(over) > MOST_NAMED else ""
    return "; ".join(over[:MOST_NAMED]) + more


def _held(machine: Machine, stress: Stress, row: int, fuses: Mapping[str, Fuse]) -> list[str]:
    """Fuses that nothing obliges to open though the one drawn would, or that may or may not."""
    amps, found = fuse_amps(stress, row), []
    doubt = {ref for ref, _, _ in undecided(fuses, amps)}
    for ref, fuse in fuses.items():
        drawn, flow = machine.assembly.parts[ref], amps.get(ref, 0.0)
        if not isinstance(drawn, Fuse) or not np.isfinite(flow):
            continue
        larger = fuse.amps > 1.01 * drawn.amps
        would = melting_time(drawn, flow / drawn.amps) if larger else None
        if melting_time(fuse, flow / fuse.amps) is not None or not (would or ref in doubt):
            continue
        said = "may hold for an hour or more" if ref in doubt else "does not open"
        words = f"{ref}, {show(fuse.amps, 'A', 2)} {fuse.speed}, at {show(flow, 'A', 2)} {said}"
        if would:
            words += (
                f", where the {show(drawn.amps, 'A', 2)} drawn opens within {lasting(would[1])}"
            )
        index = list(stress.parts).index(ref)
        along = [
            p
            for p, a in zip(stress.parts, stress.amps[row], strict=True)
            if p != ref and a >= 0.5 * stress.amps[row, index] and p not in fuses
        ]
        ends = f"it ends in {', '.join(along)}" if along else "it ends in the wiring"
        found.append(f"{words}; {ends} and the leads between: {conductor_words(flow)}")
    return found
