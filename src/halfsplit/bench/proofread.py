"""Proofread a typed file: solve the healthy circuit and hold it against what the file says itself.

Where they disagree, every single slip of the keyboard is tried as the explanation, weighed as
faults are by readings, and named with the edit that undoes it. Plain data comes out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from halfsplit.assembly.edit import apply_edits
from halfsplit.assembly.file import load_anyway
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Assembly
from halfsplit.bench.proof_marks import Loose, Mark, marks, odds_of
from halfsplit.circuit.netlist import Netlist
from halfsplit.circuit.solution import Floats
from halfsplit.circuit.threads import Progress
from halfsplit.diagnosis.claims import Claim, Habit, Held, habits, hold, worked
from halfsplit.faults.left_out import placed, sized, unplaced
from halfsplit.faults.slips import Edit, Slip, elements_of, first_slips, further_slips
from halfsplit.faults.views import Solved, View, bench_feed, loaded, pinned, solve, views
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

RIGHT, MANY = 0.5, 0.02  # that the file is right; that there are several slips, or one of no list
KEEP = (300, 120, 60, 40)  # slips kept after each row solved
WITHIN_MAINS = 0.12  # share the mains side may be off what its bench feed says
ENOUGH = 4.0  # nats a slip may lose in all rows and still explain everything
EXPLAINED = 5  # explanations told
# Slips tried thoroughly in a row, and what is charged those that had no turn [nat].
STUBBORN, UNTOLD = 12, -6.0
REFINED = 12  # places of a part left out that get every value


@dataclass(frozen=True)
class Disagreement:
    """One thing the file says that the solved circuit does not keep; `path` of what says it."""

    path: str
    line: int
    says: str
    state: str
    gives: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return dict(self.__dict__)


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
    return Proofreader(assembly, problems, progress).proof()


def undo_slip(path: Path, chosen: Explanation) -> list[tuple[int, str, str]]:
    """Make the edits of an explanation; returns number, old and new text of each line changed.

    Raises ProblemsError, and leaves the file as it is, where the result would be wrong.
    """
    return apply_edits(path, chosen.edits)


@dataclass
class _Seen:
    """A view with the file as typed solved in it."""

    view: View
    typed: Floats
    start: Floats
    held: list[Held]
    habits: list[Habit]
    odds: list[Floats]  # of habits, row by row (H)
    values: list[Floats]

    @property
    def index(self) -> dict[str, int]:
        """Column of each net, common last."""
        return {n: i for i, n in enumerate([*self.view.nets(), self.view.netlist.common])}

    def lost(self, row: int) -> float:
        """What the file as typed loses in a row [nat]."""
        return -float(self.held[row].odds.sum() + self.odds[row].sum())


class Proofreader:
    """One file being proofread."""

    def __init__(
        self, assembly: Assembly, problems: Sequence[Problem], progress: Progress | None = None
    ) -> None:
        self.assembly = assembly
        self.progress = progress
        self.loose = Loose.of(assembly)
        self.marks = marks(assembly, self.loose)
        self.problems = [p for p in problems if p.severity == "error"]
        self.seen = self._views()

    def _views(self) -> list[_Seen]:
        assembly = self.assembly
        found: list[_Seen] = []
        for view in views(Machine(assembly)):
            if view.kind == "mains" and found:
                feed = assembly.feeds[bench_feed(assembly) or ""]
                view = loaded(view, self._drawn(found[0]), feed, WITHIN_MAINS)
            rows = range(len(view.rows))
            solved = solve(view, [{}], rows, None, thorough=True)
            index = {n: i for i, n in enumerate([*view.nets(), view.netlist.common])}
            listed = [
                h
                for p in assembly.parts.values()
                for h in habits(p, elements_of(p, assembly.common))
                if h.first in index and h.second in index
            ]
            held, odds, values = [], [], []
            for i in rows:
                held.append(hold(view, i, solved, i, assembly.rails))
                rated = view.rows[i].rated or view.kind == "mains"
                odd, value = worked(solved.volts[:, i], index, listed)
                odds.append(odd[0] * rated)
                values.append(value[0])
            typed = np.nan_to_num(solved.volts[0, :, :-1])
            start = typed
            if view.kind != "mains":
                # Where the drawing says the circuit stands, a right one is soon solved from.
                pins = replace(
                    view,
                    rows=tuple(
                        replace(r, overrides=pinned(r, assembly.printed, view.netlist))
                        for r in view.rows
                    ),
                )
                near = solve(pins, [{}], rows, typed, thorough=True).volts[0, :, :-1]
                start = np.where(np.isfinite(near).all(axis=1)[:, None], near, typed)
            found.append(_Seen(view, typed, start, held, listed, odds, values))
        return found

    def _drawn(self, inner: _Seen) -> dict[str, float]:
        """Amperes each net of the bench feed gives at the heaviest load still borne, while the file
        as typed keeps what it says there; else none."""
        if sum(inner.lost(i) for i in range(len(inner.held))) > 3.0:
            return {}
        feed = self.assembly.feeds[bench_feed(self.assembly) or ""]
        rated = [i for i, r in enumerate(inner.view.rows) if r.rated or r.switch]
        if not rated:
            return {}
        last = inner.view.rows[rated[-1]].condition
        rows = [i for i in rated if inner.view.rows[i].condition == last]
        found = {}
        for net, source in feed.nets.items():
            amps = 0.0
            for i in rows:
                level = inner.typed[i, inner.index[net]]
                amps += inner.view.rows[i].share * (source.volts - level) / source.ohms
            found[net] = amps
        return found

    # -- what disagrees ---------------------------------------------------------------------------

    def disagreements(self) -> list[Disagreement]:
        """Everything the file says that is not so, worst first."""
        found = [(m.loss, self._said(m.path, m.says, "", m.gives)) for m in self.marks]
        for seen in self.seen:
            for i, held in enumerate(seen.held):
                for k, claim in enumerate(held.claims):
                    if not held.kept[0, k]:
                        gives = self._gives(claim, float(held.level[0, k]))
                        said = self._said(claim.path, claim.says, claim.row, gives)
                        found.append((-float(held.odds[0, k]), said))
            told = set()
            for i, odd in enumerate(seen.odds):
                for k, habit in enumerate(seen.habits):
                    if odd[k] < 0 and (habit.ref, habit.words) not in told:
                        told.add((habit.ref, habit.words))
                        row = seen.view.rows[i].says
                        text = habit.words.format(value=self._value(habit, seen.values[i][k]))
                        said = self._said(f"parts.{habit.ref}", text, row, "")
                        found.append((-float(odd[k]), said))
        found.sort(key=lambda f: -f[0])
        return [d for _, d in found]

    @staticmethod
    def _value(habit: Habit, value: float) -> str:
        return show(float(value), "W", 2) if habit.squared else volts(abs(float(value)))

    @staticmethod
    def _gives(claim: Claim, level: float) -> str:
        if np.isfinite(level):
            return volts(level)
        return "no" if claim.says.startswith("the ") else "not solved"

    def _said(self, path: str, says: str, state: str, gives: str) -> Disagreement:
        line = 0
        at = path
        while at and not line:
            line = self.assembly.lines.get(at, (0, 0))[0]
            at = at.rpartition(".")[0]
        return Disagreement(path, line, says, state, gives)

    @property
    def claims(self) -> int:
        """How many things the file was held against."""
        return sum(len(h.claims) for s in self.seen for h in s.held)

    def proof(self) -> Proof:
        """Hold the file against itself, and explain what disagrees."""
        wrong = self.disagreements()
        unchecked = () if self.seen else ("no feed of it could be solved at rest or on the mains",)
        if not wrong:
            return Proof(self.assembly.file, self.claims, (), (), 0.0, unchecked)
        told, rest = self.explain()
        return Proof(self.assembly.file, self.claims, tuple(wrong), tuple(told), rest, unchecked)

    # -- which slip explains it -------------------------------------------------------------------

    def explain(self) -> tuple[list[Explanation], float]:
        """The likeliest slips, and the chance of something that is none of them."""
        nets = dict.fromkeys(n for s in self.seen for n in s.view.nets() if "#" not in n)
        nets[self.assembly.common] = None
        # The likely ones first; the long list of all others only if none of these explains it.
        likely = first_slips(self.assembly, list(nets)) + list(unplaced(self.assembly))
        slips, scores = self._weighed(likely + self._placed())
        if not len(scores) or scores[0] < self._first(slips[0]) - ENOUGH:
            more, after = self._weighed(further_slips(self.assembly, list(nets)))
            slips, scores = slips + more, np.concatenate([scores, after])
        alive = np.arange(len(slips))
        more = [s for i in alive for s in sized(self.assembly, slips[i])]
        more = more[: REFINED * 30]
        if more:
            extra = np.array([np.log(s.prior) + odds_of(self.marks, self.loose, s) for s in more])
            after, kept = self._weigh(more, extra, np.arange(len(more)))
            slips = [slips[i] for i in alive] + [more[i] for i in kept]
            scores = np.concatenate([scores, after])
        else:
            slips = [slips[i] for i in alive]
        base = sum(m.odds for m in self.marks) + sum(
            -s.lost(i) for s in self.seen for i in range(len(s.held))
        )
        other = np.log(MANY) + self._mixed(0.5) + 0.5 * sum(m.odds for m in self.marks)
        whole = np.append(scores, [np.log(RIGHT) + base, other])
        weights = np.exp(whole - whole.max())
        weights /= weights.sum()
        groups: dict[str, list[int]] = {}
        for i in np.argsort(-scores):
            groups.setdefault(slips[i].place, []).append(int(i))
        ranked = sorted(groups.values(), key=lambda g: -sum(weights[i] for i in g))
        told = [
            self._told(slips[g[0]], float(sum(weights[i] for i in g)))
            for g in ranked[:EXPLAINED]
            if sum(weights[i] for i in g) > 1e-6
        ]
        return told, float(weights[-1] + weights[-2])

    def _first(self, slip: Slip) -> float:
        return float(np.log(slip.prior)) + odds_of(self.marks, self.loose, slip)

    def _weighed(self, slips: list[Slip]) -> tuple[list[Slip], Floats]:
        """Slips worth looking at and their scores, best first."""
        if not slips:
            return [], np.zeros(0)
        scores = np.array([self._first(s) for s in slips])
        scores, alive = self._weigh(slips, scores, np.arange(len(slips)))
        order = np.argsort(-scores)
        return [slips[alive[i]] for i in order], scores[order]

    def _placed(self) -> list[Slip]:
        found: list[Slip] = []
        refs = [s.ref for s in unplaced(self.assembly) if s.sort == "left out"]
        for ref in refs[:3]:
            for seen in self.seen:
                inside = [n for n in seen.view.nets() if "#" not in n]
                lonely = [n for n in self.loose.lonely if n in inside]
                nets = [*inside, self.assembly.common]
                found += placed(self.assembly, ref, nets, lonely, len(refs) == 1)
        return found

    def _weigh(
        self, slips: Sequence[Slip], scores: Floats, alive: Any
    ) -> tuple[Floats, Any]:
        """Scores of slips after every row, and which are still worth looking at."""
        rows = [
            (seen, i, seen.lost(i)) for seen in self.seen for i in range(len(seen.held))
        ]
        rows.sort(key=lambda r: -r[2])
        total = len(rows)
        # Slips a row does not touch lose there what the file as typed loses.
        for k, (seen, row, lost) in enumerate(rows):
            change = np.full(len(alive), -lost)
            listed: dict[str, list[int]] = {}
            for j, at in enumerate(alive):
                slip = slips[at]
                if slip.sort == "claim":
                    change[j] += self._without(seen.held[row], slip.ref)
                elif not slip.elements:
                    if slip.sort == "left out":
                        change[j] = self._row_mixed(seen, row, 0.8)
                else:
                    listed.setdefault(self._family(seen.view, slip), []).append(j)
            for family, members in listed.items():
                if family == "-":
                    continue
                chosen = [slips[alive[j]] for j in members]
                change[members] = self._row(seen, row, chosen, family, scores[members])
            scores = scores + change
            most = KEEP[min(k, len(KEEP) - 1)]
            best = np.argsort(-scores)[:most]
            best = np.sort(best[scores[best] > scores[best].max() - 25.0])
            scores, alive = scores[best], alive[best]
            if self.progress:
                self.progress(k + 1, total)
        return scores, alive

    @staticmethod
    def _family(view: View, slip: Slip) -> str:
        """"" for what moves elements that are there, a part's reference for one put in, "-" for
        what has no place in a view."""
        there = {*view.nets(), view.netlist.common}
        if not all(there.issuperset(e.nets) for e in slip.elements.values()):
            return "-"
        if all(n in view.netlist.elements for n in slip.elements):
            return ""
        return slip.ref if slip.sort == "left out" else "-"

    def _row(
        self, seen: _Seen, row: int, chosen: Sequence[Slip], family: str, so_far: Floats
    ) -> Floats:
        """What slips lose in one row [nat, negative], solved anew.

        Of those that do not come by a few tries, the likeliest `so_far` are tried thoroughly; what
        is left is not told from the file as typed, and keeps a part of the doubt.
        """
        view, odds = seen.view, np.zeros(len(chosen))
        groups: dict[tuple[Any, ...], list[int]] = {}
        for i, slip in enumerate(chosen):
            key = () if not family else tuple(sorted((n, e.CODE) for n, e in slip.elements.items()))
            groups.setdefault(key, []).append(i)
        for key, members in groups.items():
            some = [chosen[i] for i in members]
            grown = view if not key else _grown(view, some[0])
            variants = [s.elements for s in some]
            start = seen.start[row : row + 1]
            solved = solve(grown, variants, [row], start)
            bad = np.flatnonzero(~np.isfinite(solved.volts[:, 0]).all(axis=1))
            bad = bad[np.argsort(-so_far[np.array(members)[bad]])]
            if len(bad) and view.kind != "mains":
                again = bad[:STUBBORN]
                slow = solve(grown, [variants[i] for i in again], [row], start, thorough=True)
                solved.volts[again], solved.latched[again] = slow.volts, slow.latched
            held = hold(grown, row, solved, 0, self.assembly.rails)
            odds[members] = held.odds.sum(axis=1)
            if view.rows[row].rated or view.kind == "mains":
                odds[members] += self._habits(seen, solved, some)
            rest = np.array(members)[bad[STUBBORN:]]
            odds[rest] = np.maximum(odds[rest], UNTOLD)
        return odds

    def _habits(self, seen: _Seen, solved: Solved, chosen: Sequence[Slip]) -> Floats:
        x, index = solved.volts[:, 0], seen.index
        odd, _ = worked(x, index, seen.habits)
        own: dict[str, list[int]] = {}
        for k, habit in enumerate(seen.habits):
            own.setdefault(habit.ref, []).append(k)
        found: Floats = odd.sum(axis=1)
        for i, slip in enumerate(chosen):
            if slip.part is None:
                continue
            if slip.ref in own:
                found[i] -= odd[i, own[slip.ref]].sum()
            mine = [
                h for h in habits(slip.part, slip.elements) if {h.first, h.second} <= index.keys()
            ]
            if mine:
                found[i] += worked(x[i : i + 1], index, mine)[0].sum()
        return found

    @staticmethod
    def _without(held: Held, path: str) -> float:
        """What is won in a row by leaving one claim out of account."""
        return sum(
            c.flat - float(held.odds[0, k])
            for k, c in enumerate(held.claims)
            if c.path == path and c.flat > held.odds[0, k]
        )

    def _row_mixed(self, seen: _Seen, row: int, keeps: float) -> float:
        """A row under something that keeps claims as typed with some chance, else as it likes."""
        held = seen.held[row]
        flat = np.array([c.flat for c in held.claims])
        mixed = np.log(keeps * np.exp(held.odds[0]) + (1.0 - keeps) * np.exp(flat))
        free = np.log(keeps * np.exp(seen.odds[row]) + (1.0 - keeps))
        return float(mixed.sum() + free.sum())

    def _mixed(self, keeps: float) -> float:
        return sum(
            self._row_mixed(s, i, keeps) for s in self.seen for i in range(len(s.held))
        )

    # -- what is told of it -----------------------------------------------------------------------

    def _told(self, slip: Slip, weight: float) -> Explanation:
        changes, left = [], 0
        for mark in self.marks:
            agrees = mark.answered(self.loose, slip)
            changes.append((mark.says, "", mark.gives, "" if agrees else mark.gives, agrees))
            left += not agrees
        for seen in self.seen:
            family = self._family(seen.view, slip) if slip.elements else "-"
            rows = [i for i in range(len(seen.held)) if not seen.held[i].kept[0].all()]
            solved = None
            if rows and family != "-":
                grown = seen.view if not family else _grown(seen.view, slip)
                solved = solve(grown, [slip.elements], rows, seen.start[rows])
            for j, i in enumerate(rows):
                held = seen.held[i]
                then = held if solved is None else hold(
                    grown, i, solved, j, self.assembly.rails
                )
                for k, claim in enumerate(held.claims):
                    if held.kept[0, k]:
                        continue
                    now = self._gives(claim, float(held.level[0, k]))
                    after = self._gives(claim, float(then.level[0, k]))
                    agrees = bool(then.kept[0, k]) or slip.ref == claim.path
                    after = "yes" if after == "no" and agrees else after
                    changes.append((claim.says, claim.row, now, after, agrees))
                    left += not agrees
        line = self._said(f"parts.{slip.ref}" if "." not in slip.ref else slip.ref, "", "", "").line
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


def _grown(view: View, slip: Slip) -> View:
    """A view with a place for the elements of a part put in."""
    net = Netlist(view.netlist.common)
    net.add(*view.netlist)
    there = view.nets()
    for element in slip.elements.values():
        kinds = type(element)
        net.add(kinds(element.name, tuple(there[: len(element.nets)]), element.values))
    return replace(view, netlist=net)


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
