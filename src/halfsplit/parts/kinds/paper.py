"""Paper capacitors, waxed or oiled: the kind that leaks with age."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import RATES_217, REGISTRY, Net, Rate
from halfsplit.parts.capacitance import Capacitance
from halfsplit.quantity import Tolerance

# Insulation resistance times capacitance of a badly leaking specimen [s]: 500 kohm for 0.1 uF.
# A new one has thousands. Common practice, no published source.
LEAKING = 0.05


@REGISTRY.add
class PaperCapacitor(Capacitance):
    """Paper capacitors. An ohmmeter may show 20 Mohm on one that leaks at its working voltage."""

    KIND: ClassVar[str] = "paper-capacitor"
    TERMINALS: ClassVar[tuple[str, ...]] = ("a", "b")
    RATE: ClassVar[Rate] = Rate(0.0072, RATES_217)
    # MIL-HDBK-338B: short .63, open .37 for new parts. Half of each is moved to leakage: at this
    # age it dominates (common practice, unpublished).
    SHARES: ClassVar[tuple[float, float, float, float]] = (0.315, 0.185, 0.0, 0.50)
    SERIES: ClassVar[float] = 0.1
    SHORT_OHMS: ClassVar[float] = 100.0
    FULL: ClassVar[Tolerance] = Tolerance(0.2, 0.2, True)

    kind: Literal["paper-capacitor"]
    a: Net
    b: Net

    def leak(self) -> float:
        return float(LEAKING / self.value)
