"""Which slip of the keyboard explains what a file says and does not keep."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from halfsplit.bench.proof_marks import odds_of
from halfsplit.bench.proof_seen import Seen, Sight, heated
from halfsplit.circuit.netlist import Netlist
from halfsplit.circuit.solution import Floats
from halfsplit.circuit.threads import Progress
from halfsplit.diagnosis.claims import Held, hold
from halfsplit.diagnosis.habits import habits, worked
from halfsplit.faults.left_out import placed, sized, unplaced
from halfsplit.faults.slips import Slip, elements_of, first_slips, further_slips
from halfsplit.faults.view import Solved, View, solve

RIGHT, MANY = 0.5, 0.02  # that the file is right; that there are several slips, or one of no list
KEEP = (300, 120, 60, 40, 40, 30, 30, 24)  # slips kept after each row solved
APART = 25.0  # nats behind the best at which a slip is let go
ENOUGH = 4.0  # nats a slip may lose in all rows and still explain everything
# Slips tried thoroughly in a row, and what is charged those that had no turn [nat].
STUBBORN, UNTOLD = 12, -6.0
HOPELESS = 2  # rows in a run that a slip does not come in, though tried thoroughly, to give it up
TIMING = {"c", "esr", "l"}  # values that make no difference to what stands still
LEAST = 1e-6  # chance from which a slip is told
GAIN = 1.0  # nats a slip must win over the file as typed to be told
UNKNOWN = -0.5  # nats charged a part left out, wherever it belongs, in a row not kept
SIZES = 360  # most values tried of parts left out


class Weigher:
    """Slips weighed by what the file keeps once each is undone."""

    def __init__(self, sight: Sight, progress: Progress | None = None) -> None:
        self.sight = sight
        self.assembly, self.loose = sight.assembly, sight.loose
        self.marks, self.seen = sight.marks, sight.seen
        self.progress = progress
        self._failed: Counter[int] = Counter()  # rows in a run a slip did not come in, by its id

    def ranked(self, most: int) -> tuple[list[tuple[Slip, float]], float]:
        """The likeliest slips, one a place with the chance of all of that place, and the chance of
        something that is none of them."""
        nets = dict.fromkeys(n for s in self.seen for n in s.view.nets() if "#" not in n)
        nets[self.assembly.common] = None
        # The likely ones first; the long list of all others only if none of these explains it.
        likely = first_slips(self.assembly, list(nets)) + list(unplaced(self.assembly))
        slips, scores = self._weighed(likely + self._placed())
        if not len(scores) or scores[0] < np.log(slips[0].prior) - ENOUGH:
            more, after = self._weighed(further_slips(self.assembly, list(nets)))
            slips, scores = slips + more, np.concatenate([scores, after])
        more, after = self._weighed([s for one in slips for s in sized(self.assembly, one)][:SIZES])
        slips, scores = slips + more, np.concatenate([scores, after])
        base = sum(m.odds for m in self.marks) + sum(
            -s.lost(i) for s in self.seen for i in range(len(s.held))
        )
        other = np.log(MANY) + self._mixed(0.5) + 0.5 * sum(m.odds for m in self.marks)
        whole = np.append(scores, [np.log(RIGHT) + base, other])
        weights = np.exp(whole - whole.max())
        weights /= weights.sum()
        groups: dict[str, list[int]] = {}
        for i in np.argsort(-scores):
            if scores[i] - np.log(slips[i].prior) < base + GAIN:
                continue  # it may well be so, and says nothing of what disagrees
            groups.setdefault(slips[i].place, []).append(int(i))
        ranked = sorted(groups.values(), key=lambda g: -sum(weights[i] for i in g))

        def shown(group: list[int]) -> Slip:
            """The likeliest; but rather one that can be written, where it explains everything."""
            fits = (i for i in group if scores[i] - np.log(slips[i].prior) > -ENOUGH)
            return slips[next((i for i in fits if slips[i].edits), group[0])]

        told = [(shown(g), float(sum(weights[i] for i in g))) for g in ranked[:most]]
        told = [(slip, weight) for slip, weight in told if weight > LEAST]
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

    def _weigh(self, slips: Sequence[Slip], scores: Floats, alive: Any) -> tuple[Floats, Any]:
        """Scores of slips after every row, and which are still worth looking at."""
        rows = [(seen, i, seen.lost(i)) for seen in self.seen for i in range(len(seen.held))]
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
                        change[j] = max(-lost, UNKNOWN)  # what a part not there does is not told
                elif self._still(slip, seen.view.kind == "mains"):
                    change[j] += self._rated(seen, row, slip)
                else:
                    listed.setdefault(self.family(seen.view, slip), []).append(j)
            for family, members in listed.items():
                if family == "-":
                    continue
                chosen = [slips[alive[j]] for j in members]
                change[members] = self._row(seen, row, chosen, family, scores[members])
            scores = scores + change
            most = KEEP[min(k, len(KEEP) - 1)]
            best = np.argsort(-scores)[:most]
            best = np.sort(best[scores[best] > scores[best].max() - APART])
            scores, alive = scores[best], alive[best]
            if self.progress:
                self.progress(k + 1, total)
        return scores, alive

    def _still(self, slip: Slip, alternating: bool) -> bool:
        """Whether a slip changes nothing that is solved: a rating, or what only tells in time."""
        was = self.assembly.parts.get(slip.ref)
        if slip.sort != "value" or was is None:
            return False
        old = elements_of(was, self.assembly.common)
        return all(
            {k for k, v in e.values.items() if v != old[n].values[k]}
            <= (set() if alternating else TIMING)
            for n, e in slip.elements.items()
        )

    @staticmethod
    def _rated(seen: Seen, row: int, slip: Slip) -> float:
        """What is won in a row by other ratings of one part, where nothing else changes [nat]."""
        if slip.part is None or not (seen.view.rows[row].rated or seen.view.kind == "mains"):
            return 0.0
        index = seen.index
        mine = [h for h in habits(slip.part, slip.elements) if {h.first, h.second} <= index.keys()]
        was = sum(
            float(odd)
            for h, odd in zip(seen.habits, seen.odds[row], strict=True)
            if h.ref == slip.ref
        )
        x = np.append(seen.typed[row], 0.0)[None]
        watts = {n: w[row : row + 1] for n, w in seen.watts.items()}
        return float(worked(x, index, mine, watts)[0].sum()) - was

    @staticmethod
    def family(view: View, slip: Slip) -> str:
        """Empty for what moves elements that are there, a part's reference for one put in, "-" for
        what has no place in a view."""
        there = {*view.nets(), view.netlist.common}
        if not all(there.issuperset(e.nets) for e in slip.elements.values()):
            return "-"
        if all(n in view.netlist.elements for n in slip.elements):
            return ""
        return slip.ref if slip.sort == "left out" else "-"

    def _row(
        self, seen: Seen, row: int, chosen: Sequence[Slip], family: str, so_far: Floats
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
            grown = view if not key else grown_view(view, some[0])
            variants = [s.elements for s in some]
            start = seen.start[row : row + 1]
            warm = heated(seen.habits) if view.rows[row].rated else []
            solved = solve(grown, variants, [row], start, watts=warm)
            bad = np.flatnonzero(~np.isfinite(solved.volts[:, 0]).all(axis=1))
            bad = bad[np.argsort(-so_far[np.array(members)[bad]])]
            lost = np.array([self._failed[id(some[i])] >= HOPELESS for i in bad], dtype=bool)
            bad = bad[~lost]
            if len(bad) and view.kind != "mains":
                again = bad[:STUBBORN]
                hard = [variants[i] for i in again]
                slow = solve(grown, hard, [row], start, thorough=True, watts=warm)
                solved.volts[again], solved.latched[again] = slow.volts, slow.latched
                for name, taken in slow.watts.items():
                    solved.watts[name][again] = taken
                for i in again:
                    came = bool(np.isfinite(solved.volts[i, 0]).all())
                    self._failed[id(some[i])] = 0 if came else self._failed[id(some[i])] + 1
            held = hold(grown, row, solved, 0, self.assembly.rails)
            odds[members] = held.odds.sum(axis=1)
            if view.rows[row].rated or view.kind == "mains":
                odds[members] += self._habits(seen, solved, some)
            rest = np.array(members)[bad[STUBBORN:]]
            odds[rest] = np.maximum(odds[rest], UNTOLD)
        return odds

    def _habits(self, seen: Seen, solved: Solved, chosen: Sequence[Slip]) -> Floats:
        x, index = solved.volts[:, 0], seen.index
        watts = {n: w[:, 0] for n, w in solved.watts.items()}
        odd, _ = worked(x, index, seen.habits, watts)
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
                own_watts = {n: w[i : i + 1] for n, w in watts.items()}
                found[i] += worked(x[i : i + 1], index, mine, own_watts)[0].sum()
        return found

    @staticmethod
    def _without(held: Held, path: str) -> float:
        """What is won in a row by leaving one claim out of account."""
        return sum(
            c.flat - float(held.odds[0, k])
            for k, c in enumerate(held.claims)
            if c.path == path and c.flat > held.odds[0, k]
        )

    def _row_mixed(self, seen: Seen, row: int, keeps: float) -> float:
        """A row under something that keeps claims as typed with some chance, else as it likes."""
        held = seen.held[row]
        flat = np.array([c.flat for c in held.claims])
        mixed = np.log(keeps * np.exp(held.odds[0]) + (1.0 - keeps) * np.exp(flat))
        free = np.log(keeps * np.exp(seen.odds[row]) + (1.0 - keeps))
        return float(mixed.sum() + free.sum())

    def _mixed(self, keeps: float) -> float:
        return sum(self._row_mixed(s, i, keeps) for s in self.seen for i in range(len(s.held)))


def grown_view(view: View, slip: Slip) -> View:
    """A view with a place for the elements of a part put in."""
    net = Netlist(view.netlist.common)
    net.add(*view.netlist)
    there = view.nets()
    for element in slip.elements.values():
        kinds = type(element)
        net.add(kinds(element.name, tuple(there[: len(element.nets)]), element.values))
    return replace(view, netlist=net)
