"""Weights of hypotheses after readings, with tolerances learnt along the way.

Under each hypothesis the machine's uncertain values (part tolerances, mains level) are one
Gaussian vector, moved and narrowed by each reading: a zener 3 % high then explains every rail it
sets, once. Each reading may also be a slip, so no single one can kill the truth: see
`diagnosis.stories`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from halfsplit.circuit.elements import SHORT
from halfsplit.circuit.solution import Status
from halfsplit.diagnosis import specimens, swing
from halfsplit.diagnosis.evidence import Evidence, Quantity
from halfsplit.diagnosis.expected import DRAINS, SLIP, Expected, bell
from halfsplit.diagnosis.meters import scope_error
from halfsplit.diagnosis.specimens import Volts, bells, on_scale, two_states
from halfsplit.diagnosis.stories import EVERY, Place, Rows, Stories
from halfsplit.faults.beats import halvings
from halfsplit.faults.dead_table import DeadTable
from halfsplit.faults.ohmmeter import FLOOR
from halfsplit.faults.predictions import ADRIFT, UNCLAIMED, Predictions
from halfsplit.faults.shapes import Scale

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Table = Predictions | DeadTable

# Of those, the share that is the right reading with its point one place off, and as much that has
# lost its sign; the rest may be anything. Common practice, no published source.
MISTYPED, EACH = (10.0, 0.1, -1.0), 0.15
# What the device models miss, as fraction of reading and as volts: compared with ngspice runs
# drawn within their tolerances in tests/bench and tests/simulator.
MODEL_FRACTION, MODEL_VOLTS = 0.003, 0.010
# What slopes taken at one sigma miss of a circuit that bends, as a share of the spread they give:
# from solved draws of the demo tray under pairs of faults, tests/simulator.
BEND = 0.06
# One sigma of a current: a hand-held meter's ampere range is good to two percent or so, shunt and
# leads change what they measure, and below a milliampere leakage counts. Common practice, no
# published source.
AMPS_FRACTION, AMPS_LEAST = 0.02, 1e-3
# With something unmodelled wrong, a reading is still as in a healthy machine this often.
UNMODELLED_HEALTHY = 0.3
# How well a ripple is known, as shares of it (one sigma): across a reservoir of unknown age, and
# with none (mains 3 %, winding, rectifier). Common practice, no published source.
SMOOTHED_SHARE, BARE_SHARE = 0.25, 0.05
# The same where nothing smooths what a machine beats by itself: 40 good specimens of the switching
# demo, followed, vary by up to 7 % at a net, and ngspice agrees with us within 10 %.
BEAT_SHARE = 0.12
# And a frequency: of the mains with a meter's error, and of a beat the machine makes by itself, as
# compared with ngspice in tests/simulator.
MAINS_BEAT, OWN_BEAT = 0.01, 0.1
FASTER_BEAT = 0.04  # more for each halving of the good machine's period: see faults.beats
BEATING = (int(Status.OSCILLATING), int(Status.RESTARTING))
WILD_HERTZ = math.log(1e6)  # a wild frequency lies anywhere in six decades, on its scale
# Above this a dead reading is of dirt, not of the circuit: the logarithm of a gigohm.
MOST_SCALE = 20.7
# How often a wild dead reading (lead off, wrong point) is over-range; common practice.
WILD_OVER = 0.5
WILD_AMPS = 20.0  # A, both ways of a hand-held meter's range


def bayes(prior: Floats, likelihood: Floats) -> Floats:
    """Posterior weights (H). All-zero likelihood leaves the prior, as nothing was learnt."""
    product = prior * likelihood
    total = product.sum()
    return product / total if total > 0 else prior.copy()


class Belief:
    """Weights of H hypotheses and, under each, what R readings tell of K shared uncertainties.

    `none` and `unmodelled` are the indices of those two hypotheses; `owners` tells which of the
    uncertainties are of which part.
    """

    def __init__(
        self,
        prior: Sequence[float],
        uncertainties: int,
        none: int,
        unmodelled: int,
        owners: Mapping[str, frozenset[int]] | None = None,
    ) -> None:
        self.owners = owners or {}
        self.prior = np.array(prior, dtype=float)
        self.log_weight = np.log(np.maximum(self.prior, 1e-300))
        self.uncertainties = uncertainties
        self.stories = Stories(len(self.prior))
        self.best = np.zeros(len(prior))  # log likelihood had every reading been as predicted
        self.none, self.unmodelled = none, unmodelled

    def part(self, rows: Sequence[int], weights: Floats | None = None) -> Belief:
        """Belief over a few of the hypotheses; the first two of `rows` are those without faults.

        `weights` (H) are to take the place of their own, where some count for others too.
        """
        at = np.array(rows, dtype=np.int64)
        found = Belief(self.prior[at].tolist(), self.uncertainties, 0, 1, self.owners)
        found.log_weight, found.best = self.log_weight[at].copy(), self.best[at].copy()
        found.stories = self.stories.part(at)
        if weights is not None:
            found.log_weight = np.log(np.maximum(weights[at], 1e-300))
        return found

    def joined(self, other: Belief) -> Belief:
        """Belief over these hypotheses and those of `other` after the first two, which are the two
        without faults; both have taken the same evidence."""
        prior = [*self.prior, *other.prior[2:]]
        found = Belief(prior, self.uncertainties, 0, 1, self.owners)
        found.log_weight = np.concatenate([self.log_weight, other.log_weight[2:]])
        found.best = np.concatenate([self.best, other.best[2:]])
        further = other.stories.part(np.arange(2, len(other.prior)))
        found.stories = self.stories.joined(further)
        return found

    def unlearnt(self) -> Belief:
        """Belief of one hypothesis to which no reading has told anything of its tolerances."""
        return Belief([1.0], self.uncertainties, 0, 0, self.owners)

    def weights(self) -> Floats:
        """Posterior (H), summing to 1."""
        w = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(w / w.sum())

    def expect(
        self, table: Table, item: Evidence, only: Rows = EVERY, states: bool = False
    ) -> Expected:
        """Mean and spread of a reading under hypotheses `only`, given what was learnt so far.

        On the scale it is weighed on, which for ohms is logarithmic: see Evidence.scaled. With
        `states`, of all hypotheses, rows that have two readings are told as such.
        """
        if isinstance(table, DeadTable):
            return self._dead(table, item, only)
        a, b = table.column(item.pos), table.column(item.neg)
        if item.quantity == "amps":
            return self._amps(table, item, a, b, only)
        if item.quantity != "volts":
            return self._swinging(table, item, a, b, only)
        mean = table.mean[only, a] - table.mean[only, b]
        loose = np.zeros_like(mean)
        if table.shift is not None and table.loose is not None:
            mean = mean + table.shift[only, a] - table.shift[only, b]
            loose = table.loose[only, a] ** 2 + table.loose[only, b] ** 2
        source = table.ohms[only, a] + table.ohms[only, b]
        taken = np.full(mean.shape, item.value)
        shown = np.where(np.isfinite(taken), taken, np.nan_to_num(mean))
        ohms = item.meter.loads(shown)
        loading = ohms / (ohms + source)
        if table.loaded is not None:
            loading = np.where(table.loaded[only], 1.0, loading)
        slope = (table.spread[only, :, a] - table.spread[only, :, b]) * loading[:, None]
        mean = np.nan_to_num(mean * loading)
        own = item.meter.sigmas(mean, item.resolution)
        model = MODEL_FRACTION * np.abs(mean) + MODEL_VOLTS
        solved = ~np.isin(table.status[only], UNCLAIMED)
        known = solved & (source < ADRIFT)
        drains = not item.neg and item.meter.input_ohms(0.0) < DRAINS
        loose = np.sqrt(loose) * loading
        plain = Volts(mean, slope, loose, model, own)
        scale, told = on_scale(table, (a, b), plain, item.value, (self.none, only, loading))
        rest = np.hypot(own, np.hypot(model, BEND * plain.slopes))
        two = two_states(table, a, b, loading, rest) if states and scale is None else {}
        held = np.sqrt(told.loose**2 + told.model**2 + (BEND * told.slopes) ** 2)
        besides = held, told.own
        met = scale is None and item.condition in self.stories.conditions
        far = specimens.reaches(table, a, b, loading, only) if met else None
        return self._expected(
            item,
            told.mean,
            told.slope,
            besides,
            known,
            only,
            states=two,
            scale=scale,
            reach=far,
            drained=solved & ~known if drains else None,
        )

    def _expected(
        self,
        item: Evidence,
        mean: Floats,
        slope: Floats,
        besides: tuple[Floats, Floats],
        known: Bools,
        only: Rows,
        **more: Any,
    ) -> Expected:
        """With what earlier readings tell; `besides` is what slopes do not, at one sigma (h): what
        a reading taken again has in common with the first, and what is new each time."""
        bend, own = besides
        leads, at = (item.pos, item.neg, item.quantity, item.ohmmeter), item.condition
        new = [self.owners.get(part, frozenset()) for part in at.fitted]
        place = Place(leads, at.changes, at, frozenset[int]().union(*new))
        given = self.stories.given(slope, bend, place, more.get("reach"), only)
        middle, sigma = given.joint(mean, own**2)
        scale: Scale | None = more.get("scale")
        if scale is not None:
            more["joint"] = middle, sigma
            low, high = scale.back(middle - sigma), scale.back(middle + sigma)
            middle, sigma = scale.back(middle), (high - low) / 2.0
            if np.isfinite(item.value):
                more["steep"] = float(scale.steepness(np.array(item.value), scale.own))
        return Expected(middle, sigma, slope, known, given, bend, place, mean, own**2, **more)

    def _amps(self, table: Predictions, item: Evidence, a: int, b: int, only: Rows) -> Expected:
        """Amperes through a meter put in a part's place, which is a link of known conductance."""
        slope = (table.spread[only, :, a] - table.spread[only, :, b]) * SHORT
        mean = np.nan_to_num((table.mean[only, a] - table.mean[only, b]) * SHORT)
        bend = BEND * np.sqrt(np.einsum("hk,hk->h", slope, slope))
        own = AMPS_FRACTION * np.abs(mean) + AMPS_LEAST + item.resolution
        known = ~np.isin(table.status[only], UNCLAIMED)
        return self._expected(item, mean, slope, (bend, own), known, only)

    def _dead(self, table: DeadTable, item: Evidence, only: Rows) -> Expected:
        assert item.ohmmeter is not None
        own = table.sigma(item.ohmmeter)
        if not item.over:
            own = table.sigma(item.ohmmeter, item.value, item.resolution)
        slope, known = table.slope[only], table.ok[only]
        x = np.minimum(table.x[only], MOST_SCALE)
        found = self._expected(item, x, slope, (np.zeros_like(x), own[only]), known, only)
        mean = np.minimum(found.mean, MOST_SCALE)
        # The normal distribution taken as logistic, within 1 % (the usual 1.702 scaling).
        z = 1.702 * (mean - table.top) / found.sigma
        over = 1.0 / (1.0 + np.exp(-np.clip(z, -60.0, 60.0)))
        return replace(found, mean=mean, over=over)

    def _swinging(self, table: Predictions, item: Evidence, a: int, b: int, only: Rows) -> Expected:
        known = swing.claimed(table, a, b, only)
        zero = np.zeros((len(known), self.uncertainties))
        if item.quantity == "frequency":
            hertz = swing.frequency(table, a, b, only)
            counted = np.isfinite(hertz)
            own = OWN_BEAT + FASTER_BEAT * halvings(table.period[only], table.period[self.none])
            own = np.where(np.isin(table.status[only], BEATING), own, MAINS_BEAT)
            mean = np.log(np.where(counted, hertz, 1.0))
            none, ok = np.zeros_like(mean), known & counted
            return self._expected(item, mean, zero, (none, own), ok, only, linear=False)
        if item.quantity == "ripple":
            mean = np.nan_to_num(swing.height(table, a, b, only))
            own = np.array([scope_error(m) for m in mean]) / 2.0
        else:
            mean = np.nan_to_num(swing.shown(table, item.meter, a, b, only))
            own = np.array([item.meter.alternating_sigma(m, item.resolution) for m in mean])
        # What a capacitor smooths is known no better than an old capacitor's value. Where the swing
        # is as large as the level nothing smooths it, and it is known as the mains or the beat is.
        level = np.nan_to_num(np.abs(table.mean[only, a] - table.mean[only, b]))
        bare = np.where(np.isin(table.status[only], BEATING), BEAT_SHARE, BARE_SHARE)
        share = np.where(swing.height(table, a, b, only) > level, bare, SMOOTHED_SHARE)
        return self._expected(item, mean, zero, (share * mean + 0.004, own), known, only)

    def likelihood(self, expected: Expected, value: float, span: float) -> Floats:
        """Density of the reading under each hypothesis (H).

        `span` [V] is the range a slip or an unknown fault could land in.
        """
        true, slip, _ = self._chances(expected, value, span)
        return np.asarray((expected.given.share * (true + slip)).sum(axis=0))

    def _chances(
        self, expected: Expected, value: float, span: float
    ) -> tuple[Floats, Floats, Floats]:
        """Density of the reading in each story if it is true and if it is a slip, how often either
        is counted, and how much a true one tells of tolerances (S, H): 1, a ninth for those three
        times as wide."""
        share, flat = expected.given.share, 1.0 / span
        sharp = np.ones_like(share)
        if np.isinf(value) and expected.over is not None:
            # A probability, not a density; so is its rival, the chance that a wild reading is OL.
            true, flat = np.tile(expected.over, (len(share), 1)), WILD_OVER
            slip = np.full_like(share, flat)
        else:
            mean, sigma = expected.each
            x, steep = expected.on(value), expected.steep
            narrow, wide = bells(x - mean, sigma)
            true, slip = (narrow + wide) * steep, np.full_like(share, flat)
            sharp = np.divide(narrow + wide / 9.0, narrow + wide, out=sharp, where=true > 0)
            sharp = np.maximum(sharp, 1.0 / 9.0)  # where both bells are nearly nought
            if expected.over is None and expected.linear:
                slip *= 1.0 - len(MISTYPED) * EACH
                for factor in MISTYPED:  # what was typed is the reading times this
                    z = (expected.on(value / factor) - mean) / sigma
                    slip += EACH * expected.steepness(value / factor) * bell(z, sigma) / abs(factor)
            for row, states in expected.states.items():
                true[:, row] = states.density(value)
        loose = flat if expected.drained is None else expected.loose(value, span)
        true = np.where(expected.known, true, loose)
        slip = np.where(expected.known, slip, flat)
        healthy = float((share[:, self.none] * true[:, self.none]).sum())
        true[:, self.unmodelled] = UNMODELLED_HEALTHY * healthy + (1.0 - UNMODELLED_HEALTHY) * flat
        slip[:, self.unmodelled] = flat
        return (1.0 - SLIP) * true, SLIP * slip, sharp

    def learn(self, table: Table, item: Evidence, span: float) -> Floats:
        """Take one reading into account; returns its likelihood under each hypothesis."""
        if item.quantity == "volts" and isinstance(table, Predictions):
            self.stories.fork(item.condition, specimens.straying(table))
        expected = self.expect(table, item, states=True)
        true, slip, sharp = self._chances(expected, item.scaled, span)
        likely = np.asarray((expected.given.share * (true + slip)).sum(axis=0))
        self.log_weight += np.log(likely)
        self.best += expected.best(span)
        if item.over:
            return likely  # says too little about values to learn any from it
        teaches = expected.known.copy()
        teaches[self.unmodelled] = False
        teaches[list(expected.states)] = False  # its state says little about any one value
        miss = expected.on(item.scaled) - expected.each[0]
        rest = expected.rest / sharp
        leaning = expected.slope, expected.bend, expected.place, expected.reach
        self.stories.learn(leaning, expected.given, miss, rest, (true, slip), teaches)
        return likely

    def observe(self, chance: Floats) -> None:
        """Take an observation into account that has this chance under each hypothesis (H).

        Something unmodelled makes it as likely as it makes nothing in particular.
        """
        taken = sign_taken(chance, self.none, self.unmodelled)
        self.log_weight += np.log(taken)
        self.best += np.log(taken)  # a sign is no reading to be explained better

    def prove(self, blamed: Sequence[bool], good: bool) -> None:
        """Take a bench test of one part into account: `blamed` marks hypotheses that accuse it."""
        self.log_weight += np.log(verdict_taken(blamed, good))


def sign_taken(chance: Floats, none: int, unmodelled: int) -> Floats:
    """Chance of an observation under each hypothesis (H), as it is weighed."""
    taken = np.clip(chance, 1e-6, 1.0)
    taken[unmodelled] = np.sqrt(taken[none])
    return taken


def verdict_taken(blamed: Sequence[bool], good: bool) -> Floats:
    """Chance of a verdict on a part under each hypothesis (H); `blamed` marks those that accuse it.

    A part called good is still bad one time in twenty, one called bad is good one in fifty
    (intermittent, wrong range, wrong part tested). Common practice, no published source.
    """
    says_bad = np.where(np.array(blamed), 0.95, 0.02)
    return np.asarray(1.0 - says_bad if good else says_bad)


def span_of(table: Table, quantity: Quantity = "volts") -> float:
    """Range a wild reading could land in: the circuit's own extremes [V], both ways; of a frequency
    or a dead reading all that the meter can show, on its scale."""
    if quantity == "amps":
        return WILD_AMPS
    if quantity == "frequency":
        return WILD_HERTZ
    if isinstance(table, DeadTable):
        return max(table.top - float(np.log(FLOOR)), 2.0)
    return max(2.0 * table.highest(), 10.0)


Lookup = Callable[[Evidence], Table]


def weigh(belief: Belief, evidence: Sequence[Evidence], lookup: Lookup) -> Belief:
    """Take every reading in order."""
    for item in evidence:
        table = lookup(item)
        belief.learn(table, item, span_of(table, item.quantity))
    return belief
