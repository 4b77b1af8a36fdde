"""Ceramic capacitors."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import RATES_217, REGISTRY, Net, Rate
from halfsplit.parts.capacitance import Capacitance
from halfsplit.quantity import Tolerance


@REGISTRY.add
class CeramicCapacitor(Capacitance):
    """Ceramic capacitors."""

    KIND: ClassVar[str] = "ceramic-capacitor"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(0.0074, RATES_217)
    # MIL-HDBK-338B row "capacitor, ceramic"; its value share is split with leakage, unpublished.
    SHARES: ClassVar[tuple[float, float, float, float]] = (0.49, 0.22, 0.15, 0.14)
    SERIES: ClassVar[float] = 0.1
    SHORT_OHMS: ClassVar[float] = 0.5
    FULL: ClassVar[Tolerance] = Tolerance(0.2, 0.2, True)

    kind: Literal["ceramic-capacitor"]
    a: Net
    b: Net
