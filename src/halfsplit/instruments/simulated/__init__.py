"""A meter that is not there: it reads what a function says, with noise and a last digit.

For demonstrations, practice and tests. Its name says in every entry that nothing was measured.
"""

from __future__ import annotations

import math
import random
import time
from collections.abc import Callable
from decimal import Decimal

from halfsplit.instruments.errors import GoneError, NoAnswerError, WrongQuantityError
from halfsplit.instruments.port import UNIT, Driver, Meter, Quantity, Sample
from halfsplit.instruments.said import written
from halfsplit.quantity import QuantityError, parse, parse_reading, show

# Digits of the display and noise as a share of the reading, of a common 6000-count hand-held meter
# in a steady hand; common practice, no published source.
_DIGITS, _NOISE = 4, 2e-4
_APART = 0.1  # s between readings


class SimulatedMeter(Meter):
    """Reads ``source(quantity)`` [SI]: a number, infinite for over range, None for probes in air.

    `noise` is a share of the reading (one sigma), `apart` [s] the time a reading takes. ``pull()``
    takes its cable out and ``plug()`` puts it back; while ``slow`` it does not answer.
    """

    def __init__(
        self,
        resource: str = "simulated",
        source: Callable[[Quantity], float | None] | None = None,
        *,
        noise: float = _NOISE,
        digits: int = _DIGITS,
        apart: float = _APART,
        seed: int | None = None,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], object] = time.sleep,
    ) -> None:
        super().__init__(resource)
        self._source = source or self._typed
        self._noise, self._digits, self._apart = noise, digits, apart
        self._random, self._clock, self._sleep = random.Random(seed), clock, sleep
        self._plugged, self._open, self.slow = True, False, False

    def pull(self) -> None:
        """Take the cable out."""
        self._plugged = self._open = False

    def plug(self) -> None:
        """Put the cable back."""
        self._plugged = True

    def open(self) -> None:
        """Connect."""
        if not self._plugged:
            raise GoneError(f"{self.resource}: nothing answers there; check cable and power")
        self._open = True

    def identify(self) -> str:
        """Says that it is not real."""
        return "simulated meter: nothing was measured"

    def read(self) -> Sample:
        """What the function says now, as a display would show it."""
        self._sleep(self._apart)
        if not self._plugged:
            raise GoneError(f"{self.resource} went away while being read; plug it in again")
        if not self._open or self.slow:
            raise NoAnswerError(f"{self.resource} sent nothing")
        unit, at = UNIT[self.quantity], self._clock()
        value = self._source(self.quantity)
        if value is None:  # nothing touched: OL on a resistance range, a little hum on the others
            value = math.inf if unit == "ohm" or self.quantity == "diode" else (
                self._random.gauss(0.0, 2e-3)
            )  # fmt: skip
        if math.isinf(value):
            text = "-OL" if value < 0 else "OL"
            return Sample(value, unit, text, text, at=at)
        shown = Decimal(value * (1.0 + self._random.gauss(0.0, self._noise)))
        last = max(shown.adjusted() if shown else 0, -3) - self._digits + 1
        shown = shown.quantize(Decimal(1).scaleb(last))
        text = written(shown, unit)
        reading = parse_reading(text, unit)
        return Sample(reading.value, unit, text, text, reading.resolution, at=at)

    def close(self) -> None:
        """Let go."""
        self._open = False

    def _typed(self, quantity: Quantity) -> float:
        """A value given in the place, as in ``simulated:4.98V``."""
        text, unit = self.resource.partition(":")[2] or self.resource, UNIT[quantity]
        try:
            return parse_reading(text, unit).value
        except QuantityError as error:
            sample = show(parse("5", unit), unit, 2)
            raise WrongQuantityError(
                f"“{text[:40]}” is no value to simulate: {error.wrong} Write simulated:{sample}"
            ) from error


DRIVER = Driver(
    name="simulated",
    what="no meter: a value given, with a little noise, for trying things out",
    takes=lambda text: False,
    make=SimulatedMeter,
    example="simulated:4.98V",
)
