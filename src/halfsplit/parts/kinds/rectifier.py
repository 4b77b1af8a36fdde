"""Power rectifier diodes."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import MEMORY, RATES_217, REGISTRY, Net, Rate
from halfsplit.parts.junction import DiodePart


@REGISTRY.add
class Rectifier(DiodePart):
    """A rectifier or freewheel diode."""

    KIND: ClassVar[str] = "rectifier"
    RATE: ClassVar[Rate] = Rate(0.022, f"{RATES_217}, power rectifier row")
    SHARES: ClassVar[dict[str, float]] = {"short": 0.51, "open": 0.29, "leaky": 0.20}
    SHARES_SOURCE: ClassVar[str] = f"MIL-HDBK-338B, rectifier row; {MEMORY}"

    kind: Literal["rectifier"]
    a: Net
    k: Net
