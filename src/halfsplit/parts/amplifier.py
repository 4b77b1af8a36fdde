"""What op-amps and comparators share."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from halfsplit.circuit import elements as el
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    RATES_217,
    Amps,
    DeadLook,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    VoltRange,
    Volts,
    Wander,
    shares,
)


class AmplifierPart(Part):
    """Inputs plus and minus, output out, supplies vpos and vneg."""

    TERMINALS: ClassVar[tuple[str, ...]] = ("plus", "minus", "out", "vpos", "vneg")
    RATE: ClassVar[Rate] = Rate(0.024, f"{RATES_217}, linear circuit row")
    OPEN_COLLECTOR: ClassVar[bool] = False

    gain: float = Field(default=1e5, gt=0, description="open loop, volts a volt")
    offset: Volts = Field(default=2e-3, ge=0, description="largest typical input offset")
    bias: Amps = Field(default=1e-7, ge=0)
    swing_high: Volts = Field(default=1.5, ge=0, description="lost to the positive supply")
    swing_low: Volts = Field(default=1.5, ge=0, description="lost to the negative supply")
    output_amps: Amps = Field(default=25e-3, gt=0)
    output_ohms: Ohms = Field(default=75.0, gt=0)
    quiescent: Amps = Field(default=2e-3, ge=0)
    supply: VoltRange | None = Field(default=None, description="supply across vpos and vneg")
    package: str | None = None
    pinout: str | None = None
    made_of: str | None = None
    plus: Net
    minus: Net
    out: Net
    vpos: Net
    vneg: Net

    def values(self) -> dict[str, float]:
        """Parameters of the amplifier element."""
        return {
            "gain": self.gain,
            "gout": 1.0 / self.output_ohms,
            "high": self.swing_high,
            "low": self.swing_low,
            "limit": self.output_amps,
            "bias": self.bias,
            "gq": self.quiescent / 24.0,
            "collector": 1.0 if self.OPEN_COLLECTOR else 0.0,
        }

    def elements(self) -> list[el.Element]:
        return [el.Amplifier(self.ref, tuple(self.terminals().values()), self.values())]

    def modes(self) -> list[Mode]:
        stuck, able, bias = ((self.ref, k) for k in ("stuck", "able", "bias"))
        return shares(
            f"{MODES_338}, linear circuit row (improper output .77, none .23); split ours",
            {
                "output stuck high": (0.27, {stuck: 1.0}, "output against one supply"),
                "output stuck low": (0.27, {stuck: -1.0}, "output against one supply"),
                "no output": (0.23, {able: 0.0}, "output floats"),
                "input offset": (
                    0.13,
                    {(self.ref, "offset"): 0.1},
                    "balances with its inputs 0.1 V apart",
                ),
                "input leakage": (0.10, {bias: 1e-5}, "inputs drag on their source"),
            },
        )

    def wanders(self) -> list[Wander]:
        return [Wander(f"{self.ref} offset", {(self.ref, "offset"): self.offset / 3**0.5 + 1e-6})]

    def dead(self) -> list[DeadLook]:
        words = f"kilohms; near 0 is bad; {PRACTICE}"
        return [DeadLook("vpos", "vneg", "ohms", 300.0, float("inf"), words)]
