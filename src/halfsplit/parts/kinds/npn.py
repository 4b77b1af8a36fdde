"""NPN transistors."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.base import REGISTRY
from halfsplit.parts.transistor import Transistor


@REGISTRY.add
class Npn(Transistor):
    """A bipolar NPN transistor."""

    KIND: ClassVar[str] = "npn"
    POLARITY: ClassVar[float] = 1.0

    kind: Literal["npn"]
