"""Part types known by their sheets alone: no circuit is made of them, no assembly can use them.

A board's budget, a look-up at the bench and a choice of spare need ratings and pins, not a model.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from halfsplit.parts.base import Amps, Celsius, KelvinPerWatt, Volts, Watts
from halfsplit.quantity import parse


class Draw(BaseModel):
    """Current of one package from one supply: `typical`, the `most` its sheet allows, and
    `standby` while it is not selected, all as sums over the package."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    typical: Amps = Field(ge=0)
    most: Amps = Field(gt=0)
    standby: Amps | None = Field(default=None, ge=0)


class Shelf(BaseModel):
    """What the kinds of this module share."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    KIND: ClassVar[str]
    TERMINALS: ClassVar[tuple[str, ...]] = ()

    package: str | None = None
    pinout: str | None = None


def _supply(text: object) -> str:
    parse(str(text), "V")
    return str(text)


class Chip(Shelf):
    """Logic or memory: what one package draws from each of its supplies, by nominal volts."""

    KIND: ClassVar[str] = "chip"

    kind: Literal["chip"]
    does: str
    family: str
    supplies: dict[Annotated[str, BeforeValidator(_supply)], Draw]

    def draws(self) -> dict[float, Draw]:
        """Nominal volts of a supply -> what it draws there."""
        return {parse(text, "V"): draw for text, draw in self.supplies.items()}


class Triac(Shelf):
    """A triac. Triggering differs by quadrant and no circuit model of it is made here."""

    KIND: ClassVar[str] = "triac"

    kind: Literal["triac"]
    volts: Volts = Field(gt=0)
    amps: Amps = Field(gt=0)
    surge: Amps | None = None
    i2t: float | None = None
    trigger_volts: Volts = Field(gt=0)
    trigger_amps: Amps = Field(gt=0)
    holding_amps: Amps | None = None
    on_volts: Volts = Field(gt=0)
    on_volts_at: Amps | None = None
    theta_jc: KelvinPerWatt | None = None
    junction_max: Celsius | None = None


class Control(Shelf):
    """A control or reference circuit of more than three leads, such as the 723.

    `reference` with its range at 25 degC, `sense` volts at which its current limit takes hold.
    """

    KIND: ClassVar[str] = "control"

    kind: Literal["control"]
    does: str
    reference: Volts
    reference_low: Volts | None = None
    reference_high: Volts | None = None
    input_min: Volts | None = None
    input_max: Volts = Field(gt=0)
    output_low: Volts | None = None
    output_high: Volts | None = None
    output_amps: Amps | None = None
    sense: Volts | None = None
    quiescent: Amps = Field(ge=0)
    quiescent_most: Amps | None = None
    power: Watts | None = None
    junction_max: Celsius | None = None


class Thyratron(Shelf):
    """A gas valve with a grid; `arc` is its drop while it conducts."""

    KIND: ClassVar[str] = "thyratron"

    kind: Literal["thyratron"]
    volts: Volts = Field(gt=0)
    amps: Amps = Field(gt=0)
    anode_peak: Amps | None = None
    arc: Volts = Field(gt=0)
    heater_volts: Volts
    heater_amps: Amps


SHELF: dict[str, type[Shelf]] = {k.KIND: k for k in (Chip, Triac, Control, Thyratron)}
