"""Small-signal and switching diodes."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import MODES_338, RATES_217, REGISTRY, Net, Rate
from halfsplit.parts.junction import DiodePart


@REGISTRY.add
class Diode(DiodePart):
    """A small diode."""

    KIND: ClassVar[str] = "diode"
    RATE: ClassVar[Rate] = Rate(0.0075, f"{RATES_217}, switching diode row")
    SHARES: ClassVar[dict[str, float]] = {"short": 0.49, "open": 0.36, "leaky": 0.15}
    SHARES_SOURCE: ClassVar[str] = MODES_338

    kind: Literal["diode"]
    a: Net
    k: Net
