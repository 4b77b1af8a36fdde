"""A typed file as it stands, solved, with everything it says and does not keep."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Assembly
from halfsplit.assembly.printed import Printed
from halfsplit.bench.proof_marks import Loose, marks
from halfsplit.circuit.solution import Floats
from halfsplit.diagnosis.claims import Claim, Held, hold
from halfsplit.diagnosis.habits import Habit, habits, worked
from halfsplit.faults.mains_view import loaded
from halfsplit.faults.slips import elements_of
from halfsplit.faults.view import View, solve
from halfsplit.faults.views import bench_feed, pinned, switched_chokes, views
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

WITHIN_MAINS = 0.12  # share the mains side may be off what its bench feed says
KEPT = 3.0  # nats a file may lose and still be taken for what its bench feed gives


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


def heated(found: list[Habit]) -> list[str]:
    """Elements whose watts these habits are about."""
    return list(dict.fromkeys(h.element for h in found if h.element))


@dataclass
class Seen:
    """A view with the file as typed solved in it.

    Attributes
    ----------
    typed: net volts of the file as typed [V] (C, N).
    start: where variants are solved from [V] (C, N).
    held: claims, row by row.
    habits: what no part of a healthy circuit does; `odds`, `values` of each, row by row (H).
    watts: of the elements these are about, by name [W] (C).
    """

    view: View
    typed: Floats
    start: Floats
    held: list[Held]
    habits: list[Habit]
    odds: list[Floats]  # of habits, row by row (H)
    values: list[Floats]
    watts: dict[str, Floats]

    @property
    def index(self) -> dict[str, int]:
        """Column of each net, common last."""
        return {n: i for i, n in enumerate([*self.view.nets(), self.view.netlist.common])}

    def lost(self, row: int) -> float:
        """What the file as typed loses in a row [nat]."""
        return -float(self.held[row].odds.sum() + self.odds[row].sum())


class Sight:
    """Everything a typed file says, held against the circuit it makes."""

    def __init__(self, assembly: Assembly) -> None:
        self.assembly = assembly
        self.loose = Loose.of(assembly)
        self.marks = marks(assembly, self.loose)
        self.unseen: list[str] = []
        self.seen = self._views()

    def _views(self) -> list[Seen]:
        assembly = self.assembly
        found: list[Seen] = []
        for view in views(Machine(assembly)):
            if view.kind == "mains" and found:
                feed = assembly.feeds[bench_feed(assembly) or ""]
                drawn, at = self._drawn(found[0])
                printed = self._on_mains(view.rows[0].condition.feed, at)
                view = loaded(
                    view,
                    drawn,
                    feed,
                    WITHIN_MAINS if drawn else 0.0,
                    at if drawn else None,
                    printed,
                )
            rows = range(len(view.rows))
            index = {n: i for i, n in enumerate([*view.nets(), view.netlist.common])}
            listed = [
                h
                for p in assembly.parts.values()
                for h in habits(p, elements_of(p, assembly.common))
                if h.first in index and h.second in index
            ]
            solved = solve(view, [{}], rows, None, thorough=True, watts=heated(listed))
            held, odds, values = [], [], []
            for i in rows:
                held.append(hold(view, i, solved, i, assembly.rails))
                rated = view.rows[i].rated or view.kind == "mains"
                watts = {n: w[:, i] for n, w in solved.watts.items()}
                odd, value = worked(solved.volts[:, i], index, listed, watts)
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
                start = np.where(np.isfinite(near).all(axis=1, keepdims=True), near, typed)
            warm = {n: w[0] for n, w in solved.watts.items()}
            found.append(Seen(view, typed, start, held, listed, odds, values, warm))
        return found

    def _on_mains(self, feed: str, at: Condition | None) -> dict[str, Printed]:
        """What is printed of a feed from the mains at the load it is looked at with."""
        found = {}
        for name, entry in self.assembly.printed.items():
            if not entry.volts and not entry.ripple:
                continue
            if (entry.feed or self.assembly.default_feed()) != feed:
                if entry.ripple:
                    self.unseen.append(f"printed.{name}.ripple: not on the mains")
                continue
            load = entry.load or self.assembly.default_load()
            if at is not None and load == at.load and not entry.into:
                found[name] = entry
            else:
                self.unseen.append(f"printed.{name}: on the mains, with load {load}")
        return found

    def _drawn(self, inner: Seen) -> tuple[dict[str, float], Condition | None]:
        """Amperes each net of the bench feed gives at the heaviest load still borne, and that
        condition; nothing where the file as typed does not keep what it says there, for then they
        mean nothing."""
        feed = self.assembly.feeds[bench_feed(self.assembly) or ""]
        rated = [i for i, r in enumerate(inner.view.rows) if r.rated or r.switch]
        if not rated or sum(inner.lost(i) for i in rated) > KEPT:
            return {}, None
        last = inner.view.rows[rated[-1]].condition
        rows = [i for i in rated if inner.view.rows[i].condition == last]
        share = self._shares(inner, rows)
        found = {}
        for net, source in feed.nets.items():
            amps = 0.0
            for i in rows:
                level = inner.typed[i, inner.index[net]]
                amps += share[i] * (source.volts - level) / source.ohms
            found[net] = amps
        return found, last

    def _shares(self, inner: Seen, rows: list[int]) -> dict[int, float]:
        """What part of a beat each row stands for: on and off for as long as keeps a choke's volts
        even at the middle of its rail, by what its switched end stands at; 1 without a beat."""
        share = dict.fromkeys(rows, 1.0)
        for ref, (switched, rail) in switched_chokes(self.assembly).items():
            on = [i for i in rows if inner.view.rows[i].switch.get(ref, 0) > 0]
            off = [i for i in rows if inner.view.rows[i].switch.get(ref, 0) < 0]
            if not on or not off:
                continue
            high, low = (float(inner.typed[i, inner.index[switched]]) for i in (on[0], off[0]))
            limits = self.assembly.rails[rail].limits
            middle = (limits.low + limits.high) / 2.0
            if high == low:
                continue
            part = float(np.clip((middle - low) / (high - low), 0.0, 1.0))
            share |= dict.fromkeys(on, part / len(on)) | dict.fromkeys(off, (1.0 - part) / len(off))
        return share

    def disagreements(self) -> list[Disagreement]:
        """Everything the file says that is not so, worst first."""
        found = [(m.loss, self.said(m.path, m.says, "", m.gives)) for m in self.marks]
        for seen in self.seen:
            for held in seen.held:
                for k, claim in enumerate(held.claims):
                    if not held.kept[0, k]:
                        gives = self.gives(claim, float(held.level[0, k]))
                        said = self.said(claim.path, claim.says, claim.row, gives)
                        found.append((-float(held.odds[0, k]), said))
            told = set()
            for i, odd in enumerate(seen.odds):
                for k, habit in enumerate(seen.habits):
                    if odd[k] < 0 and (habit.ref, habit.words) not in told:
                        told.add((habit.ref, habit.words))
                        row = seen.view.rows[i].says
                        text = habit.words.format(value=self._value(habit, seen.values[i][k]))
                        said = self.said(f"parts.{habit.ref}", text, row, "")
                        found.append((-float(odd[k]), said))
        found.sort(key=lambda f: -f[0])
        return [d for _, d in found]

    @staticmethod
    def _value(habit: Habit, value: float) -> str:
        return show(float(value), "W", 2) if habit.heat else volts(abs(float(value)))

    @staticmethod
    def gives(claim: Claim, level: float) -> str:
        """What a claim is solved to be, in words."""
        if np.isfinite(level):
            return show(level, "ohm") if ".ohms." in claim.path else volts(level)
        if ".ohms." in claim.path:
            return "open"
        return "no" if claim.says.startswith("the ") else "not solved"

    def said(self, path: str, says: str, state: str, gives: str) -> Disagreement:
        """A disagreement, with the line of the nearest entry of its path."""
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
