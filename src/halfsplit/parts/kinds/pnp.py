"""PNP transistors."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import REGISTRY
from halfsplit.parts.transistor import Transistor


@REGISTRY.add
class Pnp(Transistor):
    """A bipolar PNP transistor."""

    KIND: ClassVar[str] = "pnp"
    POLARITY: ClassVar[float] = -1.0

    kind: Literal["pnp"]
