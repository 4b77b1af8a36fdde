"""The port every instrument fills: open, say who it is, be set, give readings, be closed."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, Self, get_args

from halfsplit.instruments.errors import WrongQuantityError
from halfsplit.quantity import Unit

Quantity = Literal["volts", "ac", "amps", "ohms", "diode", "frequency"]
QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
UNIT: dict[Quantity, Unit] = {
    "volts": "V",
    "ac": "V",
    "amps": "A",
    "ohms": "ohm",
    "diode": "V",
    "frequency": "Hz",
}
WORDS: dict[Quantity, str] = {
    "volts": "direct volts",
    "ac": "volts on the AC range",
    "amps": "direct current",
    "ohms": "ohms",
    "diode": "a diode test",
    "frequency": "frequency",
}


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading as it came.

    Attributes
    ----------
    value: in the SI unit; infinite with its sign over range, NaN when the meter has no reading.
    unit: of the value.
    text: as a person would type it, ``4.982 V`` or ``OL``; :func:`halfsplit.quantity.parse_reading`
        reads it back to the same value and the same last digit.
    raw: what the meter sent, unprintable characters escaped.
    step: one count of the last digit sent [SI]; 0 when no digits were sent.
    hold: the meter says its display stands still, so the number is not of this moment.
    at: when it came [s], on the clock of whoever asked; only differences mean anything.
    """

    value: float
    unit: Unit
    text: str
    raw: str
    step: float = 0.0
    hold: bool = False
    at: float = 0.0

    @property
    def over(self) -> bool:
        """Whether the meter was beyond its range."""
        return math.isinf(self.value)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for ``--json``; no number is given for over range or no reading."""
        number = self.value if math.isfinite(self.value) else None
        return {
            "value": number,
            "unit": self.unit,
            "text": self.text,
            "raw": self.raw,
            "over": self.over,
            "hold": self.hold,
        }


class Meter(ABC):
    """A meter at one place. Opening is not done by the constructor, so that it can be done again.

    Every method may raise an :class:`halfsplit.instruments.errors.InstrumentError`, and no other
    exception for anything the meter or its cable does.
    """

    quantities: frozenset[Quantity] = frozenset(QUANTITIES)

    def __init__(self, resource: str) -> None:
        self.resource = resource
        self.quantity: Quantity = "volts"

    def __enter__(self) -> Self:
        self.open()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @abstractmethod
    def open(self) -> None:
        """Connect; nothing a late answer of an earlier connection could be taken for is left."""

    @abstractmethod
    def identify(self) -> str:
        """Who the meter says it is, or what it is taken for when it cannot say."""

    def set_up(self, quantity: Quantity) -> None:
        """Make it measure `quantity`. Raises WrongQuantityError when it cannot."""
        if quantity not in self.quantities:
            can = ", ".join(WORDS[q] for q in QUANTITIES if q in self.quantities)
            raise WrongQuantityError(
                f"{self.resource} does not measure {WORDS[quantity]}; it measures {can}"
            )
        self.quantity = quantity

    @abstractmethod
    def read(self) -> Sample:
        """The next reading of the quantity it was set up for.

        Raises
        ------
        NoAnswerError: nothing in time. GoneError: cable, adapter or meter went away.
        GarbledError: no reading. WrongQuantityError: it measures something else.
        """

    @abstractmethod
    def close(self) -> None:
        """Let go of it; never raises, and may be called twice."""


@dataclass(frozen=True, slots=True)
class Driver:
    """One folder of this package.

    Attributes
    ----------
    name: word before the colon that picks it, as in ``plain:/dev/ttyUSB0``.
    what: what it reads, one line.
    takes: whether a place without such a word is for this driver.
    make: a meter at a place.
    example: a place as typed.
    """

    name: str
    what: str
    takes: Callable[[str], bool]
    make: Callable[[str], Meter]
    example: str
