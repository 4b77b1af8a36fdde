"""Film and paper capacitors."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import RATES_217, REGISTRY, Net, Rate
from halfsplit.parts.capacitance import Capacitance
from halfsplit.quantity import Tolerance


@REGISTRY.add
class FilmCapacitor(Capacitance):
    """Film and paper capacitors."""

    KIND: ClassVar[str] = "film-capacitor"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(0.0072, RATES_217)
    # MIL-HDBK-338B row "capacitor, plastic"; its value share is split with leakage, unpublished.
    SHARES: ClassVar[tuple[float, float, float, float]] = (0.40, 0.42, 0.09, 0.09)
    SERIES: ClassVar[float] = 0.1
    SHORT_OHMS: ClassVar[float] = 0.5
    FULL: ClassVar[Tolerance] = Tolerance(0.1, 0.1, True)

    kind: Literal["film-capacitor"]
    a: Net
    b: Net
