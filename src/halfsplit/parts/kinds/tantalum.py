"""Tantalum capacitors."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import RATES_217, REGISTRY, Net, Rate
from halfsplit.parts.capacitance import Capacitance
from halfsplit.quantity import Tolerance


@REGISTRY.add
class Tantalum(Capacitance):
    """Tantalum capacitors."""

    KIND: ClassVar[str] = "tantalum"
    TERMINALS: ClassVar[tuple[str, ...]] = ("pos", "neg")
    RATE: ClassVar[Rate] = Rate(0.0039, RATES_217)
    # MIL-HDBK-338B row "capacitor, tantalum"; its value share is split with leakage, unpublished.
    SHARES: ClassVar[tuple[float, float, float, float]] = (0.69, 0.17, 0.07, 0.07)
    SERIES: ClassVar[float] = 0.5
    SHORT_OHMS: ClassVar[float] = 1.5
    FULL: ClassVar[Tolerance] = Tolerance(0.2, 0.2, True)
    POLAR: ClassVar[bool] = True

    kind: Literal["tantalum"]
    pos: Net
    neg: Net
