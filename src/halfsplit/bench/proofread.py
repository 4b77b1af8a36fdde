"""Proofread a typed file: solve the healthy circuit and hold it against what the file says itself.

Where they disagree, every single slip of the keyboard is tried as the explanation, weighed as
faults are by readings, and named with the edit that undoes it. Plain data comes out.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from halfsplit.assembly.edit import apply_edits
from halfsplit.assembly.file import load_anyway
from halfsplit.bench.proof_seen import Disagreement, Sight
from halfsplit.bench.proof_weigh import Weigher, grown_view
from halfsplit.circuit.threads import Progress
from halfsplit.diagnosis.claims import hold
from halfsplit.faults.slips import Edit, Slip
from halfsplit.faults.view import solve
from halfsplit.problems import NotFoundError, ProblemsError

EXPLAINED = 5  # explanations told


@dataclass(frozen=True)
class Explanation:
    """One slip that would explain the disagreements.

    Attributes
    ----------
    place: what it is about, such as "R6 value".
    words: the slip in words.
    edits: what undoes it; empty where only a look at the drawing can tell.
    weight: chance, among all slips of one place together.
    changes: what disagrees: says, state, gives now, would give then, whether that agrees.
    left: how many disagreements it leaves.
    """

    place: str
    sort: str
    words: str
    line: int
    edits: tuple[Edit, ...]
    weight: float
    changes: tuple[tuple[str, str, str, str, bool], ...]
    left: int
    part: str = ""
    was: str = ""
    now: str = ""

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        data = dict(self.__dict__)
        data["edits"] = [dict(e.__dict__) for e in self.edits]
        keys = ("says", "state", "gives", "would_give", "agrees")
        data["changes"] = [dict(zip(keys, c, strict=True)) for c in self.changes]
        return data


@dataclass(frozen=True)
class Proof:
    """What proofreading a file found."""

    file: Path
    claims: int
    disagreements: tuple[Disagreement, ...]
    explanations: tuple[Explanation, ...]
    unexplained: float
    unchecked: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "file": str(self.file),
            "claims": self.claims,
            "disagreements": [d.as_dict() for d in self.disagreements],
            "explanations": [e.as_dict() for e in self.explanations],
            "something_else": self.unexplained,
            "unchecked": list(self.unchecked),
        }


def proofread(path: Path, progress: Progress | None = None) -> Proof:
    """Proofread one file. Raises ProblemsError where an entry of it cannot be read at all."""
    assembly, problems = load_anyway(path)
    if assembly is None:
        if problems and "no such file" in problems[0].wrong:
            raise NotFoundError(f"{path}: {problems[0].wrong}")
        raise ProblemsError(problems)
    sight = Sight(assembly)
    wrong = sight.disagreements()
    unchecked = tuple(sight.unseen)
    if not sight.seen:
        unchecked += ("no feed of it could be solved at rest or on the mains",)
    if not wrong:
        return Proof(path, sight.claims, (), (), 0.0, unchecked)
    weigher = Weigher(sight, progress)
    ranked, rest = weigher.ranked(EXPLAINED)
    told = tuple(_Teller(sight, weigher).told(slip, weight) for slip, weight in ranked)
    return Proof(path, sight.claims, tuple(wrong), told, rest, unchecked)


def undo_slip(path: Path, chosen: Explanation) -> list[tuple[int, str, str]]:
    """Make the edits of an explanation; returns number, old and new text of each line changed.

    Raises ProblemsError, and leaves the file as it is, where the result would be wrong.
    """
    return apply_edits(path, chosen.edits)


class _Teller:
    """Says what a slip changes."""

    def __init__(self, sight: Sight, weigher: Weigher) -> None:
        self.sight, self.weigher = sight, weigher

    def told(self, slip: Slip, weight: float) -> Explanation:
        changes, left = [], 0
        for mark in self.sight.marks:
            agrees = mark.answered(self.sight.loose, slip)
            changes.append((mark.says, "", mark.gives, "" if agrees else mark.gives, agrees))
            left += not agrees
        for seen in self.sight.seen:
            family = self.weigher.family(seen.view, slip) if slip.elements else "-"
            rows = [i for i in range(len(seen.held)) if not seen.held[i].kept[0].all()]
            solved = None
            if rows and family != "-":
                grown = seen.view if not family else grown_view(seen.view, slip)
                solved = solve(grown, [slip.elements], rows, seen.start[rows])
            for j, i in enumerate(rows):
                held = seen.held[i]
                then = (
                    held if solved is None else hold(grown, i, solved, j, self.sight.assembly.rails)
                )
                for k, claim in enumerate(held.claims):
                    if held.kept[0, k]:
                        continue
                    now = self.sight.gives(claim, float(held.level[0, k]))
                    after = self.sight.gives(claim, float(then.level[0, k]))
                    agrees = bool(then.kept[0, k]) or slip.ref == claim.path
                    after = "yes" if after == "no" and agrees else after
                    changes.append((claim.says, claim.row, now, after, agrees))
                    left += not agrees
        line = self.sight.said(
            f"parts.{slip.ref}" if "." not in slip.ref else slip.ref, "", "", ""
        ).line
        return Explanation(
            slip.place,
            slip.sort,
            _words(slip),
            line,
            slip.edits,
            weight,
            tuple(changes),
            left,
            slip.ref,
            slip.was,
            slip.now,
        )


def _words(slip: Slip) -> str:
    if slip.sort == "left out":
        place = f": {slip.now}" if slip.part is not None else ", wherever the drawing has it"
        return f"{slip.ref} was left out{place}"
    if slip.sort == "reference":
        return f"{slip.was} is {slip.now} on the drawing: a digit of the reference"
    if slip.sort == "claim":
        return f"{slip.place} {slip.was} is itself mistyped"
    how = f" ({slip.words})" if slip.words else ""
    if slip.sort == "leads":
        return f"{slip.ref} has leads exchanged: {slip.now} on the drawing, {slip.was} typed"
    if slip.sort == "net":
        return f"{slip.ref} {slip.was} is {slip.now.split(' ', 1)[1]} on the drawing"
    return f"{slip.place} {slip.was} is {slip.now} on the drawing{how}"
