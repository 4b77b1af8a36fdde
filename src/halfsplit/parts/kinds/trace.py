"""Board traces."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import PRACTICE, REGISTRY, Rate
from halfsplit.parts.segment import Segment


@REGISTRY.add
class Trace(Segment):
    """One printed trace segment."""

    KIND: ClassVar[str] = "trace"
    RATE: ClassVar[Rate] = Rate(0.002, PRACTICE)
    SHARES: ClassVar[tuple[float, float]] = (0.80, 0.20)

    kind: Literal["trace"]
