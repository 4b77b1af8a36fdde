"""What happens if this is switched on now: every part against its ratings, as it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.limiter import level_of
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.fuse_story import FuseStory, fuse_stories
from halfsplit.bringup.heated import Harder, harder, rail_words, ripple_words, starting_words
from halfsplit.bringup.inrush import Inrush, inrushes
from halfsplit.bringup.lightest import Proposal, proposals
from halfsplit.circuit.solution import Status
from halfsplit.circuit.threads import Progress
from halfsplit.faults.cascades import BOILS, BRIEF, CUT_SHORT, SLOWLY, chance_of
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.melting import Cleared, cleared, fuses_in
from halfsplit.faults.ratings import Limit
from halfsplit.faults.stress import Over, Stress, overstress_words, stresses
from halfsplit.parts.kinds.fuse import Fuse
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
WATCHED = 4  # limits to watch named in the verdict; the findings have all of them


@dataclass(frozen=True)
class Finding:
    """One part near or over a rating: `under` what (the machine as it should be, or a suspect of
    `weight`), `when` as against a fuse that opens, and the mean chance that it would fail so."""

    part: str
    quantity: str
    value: float
    limit: float
    ratio: float
    words: str
    under: str
    weight: float
    chance: float
    when: str = ""


@dataclass(frozen=True)
class PowerCheck:
    """The answer for one condition.

    Attributes
    ----------
    objections: reasons not to energise, worst first, in words.
    findings: every part at `WATCH` of a rating or more, worst first; healthy rows have weight 1.
    fuses: what flows until a fuse opens and what is left; fuses that ought to open and do not.
    harder: parts below their ratings that work far harder under a suspect than when all is well.
    beside: parts to look at again, because they sit beside one that would run hot.
    ripple: capacitors whose ripple current has no rating to be held against, in words.
    starts: fans and lamps that take far more at switch-on, in words.
    rails: rails that would stand above what nothing on them may ever see, in words.
    damage: chance that energising now would hurt some part, over the suspects looked at.
    covered: joint weight of what was looked at.
    unsolved: cases that could not be solved and so claim nothing.
    """

    condition: Condition
    at: str
    objections: tuple[str, ...]
    findings: tuple[Finding, ...]
    fuses: tuple[FuseStory, ...]
    harder: tuple[Harder, ...]
    beside: dict[str, tuple[str, ...]]
    ripple: tuple[str, ...]
    starts: tuple[str, ...]
    rails: tuple[str, ...]
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
        # The healthy machine's own first, then what a suspect too unlikely to object to would do.
        told: dict[str, str] = {}
        for f in sorted(self.findings, key=lambda f: (f.under != HEALTHY, -f.ratio)):
            told.setdefault(f.part, f.words + _under(f))
        tail = "; ".join([*told.values()][:WATCHED])
        tail = tail or "no part above 80 % of a rating it is known by"
        return f"no objection found at {self.at}, limits to watch: {tail}"

    def as_dict(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return {
            "condition": self.condition.as_dict(),
            "verdict": self.verdict,
            "objections": list(self.objections),
            "findings": [asdict(f) for f in self.findings],
            "fuses": [asdict(f) | {"most": _number(f.most)} for f in self.fuses],
            "harder": [asdict(h) for h in self.harder],
            "beside": {ref: list(near) for ref, near in self.beside.items()},
            "ripple": list(self.ripple),
            "starts": list(self.starts),
            "rails": list(self.rails),
            "inrush": [asdict(i) for i in self.inrush],
            "damage": round(self.damage, 4),
            "covered": round(self.covered, 4),
            "unsolved": list(self.unsolved),
            "lightest": [asdict(p) for p in self.lightest],
        }


def _under(finding: Finding) -> str:
    """Under which suspect, with its weight; empty for the machine as it should be."""
    if finding.under == HEALTHY:
        return ""
    return f" if {finding.under} ({100 * finding.weight:.0f} %)"


def _number(value: float) -> float | None:
    return value if np.isfinite(value) else None


def power_check(
    machine: Machine,
    condition: Condition,
    suspects: Sequence[tuple[Hypothesis, float]] = (),
    *,
    marked: Mapping[str, Fuse] | None = None,
    propose: bool = True,
    progress: Progress | None = None,
) -> PowerCheck:
    """Hold every part against its ratings in a condition, as healthy and under each suspect.

    A row in which a fuse must open is looked at twice: as it is until then, and with it open.

    Parameters
    ----------
    suspects: hypotheses with their weights; those already put right in this condition count as
        healthy.
    marked: fuses somebody read otherwise than drawn.
    propose: whether to look for the lightest energising that still teaches something.
    """
    live = [(h, w) for h, w in suspects if h.left(condition)]
    faults = [{}, *(h.changes for h, _ in live)]
    fresh = [{}, *(h.fresh for h, _ in live)]
    stress = stresses(machine, condition, faults, fresh=fresh, progress=progress)
    cases = [(HEALTHY, 1.0), *((h.name, w) for h, w in live)]
    fuses = [
        fuses_in(machine, condition, {**f, **new}, marked)
        for f, new in zip(faults, fresh, strict=True)
    ]
    gone = cleared(machine, condition, faults, fresh, stress, fuses)
    own = [frozenset[str](), *(frozenset(h.parts) for h, _ in live)]
    findings: list[Finding] = []
    unsolved: list[str] = []
    damage = 0.0
    for row, (name, weight) in enumerate(cases):
        if stress.status[row] == Status.UNSOLVED:
            unsolved.append(name)
            continue
        done = gone.get(row)
        here = _findings(machine, stress, row, own[row], fuses[row], name, weight, done)
        if done is not None and done.stress.status[done.row] == Status.UNSOLVED:
            unsolved.append(f"{name}, once {done.names} is open")
        elif done is not None:
            after = f"once {done.names} is open"
            for f in _findings(machine, done.stress, done.row, own[row], {}, name, weight):
                here.append(replace(f, when=after))
        findings += here
        if row:
            damage += weight * max((f.chance for f in here), default=0.0)
    findings.sort(key=lambda f: (-f.ratio, f.under))
    worked = harder(machine, condition, stress, cases, own, gone)
    hot = [f.part for f in findings if f.ratio > 1.0 and f.quantity in ("watts", "degC", "amps")]
    beside = {
        ref: machine.assembly.beside(ref)
        for ref in dict.fromkeys([*hot, *(h.part for h in worked)])
        if machine.assembly.beside(ref)
    }
    return PowerCheck(
        condition,
        feed_words(machine, condition),
        tuple(_objections(machine, condition, stress, findings, unsolved)),
        tuple(findings),
        tuple(fuse_stories(machine, cases, own, stress, fuses, gone)),
        tuple(worked),
        beside,
        tuple(ripple_words(machine, condition, stress)),
        tuple(starting_words(machine, stress)),
        tuple(rail_words(machine, cases, stress, gone)),
        tuple(inrushes(machine, condition, stress)),
        damage,
        sum(w for _, w in suspects),
        tuple(unsolved),
        tuple(proposals(machine, condition, live)) if propose else (),
    )


def _findings(
    machine: Machine,
    stress: Stress,
    row: int,
    own: frozenset[str],
    fuses: Mapping[str, Fuse],
    name: str,
    weight: float,
    done: Cleared | None = None,
) -> list[Finding]:
    """Parts near or over a rating in one row; with `done`, until its fuses open."""
    found = []
    for over in stress.over(row, WATCH):
        fuse = fuses.get(over.part)
        if fuse is not None and abs(fuse.amps / over.limit - 1.0) > 0.01:
            over = _as_fitted(stress, over, fuse)
        if over.part in own or over.ratio < WATCH:
            continue
        finding = _finding(machine, over, name, weight)
        if done is not None and fuse is None:
            chance = finding.chance
            if done.most <= BRIEF and over.quantity in SLOWLY:
                chance *= CUT_SHORT
            finding = replace(finding, chance=chance, when=f"until {done.names} opens")
        found.append(finding)
    return found


def _as_fitted(stress: Stress, over: Over, fuse: Fuse) -> Over:
    """A fuse held against what it is marked, where that is not what is drawn."""
    limit = next(x for x in stress.limits if x.part == over.part and x.quantity == "amps")
    limit = replace(limit, limit=fuse.amps, label=fuse.label())
    ratio = over.value / fuse.amps
    words = overstress_words(limit, over.value, ratio)
    return replace(over, limit=fuse.amps, ratio=ratio, words=words)


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
        if f.quantity == "ripple" and f.ratio < BOILS:
            continue  # it ages the capacitor, which is a limit to watch
        if f.ratio < OBJECT or f.part in seen or not (healthy or f.weight * f.chance >= RISK):
            continue
        seen.add(f.part)
        words = f.words + _under(f)
        if healthy and (cause := _after(condition)):
            words += f" ({cause})"
        found.append(words + (f", {f.when}" if f.when else ""))
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
    if not laid and condition.energised():  # supplies drawn as parts of the machine
        parts = assembly.parts.items()
        laid = [f"{volts(p.__dict__['volts'])} of {r}" for r, p in parts if p.KIND == "supply"]
    return ", ".join(laid) or condition.feed


def worst_of(stress: Stress, row: int, quantity: str, part: str) -> tuple[Limit, float, float]:
    """Limit, value and ratio of one quantity of one part in a row; KeyError when not rated."""
    ratios = np.nan_to_num(stress.ratios[row])
    at = [k for k, x in enumerate(stress.limits) if x.part == part and x.quantity == quantity]
    if not at:
        raise KeyError(f"{part} has no rating in {quantity}")
    k = max(at, key=lambda i: ratios[i])
    return stress.limits[k], float(stress.values[row, k]), float(ratios[k])
