"""Aluminium electrolytic capacitors."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import RATES_217, REGISTRY, Net, Rate
from halfsplit.parts.capacitance import Capacitance
from halfsplit.quantity import Tolerance


@REGISTRY.add
class Electrolytic(Capacitance):
    """Aluminium electrolytic capacitors."""

    KIND: ClassVar[str] = "electrolytic"
    TERMINALS: ClassVar[tuple[str, ...]] = ("pos", "neg")
    RATE: ClassVar[Rate] = Rate(0.061, RATES_217)
    # MIL-HDBK-338B: short .53, open .35, leak .10, value .02 for new parts. Half of the short and
    # open shares is moved to drying out: at this age it dominates (common practice, unpublished).
    SHARES: ClassVar[tuple[float, float, float, float]] = (0.265, 0.175, 0.46, 0.10)
    SERIES: ClassVar[float] = 0.05
    SHORT_OHMS: ClassVar[float] = 0.2
    FULL: ClassVar[Tolerance] = Tolerance(0.1, 0.5, True)
    POLAR: ClassVar[bool] = True

    kind: Literal["electrolytic"]
    pos: Net
    neg: Net
