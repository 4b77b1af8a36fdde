"""A connector: its pins, what each of them does, and to which standard."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from halfsplit.assembly.advice import WrongRecord
from halfsplit.assembly.model import Entry
from halfsplit.boards.standards import (
    DTE_IN,
    DTE_OUT,
    LAYOUTS,
    STANDARDS,
    Circuit,
    Name,
)
from halfsplit.parts.base import Amps, Ohms, VoltRange, Volts
from halfsplit.quantity.ranges import Range

Role = Literal[
    "send", "send+", "send-", "receive", "receive+", "receive-", "signal-out", "signal-in",
    "common", "frame", "loop-send+", "loop-send-", "loop-receive+", "loop-receive-",
    "loop-source", "supply", "unused",
]  # fmt: skip
End = Literal["DTE", "DCE", "unknown"]
DRIVERS = ("send", "send+", "send-", "signal-out")
INPUTS = ("receive", "receive+", "receive-", "signal-in")


class Pin(Entry):
    """One pin. A circuit of TIA-232 gets its role from the end; anything else states it."""

    role: Role | None = Field(default=None, examples=["send, receive+, common, loop-send+, …"])
    circuit: Circuit | None = Field(default=None, examples=["TD, RD, RTS, CTS, SG, …"])
    standard: Name | None = None
    name: str | None = Field(default=None, description="what the drawing calls it")
    mark: VoltRange | None = Field(default=None, description="driver's idle level, if measured")
    space: VoltRange | None = Field(default=None, description="driver's other level, if measured")
    withstands: VoltRange | None = Field(default=None, description="what the input takes unharmed")
    active: bool | Literal["unknown"] | None = Field(
        default=None, description="loop pair that brings its own current source"
    )
    volts: Volts | None = Field(default=None, description="of a source or supply pin")
    ohms: Ohms | None = Field(default=None, ge=0, description="in series with the pin")
    drop: Volts | None = Field(default=None, ge=0, description="lost in a loop pair at mark")
    least: Amps | None = Field(default=None, gt=0, description="smallest mark current")
    note: str | None = None

    @model_validator(mode="after")
    def _says_what_it_is(self) -> Self:
        if self.role is None and self.circuit is None:
            raise WrongRecord(
                "the pin has neither a role nor a circuit", "{role: send} or {circuit: TD}"
            )
        if self.role == "loop-source" and self.volts is None:
            raise WrongRecord("a loop source needs its volts", "{role: loop-source, volts: 24V}")
        return self


def pins_by_name(value: object) -> object:
    """Pin numbers are written bare, and YAML reads them as numbers."""
    return {str(k): v for k, v in value.items()} if isinstance(value, Mapping) else value


class Connector(Entry):
    """One end of a cable."""

    at: str = Field(default="", description="board or device it belongs to")
    end: End = "unknown"
    standard: Name | None = Field(default=None, examples=["TIA-232"])
    layout: Literal["DB25", "DE9"] | None = None
    mains: bool = Field(default=True, description="the device has its own mains lead")
    pins: Annotated[dict[str, Pin], BeforeValidator(pins_by_name)] = Field(default_factory=dict)
    note: str | None = None

    @model_validator(mode="after")
    def _has_pins(self) -> Self:
        if not self.pins and not self.layout:
            raise WrongRecord(
                "the connector has neither pins nor a layout",
                "pins: {1: {circuit: FG}, …}, or layout: DB25 with standard: TIA-232",
            )
        for name, pin in self.all_pins().items():
            if pin.standard is None and self.standard is None and _needs_standard(pin):
                wrong = f"pin {name} follows no standard, and neither does the connector"
                raise WrongRecord(wrong, f"standard: {' or '.join(STANDARDS)}")
            single = pin.role in ("send", "receive") or pin.circuit in ("TD", "RD")
            if single and (pin.standard or self.standard) == "TIA-422":
                wrong = f"pin {name}: TIA-422 takes a pair of pins"
                raise WrongRecord(wrong, "two pins, {circuit: TD+} and {circuit: TD-}")
        return self

    def all_pins(self) -> dict[str, Pin]:
        """Pins of the layout, those written out laid over them."""
        found = {k: Pin(circuit=c) for k, c in LAYOUTS.get(self.layout or "", {}).items()}
        return found | dict(self.pins)


def _needs_standard(pin: Pin) -> bool:
    if pin.circuit in ("SG", "FG"):
        return False
    role = pin.role or "send"
    return role in (*DRIVERS, *INPUTS)


class Wired(Entry):
    """A pin whose role is settled: what the planner works on."""

    end: str
    pin: str
    role: Role
    standard: str | None
    circuit: str | None
    data: Pin

    @property
    def label(self) -> str:
        """Pin as one says it: ``J3-5 (RX+)``."""
        name = self.data.name or self.circuit
        return f"{self.end}-{self.pin}" + (f" ({name})" if name else "")

    @property
    def drives(self) -> bool:
        """Whether it puts a voltage out."""
        return self.role in DRIVERS

    @property
    def mark(self) -> tuple[float, float]:
        """Idle output [V] low and high, as written or as the standard has it."""
        if self.data.mark:
            return self.data.mark.low, self.data.mark.high
        return STANDARDS[str(self.standard)].mark

    @property
    def space(self) -> tuple[float, float]:
        """The other output [V] low and high; a written mark alone is mirrored about 0 V."""
        if self.data.space:
            return self.data.space.low, self.data.space.high
        if self.data.mark and self.standard != "TTL":
            return -self.data.mark.high, -self.data.mark.low
        return STANDARDS[str(self.standard)].space

    @property
    def withstands(self) -> Range:
        """What the input takes [V]."""
        return self.data.withstands or Range(*STANDARDS[str(self.standard)].withstands)


def settled(name: str, connector: Connector, end: str | None = None) -> dict[str, Wired]:
    """Pins with their roles, those whose direction is not known left out.

    `end` overrides what the file says, for asking what if.
    """
    end = end or connector.end
    found: dict[str, Wired] = {}
    for number, pin in connector.all_pins().items():
        role = pin.role or _role(str(pin.circuit), end)
        if role is None:
            continue
        standard: Any = pin.standard or connector.standard
        if role in ("common", "frame", "supply", "unused", "loop-source"):
            standard = None
        elif role.startswith("loop"):
            standard = "loop"
        elif role in ("send+", "send-", "receive+", "receive-"):
            standard = "TIA-422" if standard in (None, "TIA-422") else standard
        elif role.startswith("signal") and standard == "TIA-422":
            standard = "TIA-423"  # handshakes beside TIA-422 data: TIA-449, category II circuits
        found[number] = Wired(
            end=name, pin=number, role=role, standard=standard, circuit=pin.circuit, data=pin
        )
    return found


def open_questions(connector: Connector) -> list[str]:
    """Pins whose direction the file leaves open: circuits of an end that may be DTE or DCE."""
    if connector.end != "unknown":
        return []
    return [
        k
        for k, p in connector.all_pins().items()
        if p.role is None and p.circuit in DTE_OUT | DTE_IN
    ]


def _role(circuit: str, end: str) -> Role | None:
    fixed: dict[str, Role] = {"SG": "common", "FG": "frame"}
    if circuit in fixed:
        return fixed[circuit]
    if end == "unknown":
        return None
    out = (circuit in DTE_OUT) == (end == "DTE")
    if circuit in ("TD", "RD"):
        return "send" if out else "receive"
    if circuit[:2] in ("TD", "RD"):
        side = circuit[2]
        pair: dict[tuple[bool, str], Role] = {
            (True, "+"): "send+",
            (True, "-"): "send-",
            (False, "+"): "receive+",
            (False, "-"): "receive-",
        }
        return pair[out, side]
    return "signal-out" if out else "signal-in"
