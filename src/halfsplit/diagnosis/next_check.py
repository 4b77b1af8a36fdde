"""The one check to make next: most expected information per minute, told with its outcomes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.diagnosis.evidence import Evidence, Meter, Quantity
from halfsplit.diagnosis.expected import SLIP, Expected
from halfsplit.diagnosis.information import bins, expected_gain
from halfsplit.diagnosis.order import heaviest
from halfsplit.diagnosis.posterior import Belief, Bools, Floats, Table
from halfsplit.diagnosis.signs import look_outcomes
from halfsplit.faults.dead_table import DeadTable
from halfsplit.faults.hypotheses import Hypothesis
from halfsplit.faults.ohmmeter import Ohmmeter
from halfsplit.faults.predictions import Predictions

# Minutes a check takes. Common practice, no published source.
AT_POINT, AT_LEAD, CHANGE_LOAD, CHANGE_FEED = 0.7, 1.0, 2.0, 5.0
# To switch off, discharge, lift a lead and power up again; to change a part, old one kept. A joint
# heated is a joint and a track risked, so each counts as longer than it takes.
LIFT, SWAP = 12.0, 25.0
AT_DEAD = 0.5  # on top: prove it discharged, fetch the ohmmeter; nothing is live
WIDEST_DEAD = 0.1  # as 3 % + 50 mV below, on the logarithm of ohms
AT_LOOK = 0.5  # a glass, a torch and the parts list
AT_RIPPLE = 1.5  # on top of reaching the net: fetch and set the scope
AT_AC = 0.3  # on top: turn the meter to its AC range
WIDEST_HERTZ = 0.05  # as WIDEST_DEAD, on the logarithm of hertz
# Voltage to common above which a probe needs care: 60 V direct (IEC 61010-1 limit of the stricter
# edition). A check above it counts as this many times longer, so a harmless one wins if it serves.
TOUCH_VOLTS, LIVE_FACTOR = 60.0, 4.0


UNITS = {"ohms": "ohm", "frequency": "Hz"}  # of what is not in volts


@dataclass(frozen=True)
class Candidate:
    """A reading one could take: red lead on `net`, in what condition, at how many minutes."""

    net: str
    quantity: Quantity
    condition: Condition
    minutes: float
    black: str = ""  # net of the other lead; "" is common
    ohmmeter: Ohmmeter | None = None  # for a reading of the dead machine


@dataclass(frozen=True)
class Outcome:
    """One thing the meter may show, its chance, and the hypotheses (indices) it would leave."""

    low: float
    high: float
    chance: float
    members: tuple[int, ...]
    adrift: bool = False
    said: str = ""  # words for an outcome that is no reading


@dataclass(frozen=True)
class Check:
    """A proposed check with its worth [bit], cost [min] and outcomes, likeliest first.

    `tell` works its outcomes out and `sound` what a healthy machine reads, None where its net is
    adrift: most checks are only compared.
    """

    candidate: Candidate
    bits: float
    tell: Callable[[], tuple[Outcome, ...]]
    sound: Callable[[], tuple[float, float] | None]
    top_volts: float

    @cached_property
    def healthy(self) -> tuple[float, float] | None:
        """Lowest and highest reading of a healthy machine."""
        return self.sound()

    @cached_property
    def outcomes(self) -> tuple[Outcome, ...]:
        """What the meter may show."""
        return self.tell()

    @property
    def score(self) -> float:
        """Bits a minute."""
        return self.bits / self.candidate.minutes

    def of(self, indices: Sequence[int]) -> Check:
        """The same check with members told by other indices."""
        return replace(
            self,
            tell=lambda: tuple(
                replace(o, members=tuple(indices[m] for m in o.members)) for o in self.outcomes
            ),
        )

    def as_dict(self, names: Sequence[str]) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "net": self.candidate.net,
            "black": self.candidate.black,
            "quantity": self.candidate.quantity,
            "unit": UNITS.get(self.candidate.quantity, "V"),
            "ohmmeter": self.candidate.ohmmeter.name if self.candidate.ohmmeter else None,
            "condition": self.candidate.condition.as_dict(),
            "minutes": self.candidate.minutes,
            "bits": round(self.bits, 4),
            "healthy": [_finite(v) for v in self.healthy] if self.healthy else None,
            "outcomes": [
                {
                    "low": _finite(o.low),
                    "high": _finite(o.high),
                    "chance": round(o.chance, 4),
                    "adrift": o.adrift,
                    "said": o.said,
                    "leaves": list(dict.fromkeys(names[i] for i in o.members)),
                }
                for o in self.outcomes
            ],
        }


def _finite(value: float) -> float | None:
    """For JSON: None for over-range and for what nothing holds."""
    return value if np.isfinite(value) else None


def judge(belief: Belief, table: Table, candidate: Candidate, meter: Meter) -> Check:
    """Worth and outcomes of one candidate."""
    weights = belief.weights()
    live = np.flatnonzero(weights > 1e-5)
    dead = candidate.ohmmeter
    probe = Evidence(
        candidate.net,
        candidate.black,
        candidate.quantity,
        np.nan if dead is None else np.inf,  # not taken yet
        0.01,
        candidate.condition,
        meter,
        ohmmeter=dead,
    )
    expected = belief.expect(table, probe)
    expected = expected.pulled_down()
    known = expected.known[live] & (live != belief.unmodelled)
    mean, sigma = expected.mean[live], expected.sigma[live]
    share = weights[live] / weights[live].sum()
    if isinstance(table, DeadTable) and dead is not None and expected.over is not None:
        return _judge_dead(candidate, dead, table, expected, live, share, known, belief.none)
    counted = candidate.quantity == "frequency"
    at, wide = (v[live] for v in expected.joint or (expected.mean, expected.sigma))
    knee = 0.05 if expected.scale is None else 1.0  # V, or sigmas of a good machine
    bits = _bits(at, wide, known, share, 1e3 if counted else knee)
    seen = mean[(share > 1e-3) & known]
    top = float(np.abs(seen).max()) if seen.size else 0.0
    if candidate.quantity != "volts" and not isinstance(table, DeadTable):
        top = max(top, _at_the_probe(table, live[share > 1e-3], candidate.net))

    def band() -> tuple[float, float] | None:
        # What a healthy machine reads owes nothing to readings of a sick one.
        sound = belief.unlearnt().expect(table, probe, np.array([belief.none]))
        if not sound.known[0]:
            return None
        mid, half = float(sound.mean[0]), 2 * float(sound.sigma[0])
        return mid - half, mid + half

    def tell() -> tuple[Outcome, ...]:
        found = _outcomes(live, share, mean, sigma, known, WIDEST_HERTZ if counted else None)
        healthy = band()
        if healthy:
            found = tuple(_cover(o, healthy) if belief.none in o.members else o for o in found)
        return tuple(_hertz(o) for o in found) if counted else found

    def told() -> tuple[float, float] | None:
        healthy = band()
        if counted and healthy:
            return float(np.exp(healthy[0])), float(np.exp(healthy[1]))
        return healthy

    minutes = candidate.minutes * (LIVE_FACTOR if top > TOUCH_VOLTS else 1.0)
    return Check(replace(candidate, minutes=minutes), bits, tell, told, top)


def _at_the_probe(table: Predictions, rows: np.ndarray, net: str) -> float:
    """The most volts to common the probe may meet [V], whatever is read there: a scope or a meter
    on its AC range that shows millivolts stands at the rail's own volts."""
    at = table.column(net)
    peak = np.abs(table.mean[rows, at]) + table.ripple[rows, at]
    return float(np.nan_to_num(peak).max(initial=0.0))


def _hertz(o: Outcome) -> Outcome:
    """An outcome of a frequency, off the scale it is weighed on."""
    return o if o.adrift else replace(o, low=float(np.exp(o.low)), high=float(np.exp(o.high)))


def _bits(
    mean: Floats, sigma: Floats, known: Bools, share: Floats, knee: float, count: int = 160
) -> float:
    """Worth of a reading [bit]; hypotheses that expect the same of it count as one."""
    same = np.where(known, np.round(mean, 5) + 1j * np.round(sigma, 5), 1e30)
    _, first, which = np.unique(same, return_index=True, return_inverse=True)
    joint = np.bincount(which, share, len(first)).astype(float)
    spread = bins(mean[first], sigma[first], known[first], count, knee)
    return expected_gain(joint, (1.0 - SLIP) * spread + SLIP / spread.shape[1])


def _judge_dead(
    candidate: Candidate,
    meter: Ohmmeter,
    table: DeadTable,
    expected: Expected,
    live: np.ndarray,
    share: np.ndarray,
    known: Bools,
    none: int,
) -> Check:
    """On the meter's own scale, where everything over-range is one outcome above its top."""
    assert expected.over is not None
    over = expected.over > 0.5
    whole = np.where(over, table.top + 1.0, expected.mean)
    sigmas = np.where(over, 0.02, expected.sigma)
    mean, sigma = whole[live], sigmas[live]
    bits = _bits(mean, sigma, known, share, 1e3, count=600)

    def told(x: float) -> float:
        return meter.unscale(x) if x <= table.top else np.inf

    healthy = None
    if expected.known[none]:
        mid, half = float(whole[none]), 2 * float(sigmas[none])
        healthy = (told(mid - half), told(mid + half))

    def tell() -> tuple[Outcome, ...]:
        found = _outcomes(live, share, mean, sigma, known, WIDEST_DEAD)
        return tuple(
            o if o.adrift else replace(o, low=told(o.low), high=told(o.high)) for o in found
        )

    return Check(candidate, bits, tell, lambda: healthy, 0.0)


def _cover(outcome: Outcome, band: tuple[float, float]) -> Outcome:
    """The outcome that holds the healthy machine, widened to all its tolerances allow."""
    return replace(outcome, low=min(outcome.low, band[0]), high=max(outcome.high, band[1]))


def _outcomes(
    live: np.ndarray,
    share: np.ndarray,
    mean: np.ndarray,
    sigma: np.ndarray,
    known: np.ndarray,
    widest: float | None = None,
) -> tuple[Outcome, ...]:
    """Cluster predicted readings into intervals with clear gaps between."""
    order = [int(i) for i in np.argsort(mean) if known[i] and share[i] > 1e-4]
    # A hypothesis with a vague prediction must not bridge two clear ones, so for drawing the lines
    # between outcomes every prediction counts as at most 3 % + 50 mV wide.
    most = 0.03 * np.abs(mean) + 0.05 if widest is None else widest
    width = np.minimum(2 * sigma, most)
    clusters: list[list[int]] = []
    edge = -np.inf
    for i in order:
        if clusters and mean[i] - width[i] <= edge:
            clusters[-1].append(i)
        else:
            clusters.append([i])
        edge = max(edge, mean[i] + width[i])
    lines = [
        0.5 * (max(mean[i] + width[i] for i in a) + min(mean[i] - width[i] for i in b))
        for a, b in pairwise(clusters)
    ]
    found = []
    for cluster, floor, top in zip(clusters, [-np.inf, *lines], [*lines, np.inf], strict=False):
        # Told as wide as the predictions are, but never past the line to the next outcome.
        members = sorted(cluster, key=lambda i: (-round(float(share[i]), 9), i))
        low = max(float(min(mean[i] - 2 * sigma[i] for i in cluster)), float(floor))
        high = min(float(max(mean[i] + 2 * sigma[i] for i in cluster)), float(top))
        chance = float(share[cluster].sum())
        found.append(Outcome(low, high, chance, tuple(int(live[i]) for i in members)))
    loose = [i for i in range(len(live)) if not known[i] and share[i] > 1e-3]
    if loose:
        members = sorted(loose, key=lambda i: (-round(float(share[i]), 9), i))
        ids = tuple(int(live[i]) for i in members)
        found.append(Outcome(np.nan, np.nan, float(share[loose].sum()), ids, adrift=True))
    return tuple(sorted(found, key=lambda o: (o.adrift, -o.chance)))


def look(belief: Belief, listed: Sequence[Hypothesis], ref: str, condition: Condition) -> Check:
    """Worth of looking whether a part is the one of the drawing, and fitted as drawn."""
    weights = belief.weights()
    chance = look_outcomes(ref, listed, condition)
    bits = expected_gain(weights, chance)
    outcomes = []
    for k, said in enumerate(("as drawn", "not as drawn")):
        joint = weights * chance[:, k]
        order = [int(i) for i in heaviest(joint) if joint[i] > 1e-4 * joint.sum()]
        total = float(joint.sum())
        outcomes.append(Outcome(np.nan, np.nan, total, tuple(order[:12]), said=said))
    found = Candidate(ref, "look", condition, AT_LOOK)
    return Check(found, bits, lambda: tuple(outcomes), lambda: None, 0.0)


def rank(
    belief: Belief,
    tables: Mapping[Condition, Predictions] | Mapping[tuple[str, str], DeadTable],
    candidates: Sequence[Candidate],
    meter: Meter,
) -> list[Check]:
    """Every candidate judged, best bits a minute first; ties go to the earlier candidate.

    `tables` is keyed by condition, for a dead reading by its two nets.
    """
    by: dict[Any, Table] = {
        k: t if isinstance(t, DeadTable) else t.by_net() for k, t in tables.items()
    }
    checks = [
        judge(belief, by[(c.net, c.black) if c.ohmmeter else c.condition], c, meter)
        for c in candidates
    ]
    return sorted(checks, key=lambda c: -c.score)
