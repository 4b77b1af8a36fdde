"""Wires."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import PRACTICE, REGISTRY, Rate
from halfsplit.parts.segment import Segment


@REGISTRY.add
class Wire(Segment):
    """One wire with its joints."""

    KIND: ClassVar[str] = "wire"
    RATE: ClassVar[Rate] = Rate(0.002, PRACTICE)
    SHARES: ClassVar[tuple[float, float]] = (0.80, 0.20)

    kind: Literal["wire"]
