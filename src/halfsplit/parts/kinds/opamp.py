"""Operational amplifiers."""

from __future__ import annotations

from typing import ClassVar, Literal

from halfsplit.parts.amplifier import AmplifierPart
from halfsplit.parts.base import REGISTRY


@REGISTRY.add
class OpAmp(AmplifierPart):
    """An operational amplifier (one of a multiple package is one entry)."""

    KIND: ClassVar[str] = "opamp"

    kind: Literal["opamp"]
