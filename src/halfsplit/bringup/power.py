"""What happens if this is switched on now: every part against its ratings, as it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.limiter import level_of
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.inrush import Inrush, inrushes
from halfsplit.bringup.lightest import Proposal, proposals
from halfsplit.circuit.solution import Status
from halfsplit.circuit.threads import Progress
from halfsplit.faults.cascades import chance_of
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.ratings import Limit
from halfsplit.faults.stress import Over, Stress, stresses
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# A part this far up to its rating is named as a limit to watch; one this far past it is an
# objection. Ratings are round numbers and so is a design that runs a winding at exactly its own.
# Common practice, no published source.
WATCH, OBJECT = 0.8, 1.05
# A suspect is an objection when its weight times the chance that it hurts something comes to this.
# Common practice, no published source.
RISK = 0.01
HEALTHY = "if nothing else is wrong"
PROTECTING = ("fuse", "scr")


@dataclass(frozen=True)
class Finding:
    """One part near or over a rating: `under` what (the machine as it should be, or a suspect of
    `weight`), and the mean chance that it would fail so."""

    part: str
    quantity: str
    value: float
    limit: float
    ratio: float
    words: str
    under: str
    weight: float
    chance: float


@dataclass(frozen=True)
class PowerCheck:
    """The answer for one condition.

    Attributes
    ----------
    objections: reasons not to energise, worst first, in words.
    findings: every part at `WATCH` of a rating or more, worst first; healthy rows have weight 1.
    damage: chance that energising now would hurt some part, over the suspects looked at.
    covered: joint weight of what was looked at.
    unsolved: cases that could not be solved and so claim nothing.
    """

    condition: Condition
    at: str
    objections: tuple[str, ...]
    findings: tuple[Finding, ...]
    inrush: tuple[Inrush, ...]
    damage: float
    covered: float
    unsolved: tuple[str, ...]
    lightest: tuple[Proposal, ...]

    @property
    def verdict(self) -> str:
        """One sentence: why not, or no objection and what to watch."""
        if self.objections:
            return "do not energise: " + "; ".join(self.objections)
        watched = [f.words for f in self.findings if f.under == HEALTHY][:4]
        tail = "; ".join(watched) if watched else "no part above 80 % of a rating it is known by"
        return f"no objection found at {self.at}, limits to watch: {tail}"

    def as_dict(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return {
            "condition": self.condition.as_dict(),
            "verdict": self.verdict,
            "objections": list(self.objections),
            "findings": [asdict(f) for f in self.findings],
            "inrush": [asdict(i) for i in self.inrush],
            "damage": round(self.damage, 4),
            "covered": round(self.covered, 4),
            "unsolved": list(self.unsolved),
            "lightest": [asdict(p) for p in self.lightest],
        }


def power_check(
    machine: Machine,
    condition: Condition,
    suspects: Sequence[tuple[Hypothesis, float]] = (),
    *,
    propose: bool = True,
    progress: Progress | None = None,
) -> PowerCheck:
    """Hold every part against its ratings in a condition, as healthy and under each suspect.

    Parameters
    ----------
    suspects: hypotheses with their weights; those already put right in this condition count as
        healthy.
    propose: whether to look for the lightest energising that still teaches something.
    """
    live = [(h, w) for h, w in suspects if h.left(condition)]
    faults = [{}, *(h.changes for h, _ in live)]
    fresh = [{}, *(h.fresh for h, _ in live)]
    stress = stresses(machine, condition, faults, fresh=fresh, progress=progress)
    cases = [(HEALTHY, 1.0), *((h.name, w) for h, w in live)]
    findings: list[Finding] = []
    unsolved: list[str] = []
    damage = 0.0
    for row, (name, weight) in enumerate(cases):
        if stress.status[row] == Status.UNSOLVED:
            unsolved.append(name)
            continue
        own = set() if row == 0 else set(live[row - 1][0].parts)
        over = [o for o in stress.over(row, WATCH) if o.part not in own]
        findings += [_finding(machine, o, name, weight) for o in over]
        if row:
            worst = max((f.chance for f in findings if f.under == name), default=0.0)
            damage += weight * worst
    findings.sort(key=lambda f: (-f.ratio, f.under))
    check = PowerCheck(
        condition,
        feed_words(machine, condition),
        tuple(_objections(machine, condition, stress, findings, unsolved)),
        tuple(findings),
        tuple(inrushes(machine, condition, stress)),
        damage,
        sum(w for _, w in suspects),
        tuple(unsolved),
        tuple(proposals(machine, condition, live)) if propose else (),
    )
    return check


def _finding(machine: Machine, over: Over, under: str, weight: float) -> Finding:
    kind = machine.assembly.parts[over.part].KIND
    chance = chance_of(over.quantity, over.ratio, kind)
    return Finding(
        over.part,
        over.quantity,
        over.value,
        over.limit,
        over.ratio,
        over.words,
        under,
        weight,
        chance,
    )


def _objections(
    machine: Machine,
    condition: Condition,
    stress: Stress,
    findings: Sequence[Finding],
    unsolved: Sequence[str],
) -> list[str]:
    """Reasons against, in words."""
    found = [
        f"{c.part} is bypassed: that protection is out"
        for c in condition.changes
        if c.what == "bypassed" and machine.assembly.parts[c.part].KIND in PROTECTING
    ]
    if HEALTHY in unsolved:
        found.append("the machine as it stands could not be solved, so nothing is known of it")
    seen: set[str] = set()
    for f in findings:
        healthy = f.under == HEALTHY
        if f.ratio < OBJECT or f.part in seen or not (healthy or f.weight * f.chance >= RISK):
            continue
        seen.add(f.part)
        words = f.words
        if not healthy:
            words += f" if {f.under} ({100 * f.weight:.0f} %)"
        elif cause := _after(condition):
            words += f" ({cause})"
        found.append(words)
    return found


def _after(condition: Condition) -> str:
    """What was done to the machine, when that is one thing; nothing is claimed of several."""
    done = [str(c) for c in condition.changes]
    return f"with {done[0]}" if len(done) == 1 else ""


def feed_words(machine: Machine, condition: Condition) -> str:
    """What it would be energised with, such as "230 V mains" or "28.00 V on rawc"."""
    assembly = machine.assembly
    feed = assembly.feeds[condition.feed]
    if feed.mains:
        inlet = next((p for p in assembly.parts.values() if p.KIND == "mains"), None)
        nominal = float(inlet.__dict__["volts"]) if inlet else 0.0
        return f"{nominal * level_of(assembly, condition):.0f} V mains"
    laid = []
    for net, source in feed.nets.items():
        limit = f" limited to {show(source.limit, 'A', 2)}" if source.limit else ""
        laid.append(f"{volts(source.volts)} on {net}{limit}")
    return ", ".join(laid) or condition.feed


def worst_of(stress: Stress, row: int, quantity: str, part: str) -> tuple[Limit, float, float]:
    """Limit, value and ratio of one quantity of one part in a row; KeyError when not rated."""
    ratios = np.nan_to_num(stress.ratios[row])
    at = [k for k, x in enumerate(stress.limits) if x.part == part and x.quantity == quantity]
    if not at:
        raise KeyError(f"{part} has no rating in {quantity}")
    k = max(at, key=lambda i: ratios[i])
    return stress.limits[k], float(stress.values[row, k]), float(ratios[k])
