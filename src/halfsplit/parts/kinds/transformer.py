"""Transformers of any number of windings."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import (
    MODES_338,
    PRACTICE,
    RATES_217,
    REGISTRY,
    Amps,
    DeadLook,
    Fraction,
    Mode,
    Net,
    Ohms,
    Part,
    Rate,
    Rating,
    Volts,
    Wander,
    Watts,
    gone,
    shares,
)


class WindingEntry(BaseModel):
    """One winding: its two ends (`start` is the dotted end), open-circuit volts, and resistance."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    start: Net
    end: Net
    volts: Volts = Field(gt=0, description="rms, no load")
    ohms: Ohms = Field(gt=0, description="winding resistance, leakage included")
    amps: Amps | None = Field(default=None, gt=0)


@REGISTRY.add
class Transformer(Part):
    """Windings sharing one core. The first winding listed is the primary."""

    KIND: ClassVar[str] = "transformer"
    TERMINALS: ClassVar[tuple[str, ...]] = ()
    RATE: ClassVar[Rate] = Rate(0.16, f"{RATES_217}, power transformer row")

    kind: Literal["transformer"]
    windings: dict[str, WindingEntry] = Field(
        min_length=2,
        examples=[
            "{primary: {start: live, end: neutral, volts: 230V, ohms: 20ohm}, "
            "sec: {start: sa, end: sb, volts: 15V, ohms: 0.5ohm}}"
        ],
    )
    core_loss: Watts = Field(default=2.0, gt=0, description="iron loss at rated primary volts")
    ratio_tolerance: Fraction = 0.02

    @model_validator(mode="after")
    def _names_free(self) -> Transformer:
        if "iron" in self.windings:
            raise ValueError("`iron` is the core's own name: give the winding another")
        return self

    def core(self) -> str:
        """Name of the internal net that stands for volts per turn."""
        return f"{self.ref}#core"

    def terminals(self) -> dict[str, str]:
        found = {}
        for name, w in self.windings.items():
            found[f"{name}.start"], found[f"{name}.end"] = w.start, w.end
        return found

    def elements(self) -> list[el.Element]:
        parts: list[el.Element] = [
            el.Winding(
                f"{self.ref}:{name}",
                (w.start, w.end, self.core()),
                {"g": 1 / w.ohms, "turns": w.volts},
            )
            for name, w in self.windings.items()
        ]
        primary = next(iter(self.windings.values()))
        # Core voltage is 1 at rated volts, so the loss conductance is simply the watts.
        if primary.volts > 0:
            parts.append(
                el.Resistor(f"{self.ref}:iron", (self.core(), el.COMMON), {"g": self.core_loss})
            )
        return parts

    def modes(self) -> list[Mode]:
        each = 1.0 / len(self.windings)
        found = {}
        for name in self.windings:
            gone = {(f"{self.ref}:{name}", "g"): el.OPEN}
            found[f"{name} open"] = (0.58 * each, gone, f"winding {name} reads OL")
        # A shorted turn loads the core like a heavy resistor across the primary.
        hot = {(f"{self.ref}:iron", "g"): 50.0 * self.core_loss}
        found["shorted turns"] = (0.42, hot, "hot with nothing connected; primary fuse blows")
        return shares(MODES_338, found)

    def lift(self, lead: str) -> Overrides | None:
        name = lead.partition(".")[0]
        return gone(e for e in self.elements() if e.name == f"{self.ref}:{name}")

    def wanders(self) -> list[Wander]:
        found = []
        for name, w in list(self.windings.items())[1:]:
            key = (f"{self.ref}:{name}", "turns")
            found.append(
                Wander(f"{self.ref} {name} volts", {key: w.volts * (1 + self.ratio_tolerance)})
            )
        return found

    def ratings(self) -> list[Rating]:
        return [
            Rating("amps", w.amps, f"{self.ref}:{name}", "the part's entry")
            for name, w in self.windings.items()
            if w.amps
        ]

    def dead(self) -> list[DeadLook]:
        return [
            DeadLook(f"{n}.start", f"{n}.end", "ohms", 0.5 * w.ohms, 1.5 * w.ohms, PRACTICE)
            for n, w in self.windings.items()
        ]

    def label(self) -> str:
        return "transformer"
