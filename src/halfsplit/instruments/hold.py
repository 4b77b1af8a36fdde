"""When a stream of readings has settled, so that the person at the probes need not look up.

Pure logic on (time, value): no clock, no meter. A reading settles when everything within a window
agrees, nothing still creeps, and it is not what probes in the air show; it is told once, and the
next only after the probes have left it.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, replace
from statistics import median

from halfsplit.instruments.port import Quantity, Sample
from halfsplit.quantity import Unit


@dataclass(frozen=True, slots=True)
class Settling:
    """What counts as settled.

    All figures: common practice, no published source, chosen on synthesised streams
    (tests/instruments/test_hold.py).

    Attributes
    ----------
    window: time [s] over which readings must agree; a hand is still for a second or so.
    fewest: readings the window must hold, so that one late reading is not taken for a still one.
    relative, absolute: largest spread in the window, as a share of the reading and in its unit; the
        larger of them counts, and never less than `counts` of the last digit sent. 0.3 % is well
        below the tolerance of any part that is asked about.
    counts: last digits a display may flicker by.
    floor: readings this near to nought are never told by themselves, for probes in the air show
        that too; a dead rail is taken by key.
    horizon: time [s] over which the present creep, carried on, must stay within the spread: a
        capacitor charging with a time constant up to this is within the spread of its end then.
    longest: time [s] looked back over for that creep: noise hides it in a short window, so a noisy
        reading takes longer to be told.
    leave: how many spreads the reading must move away before the next is told, twice running, for
        a single wild reading is no lifted probe.
    """

    window: float = 1.2
    fewest: int = 4
    relative: float = 0.003
    absolute: float = 0.0
    counts: float = 3.0
    floor: float = 0.0
    horizon: float = 10.0
    longest: float = 6.0
    leave: float = 5.0


# Floors: millivolts of hum on ten megohms, more on an AC range; microamperes of an open shunt. Ohms
# and diode tests show over range with probes in the air, and nought is a reading there.
# From memory, unconfirmed.
SETTLING: dict[Quantity, Settling] = {
    "volts": Settling(absolute=1e-3, floor=0.02),
    "ac": Settling(relative=0.01, absolute=2e-3, floor=0.1),
    "amps": Settling(relative=0.005, absolute=1e-5, floor=1e-4),
    "ohms": Settling(relative=0.005, absolute=0.1),
    "diode": Settling(absolute=2e-3),
    "frequency": Settling(relative=0.002, floor=0.5),
}


@dataclass(frozen=True, slots=True)
class Held:
    """A reading that stood still, or was taken by key.

    Attributes
    ----------
    sample: the reading of the window that is its median, so a reading the meter really sent.
    low, high: all readings of the window lie between.
    creep: how fast it still moved [unit/s], by a straight line through the window.
    settled: False when it was taken by key before it stood still.
    """

    sample: Sample
    low: float
    high: float
    creep: float
    settled: bool = True

    @property
    def value(self) -> float:
        """In the SI unit of the sample."""
        return self.sample.value

    @property
    def unit(self) -> Unit:
        """Unit of the value."""
        return self.sample.unit


class Hold:
    """Fed with readings one by one; says when one has settled."""

    def __init__(self, settling: Settling | None = None, quantity: Quantity = "volts") -> None:
        self.settling = settling or SETTLING[quantity]
        self._all: deque[Sample] = deque()
        self._told: Held | None = None
        self._away = 0
        self._stairs: deque[tuple[float, float]] = deque(
            maxlen=2
        )  # last changes: when, by how much

    def add(self, sample: Sample) -> Held | None:
        """A held reading when this one completes it, else None."""
        rule = self.settling
        if not math.isfinite(sample.value) or sample.hold:
            self._all.clear()
            self._leave(away=not sample.hold)
            return None
        gap = sample.at - self._all[-1].at if self._all else 0.0
        if gap < 0 or gap > max(rule.window, 3.0 * self._usual()):  # the meter was away meanwhile
            self._all.clear()
        if self._all and sample.value != self._all[-1].value:
            self._stairs.append((sample.at, sample.value - self._all[-1].value))
        self._all.append(sample)
        while len(self._all) > rule.fewest and sample.at - self._all[1].at >= rule.longest:
            self._all.popleft()
        if self._told is not None:
            far = rule.leave * self._spread(self._told.value, sample.step)
            self._leave(away=abs(sample.value - self._told.value) > far)
            return None
        if abs(sample.value) < rule.floor or not self._still():
            return None
        self._told = self._seen(settled=True)
        self._away = 0
        return self._told

    def take(self) -> Held | None:
        """What is read now, by key, settled or not; None before anything was read.

        After probes in the air or an over-range reading it is what came last.
        """
        return self._seen(settled=self._still()) if self._all else None

    def forget(self) -> None:
        """Start afresh: another quantity, another connection."""
        self._all.clear()
        self._stairs.clear()
        self._told, self._away = None, 0

    def _usual(self) -> float:
        """Usual time between the readings held [s]."""
        if len(self._all) < 2:
            return math.inf
        return (self._all[-1].at - self._all[0].at) / (len(self._all) - 1)

    def _leave(self, away: bool) -> None:
        self._away = self._away + 1 if away else 0
        if self._away >= 2:
            self._told = None

    def _spread(self, value: float, step: float) -> float:
        rule = self.settling
        return max(rule.absolute, rule.relative * abs(value), rule.counts * step)

    def _lately(self, seconds: float) -> list[Sample]:
        """The readings of the last `seconds`, the fewest that count at least."""
        last = self._all[-1].at
        found = [s for s in self._all if last - s.at <= seconds + 1e-9]
        return (
            found if len(found) >= self.settling.fewest else [*self._all][-self.settling.fewest :]
        )

    def _seen(self, settled: bool) -> Held:
        window = self._lately(self.settling.window)
        values = [s.value for s in window]
        middle = median(values)
        best = min(reversed(window), key=lambda s: abs(s.value - middle))
        last = replace(best, at=window[-1].at)
        return Held(last, min(values), max(values), _slope(window)[0], settled)

    def _still(self) -> bool:
        rule, window = self.settling, self._lately(self.settling.window)
        if len(window) < rule.fewest or window[-1].at - window[0].at < 0.9 * rule.window:
            return False
        values = [s.value for s in window]
        allowed = self._spread(median(values), max(s.step for s in window))
        if max(values) - min(values) > allowed or self._climbing(allowed):
            return False
        back = rule.window
        while True:
            slope, error = _slope(self._lately(back))
            if (abs(slope) + 2.0 * error) * rule.horizon <= allowed:
                return True
            if back >= rule.longest:
                return False
            back = min(1.5 * back, rule.longest)

    def _climbing(self, allowed: float) -> bool:
        """Whether a display with few digits still climbs stairs: between two steps it stands still,
        and only a rest of three steps' time says that it has arrived."""
        if len(self._stairs) < 2 or self._stairs[0][1] * self._stairs[1][1] < 0:
            return False
        (before, _), (last, height) = self._stairs
        pace = abs(height) / (last - before)
        return self._all[-1].at - last < 3.0 * (last - before) and (
            pace * self.settling.horizon > allowed
        )


def _slope(window: list[Sample]) -> tuple[float, float]:
    """Slope and its standard error, by least squares [unit/s]."""
    count = len(window)
    mean_t = sum(s.at for s in window) / count
    mean_v = sum(s.value for s in window) / count
    spread = sum((s.at - mean_t) ** 2 for s in window)
    if count < 3 or spread <= 0.0:
        return 0.0, math.inf
    slope = sum((s.at - mean_t) * (s.value - mean_v) for s in window) / spread
    left = sum((s.value - mean_v - slope * (s.at - mean_t)) ** 2 for s in window)
    return slope, math.sqrt(left / (count - 2) / spread)
