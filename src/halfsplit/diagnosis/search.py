"""Which sets of faults to look at: singles all, pairs and larger ones where they can explain more.

Pairs are looked at wherever one that fitted perfectly could matter beside the best single, all of
them by a first sight of what they read, and, where something is left unexplained, wrong parts where
nobody is known to have been, which are about as rare; larger sets grow from those that explain
part of the readings (every reading may be a slip, so one that explains some outweighs one that
explains none), by every single fault in turn. It is worth growing while the best set leaves
readings unexplained. What was not looked at is said.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from halfsplit.diagnosis.order import heaviest_first
from halfsplit.diagnosis.posterior import Belief
from halfsplit.faults.how_many import MOST
from halfsplit.faults.hypotheses import SCALES, Fault, Hypothesis, together

# Pairs weighed after a first sight of all, sets grown further at each size, and the largest size.
# Common practice, no published source: four faults that all show at once are more than anybody
# takes on before mending the first.
PAIRS, GROWN, LARGEST = 500, 5, MOST
# Where not all can be had: of those pairs, how many come before the best with a part fitted since,
# and how many of these; how many pairs before the rest of these.
AHEAD, FRESH, FIRST = 8, 4, 250
OTHER_SIZES, RESIZED = 12, 4
# Share of the weight a set must be able to take to be worth looking for: what keeps a leader from
# being acted on.
MATTERS = 0.1
# Logarithm of weight by which a set may trail the best and still be kept, and how many are.
TRAILING, KEPT = 9.0, 40
# Faults looked for beside a set that was mended, at once.
COMPANIONS = 2
# Logarithm of likelihood by which the best set may fall short of a perfect fit and still count as
# explaining everything: about two readings at one and a half sigma. A part tested good that it
# blames costs it 3. Common practice, no published source.
SHORT = 2.5


@dataclass(frozen=True)
class Found:
    """Hypotheses to go on with, the first of them the standard ones, and their belief.

    `left` tells what was not looked at, in words; empty when that is nothing.
    """

    hypotheses: list[Hypothesis]
    belief: Belief
    left: str = ""


def fit(belief: Belief) -> np.ndarray:
    """Logarithm of likelihood of all readings under each hypothesis (H)."""
    return np.asarray(belief.log_weight - np.log(np.maximum(belief.prior, 1e-300)))


def nothing_shows(belief: Belief) -> bool:
    """Whether every reading is as the machine without a fault explains it."""
    return bool(belief.best[belief.none] - fit(belief)[belief.none] < SHORT)


def grow(
    bases: Sequence[Hypothesis],
    singles: Sequence[Fault],
    boost: Callable[[Hypothesis, Fault], float],
) -> list[tuple[Hypothesis, Hypothesis]]:
    """Every base with one more fault of a part it does not blame yet, with the base it came from.

    `boost` multiplies the odds of the further fault given the base: one may have caused the other.
    """
    made: dict[frozenset[str], tuple[Hypothesis, Hypothesis]] = {}
    for base in bases:
        blamed = {(f.part, f.cause == "fresh") for f in base.faults}
        for one in singles:
            if (one.part, one.cause == "fresh") in blamed:
                continue
            key = base.key | {one.name}
            raised = base.boost * boost(base, one)
            if key not in made or raised > made[key][0].boost:
                made[key] = (together([*base.faults, one], raised), base)
    return list(made.values())


class Ports(Protocol):
    """What the search asks of the bench."""

    def weigh(self, listed: Sequence[Hypothesis], light: bool) -> Belief:
        """Belief over a list that starts with the two hypotheses without faults, after all
        readings; `light` when exact spreads may wait."""

    def sizes(self, most: int) -> list[Hypothesis]:
        """Single faults at other sizes that fit well at first sight."""

    def pairs(self, most: int) -> tuple[list[tuple[Hypothesis, Hypothesis]], int]:
        """The pairs of single faults that fit best at first sight, each with the one of the two
        that fits better alone, and how many pairs were not even looked at."""

    def strangers(self) -> list[Hypothesis]:
        """Wrong parts and fittings where nothing tells of a repair, which are not standard."""

    def likeliest_pair(self) -> float:
        """The highest prior of any pair."""

    def dear(self) -> bool:
        """Whether a set takes seconds to solve."""

    def prepare(self, listed: Sequence[Hypothesis], parents: Sequence[Hypothesis]) -> list[int]:
        """Solve sets (with the sets they came from) lightly; returns the indices of those worth
        weighing: slow conditions let through only what the quick ones leave standing."""

    def settle(self, listed: Sequence[Hypothesis]) -> None:
        """Solve sets with spreads of their own."""

    def boost(self, base: Hypothesis, further: Fault) -> float:
        """By how much the odds of one fault rise because of others."""

    def repaired(self, hypothesis: Hypothesis) -> bool:
        """Whether every fault of a set is out of the machine now."""


def search(standard: Sequence[Hypothesis], ports: Ports) -> Found:
    """Look at sets of faults until one explains the readings or none of the next size helps."""
    bare, singles = list(standard[:2]), [h.faults[0] for h in standard if len(h.faults) == 1]
    missed, dear = 0, ports.dear()
    # A rival that explains all must not keep "the new one is bad too" from being looked at.
    kept = [*ports.sizes(OTHER_SIZES), *_twice(standard)]
    ports.settle(kept)
    everything = [*standard, *kept]
    belief = ports.weigh(everything, False)
    bases: list[Hypothesis] = []
    for size in range(2, LARGEST + 1):
        explained = _explained(everything, belief)
        if explained and (size > 2 or not _rivalled(belief, ports)):
            break
        if size == 2:
            made, unseen = ports.pairs(PAIRS)
            fresh = _fresh_too(everything, belief, singles, ports)
            made = [
                *made[:AHEAD],
                *fresh[:FRESH],
                *made[AHEAD:FIRST],
                *fresh[FRESH:],
                *made[FIRST:],
            ]
            lead = everything[int(np.argmax(belief.log_weight))]
            if any(f.scale != 1.0 for f in lead.faults):  # pairs are of the usual sizes
                made += grow([lead], singles, ports.boost)
            if not explained:  # nor does first sight know of what size one is that took another
                taken = [m for m in made if m[0].boost > 1.0 and _could(m[0], belief)]
                made += [(h, b) for one, b in taken for h in _other_sizes([one], near=True)]
        else:
            made = grow(bases, singles, ports.boost)
            made.sort(key=lambda pair: -pair[0].prior)
            unseen = 0
        able = made = [m for m in made if _could(m[0], belief)]
        if dear:
            made = [m for m in able if _could(m[0], belief, dear)]
            missed += len(able) - len(made)
        worth = ports.prepare([h for h, _ in made], [b for _, b in made])
        missed += unseen + len(made) - len(worth)
        tried = [made[i][0] for i in worth]
        light = ports.weigh([*bare, *tried], True)
        if size == 2 and not explained and not (dear and _explained([*bare, *tried], light)):
            # Apart from the pairs: of either few can be had where sets are dear.
            strange = [h for h in ports.strangers() if _could(h, belief, dear)]
            had = ports.prepare(strange, [bare[0]] * len(strange))
            missed += len(strange) - len(had)
            tried += [strange[i] for i in had]
            light = ports.weigh([*bare, *tried], True)
        good = _best(tried, light, belief)
        if size == 2 and not explained:
            good += _taken_along(tried, light, belief, {h.key for h in good})
        if not good:
            break
        rounds = 1 if explained or dear else 2
        if not (dear and _explained([*bare, *tried], light)):
            good += _resized(good, [*bare, *good], belief, ports, rounds)
        good += alone(good, {h.key for h in (*kept, *good)})
        ports.settle(good)
        kept = [*kept, *(h for h in good if h.key not in {k.key for k in kept})]
        everything = [*standard, *kept]
        belief = ports.weigh(everything, False)
        order = heaviest_first(belief.log_weight)
        bases = [everything[int(i)] for i in order if len(everything[int(i)].faults) == size]
        bases = bases[:GROWN]
    everything, belief = _companions(everything, belief, singles, ports)
    words = f"{missed} sets of several faults were not looked at" if missed else ""
    return Found(everything, belief, words)


def _twice(standard: Sequence[Hypothesis]) -> list[Hypothesis]:
    """A part that was bad, and a bad one fitted in its place: every pair of the two."""
    single = [h for h in standard if len(h.faults) == 1]
    return [
        together([old.faults[0], new.faults[0]])
        for new in single
        if new.faults[0].cause == "fresh"
        for old in single
        if old.parts == new.parts and old.faults[0].cause != "fresh"
    ]


def _fresh_too(
    everything: Sequence[Hypothesis], belief: Belief, singles: Sequence[Fault], ports: Ports
) -> list[tuple[Hypothesis, Hypothesis]]:
    """The best single faults, each beside whatever may be wrong with a part fitted since, which is
    in no pair of usual ones; likeliest first."""
    new = [f for f in singles if f.cause == "fresh"]
    if not new:
        return []
    order = [everything[int(i)] for i in heaviest_first(belief.log_weight)]
    best = [h for h in order if len(h.faults) == 1 and not h.sized]
    found = grow([h for h in best if h.faults[0].cause != "fresh"][:GROWN], new, ports.boost)
    return sorted(found, key=lambda pair: -pair[0].prior)


def _explained(listed: Sequence[Hypothesis], belief: Belief) -> bool:
    """Whether the leading hypothesis leaves nothing that another fault could explain."""
    if int(np.argmax(belief.log_weight)) == 1:
        return False
    named = [i for i, h in enumerate(listed) if h.faults or i == 0]
    best = max(named, key=lambda i: belief.log_weight[i])
    return bool(belief.best[best] - fit(belief)[best] < SHORT)


def _rivalled(belief: Belief, ports: Ports) -> bool:
    """Whether a pair that fitted every reading perfectly could take weight that matters.

    A rare single fault that barely fits is no better an explanation than two common ones.
    """
    lead = int(np.argmax(belief.log_weight))
    could = np.log(max(ports.likeliest_pair(), 1e-300)) + belief.best[lead]
    return bool(could > belief.log_weight[lead] + np.log(MATTERS))


def _could(one: Hypothesis, belief: Belief, dear: bool = False) -> bool:
    """Whether a set would be kept if it fitted every reading perfectly; where sets are dear to
    solve, whether it could then take weight that matters."""
    best, within = belief.best.max(), TRAILING
    if dear:
        named = belief.log_weight.copy()
        named[1] = -np.inf  # what is not in the model fits nothing well
        best, within = belief.best[int(np.argmax(named))], -float(np.log(MATTERS))
    return bool(best + np.log(max(one.prior, 1e-300)) > belief.log_weight.max() - within)


def _resized(
    good: Sequence[Hypothesis],
    listed: Sequence[Hypothesis],
    belief: Belief,
    ports: Ports,
    rounds: int,
) -> list[Hypothesis]:
    """The best sets with one fault of another size, those that fit better so.

    `listed` starts with the two without faults.
    """
    found: list[Hypothesis] = []
    # Two faults may both be of another size, and neither alone fit better for it: so a second time
    # with the best of the first, those that came near too.
    bases, dear = list(good[:GROWN]), ports.dear()
    for few in (OTHER_SIZES, RESIZED)[:rounds]:
        made = [h for h in _other_sizes(bases, near=dear) if _could(h, belief, dear)]
        worth = ports.prepare(made, [good[0]] * len(made)) if made else []
        if not worth:
            break
        light = ports.weigh([*listed, *found, *(made[i] for i in worth)], True)
        count = len(listed) + len(found)
        bar = float(light.log_weight[2:count].max())
        order = [int(i) for i in heaviest_first(light.log_weight) if i >= count]
        bases = [made[worth[i - count]] for i in order[:RESIZED]]
        better = [i for i in order if light.log_weight[i] > bar - TRAILING / 3.0]
        found += [made[worth[i - count]] for i in better[:few]]
    return found


def _other_sizes(bases: Sequence[Hypothesis], near: bool) -> list[Hypothesis]:
    """Sets with one more of their faults at another size than the usual, `near` it only or any."""
    made: dict[frozenset[str], Hypothesis] = {}
    for base in bases:
        for k, fault in enumerate(base.faults):
            if fault.scale == 1.0:
                others = [*base.faults[:k], *base.faults[k + 1 :]]
                for s in (s for s in fault.scales if not near or s in SCALES):
                    one = together([*others, fault.at(s)], base.boost)
                    made.setdefault(one.key, one)
    return list(made.values())


def alone(good: Sequence[Hypothesis], known: set[frozenset[str]]) -> list[Hypothesis]:
    """The faults of another size that the best of these sets hold, each alone: or what shows
    nowhere would be believed for the sake of the size found beside it."""
    made: dict[frozenset[str], Hypothesis] = {}
    for one in good:
        for fault in one.faults:
            if fault.scale != 1.0 and frozenset((fault.key,)) not in known:
                one_only = together([fault])
                made.setdefault(one_only.key, one_only)
    return list(made.values())[:GROWN]


def _best(tried: Sequence[Hypothesis], light: Belief, belief: Belief) -> list[Hypothesis]:
    """Sets close enough to the best to be kept, best first; two in `light` come before them."""
    top = float(max(belief.log_weight.max(), light.log_weight.max()))
    order = [int(i) for i in heaviest_first(light.log_weight) if i > 1]
    return [tried[i - 2] for i in order if light.log_weight[i] > top - TRAILING][:KEPT]


def _taken_along(
    tried: Sequence[Hypothesis], light: Belief, belief: Belief, known: set[frozenset[str]]
) -> list[Hypothesis]:
    """The few best pairs besides of which one took the other along, even well behind: solved
    lightly they are held to spreads of their two faults apart, at the usual sizes."""
    bar = float(belief.log_weight.max()) - 2.0 * TRAILING
    order = [int(i) - 2 for i in heaviest_first(light.log_weight) if light.log_weight[i] > bar]
    near = (tried[k] for k in order if k >= 0)
    return [h for h in near if h.boost > 1.0 and h.key not in known][:RESIZED]


def _companions(
    everything: list[Hypothesis], belief: Belief, singles: Sequence[Fault], ports: Ports
) -> tuple[list[Hypothesis], Belief]:
    """What was mended, and whatever else may be wrong: one more fault, and a second where readings
    taken since ask for it. However many were mended, these are what there is to find now."""
    everything, belief = _mended(everything, belief, singles, ports)
    mended = [i for i, h in enumerate(everything) if h.faults and ports.repaired(h)]
    best = max(mended, key=lambda i: belief.log_weight[i], default=None)
    if best is None:
        return everything, belief
    # One that leads but for a further fault or two that explain nothing: all may show next. One
    # that does not explains the old readings still, and only what explains the new ones is kept.
    leads = belief.log_weight[best] >= belief.log_weight.max() - SHORT
    bases, bare = [for_all_sizes(best, everything, belief)], everything[:2]
    for step in range(COMPANIONS):
        known = {h.key for h in everything}
        made = [(h, b) for h, b in grow(bases, singles, ports.boost) if h.key not in known]
        if not leads:
            made = [m for m in made if _could(m[0], belief)]
        worth = ports.prepare([h for h, _ in made], [b for _, b in made])
        joining = [made[i][0] for i in worth]
        if not leads and joining:
            joining = _best(joining, ports.weigh([*bare, *joining], True), belief)
            ports.settle(joining)
        if not joining:
            break
        everything = [*everything, *joining]
        belief = ports.weigh(everything, False)
        if leads or _explained(everything, belief):
            break
        at = heaviest_first(belief.log_weight)
        size = len(everything[best].faults) + step + 1
        bases = [h for h in (everything[int(i)] for i in at) if len(h.faults) == size]
        bases = [h for h in bases if everything[best].key <= h.key][:GROWN]
    return everything, belief


def for_all_sizes(index: int, everything: Sequence[Hypothesis], belief: Belief) -> Hypothesis:
    """A set with the odds, for what grows from it, of all sizes of it that are in the list: one
    more fault is as likely beside any of them, and is looked at beside one only."""
    base, log_weight = everything[index], belief.log_weight
    same = [i for i, h in enumerate(everything) if h.plain == base.plain and h.faults]
    whole = float(np.exp(log_weight[same] - log_weight[index]).sum())
    own = base.prior / max(float(belief.prior[index]), 1e-300)
    return replace(base, boost=base.boost * whole / own)


def _mended(
    everything: list[Hypothesis], belief: Belief, singles: Sequence[Fault], ports: Ports
) -> tuple[list[Hypothesis], Belief]:
    """With the best sets of faults of parts that were replaced, of any size.

    Readings taken since weigh on all of them alike, so a fault not found yet cannot keep the right
    one of them out, as it can in the search by size.
    """
    past = [f for f in singles if ports.repaired(together([f]))]
    known, bare = {h.key for h in everything}, everything[:2]
    at = {h.key: i for i, h in enumerate(everything)}
    bases = [together([f]) for f in past]
    bases = sorted(bases, key=lambda h: -belief.log_weight[at[h.key]])[:GROWN]
    joining: list[Hypothesis] = []
    for _ in range(len({f.part for f in past}) - 1):
        made = grow(bases, past, ports.boost)
        worth = ports.prepare([h for h, _ in made], [b for _, b in made])
        tried = [made[i][0] for i in worth]
        light = ports.weigh([*bare, *bases, *tried], True).log_weight
        before, order = len(bare) + len(bases), heaviest_first(light)
        if not tried or light[before:].max() <= light[len(bare) : before].max():
            break
        bases = [tried[int(i) - before] for i in order if i >= before][:GROWN]
        joining += [h for h in bases if h.key not in known]
    if joining:
        ports.settle(joining)
        everything = [*everything, *joining]
        belief = ports.weigh(everything, False)
    return everything, belief
