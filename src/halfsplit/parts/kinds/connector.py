"""Connector contacts."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import RATES_217, REGISTRY, Rate
from halfsplit.parts.segment import Segment


@REGISTRY.add
class Connector(Segment):
    """One pin and socket."""

    KIND: ClassVar[str] = "connector"
    RATE: ClassVar[Rate] = Rate(0.014, RATES_217)
    SHARES: ClassVar[tuple[float, float]] = (0.61, 0.39)

    kind: Literal["connector"]
