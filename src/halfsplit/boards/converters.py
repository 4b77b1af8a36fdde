"""Converters between signalling standards: what each is made of, and what follows what in it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Annotated, Self

from pydantic import BeforeValidator, Field, ValidationError, model_validator
from ruamel.yaml import YAML

from halfsplit.assembly.advice import WrongRecord, near_or_all
from halfsplit.assembly.model import Entry
from halfsplit.boards.connector import Connector, Pin, Wired, pins_by_name, settled
from halfsplit.boards.links import Port
from halfsplit.parts.base import Amps

_DATA = Path(__file__).with_name("converters.yaml")


def _text(value: object) -> object:
    return str(value) if isinstance(value, int) else value


def _texts(value: object) -> object:
    return [_text(v) for v in value] if isinstance(value, list) else value


Name = Annotated[str, BeforeValidator(_text)]
Pins = Annotated[list[str], BeforeValidator(_texts), Field(min_length=1, max_length=2)]


class Joint(Entry):
    """Two pins of a converter joined, by a part or a wire."""

    start: Name = Field(alias="from")
    to: Name
    by: str = Field(default="", examples=["390 ohm 0.25 W"])
    why: str


class Channel(Entry):
    """An output that follows an input, mark staying mark; a pair is written + first."""

    inputs: Pins = Field(alias="in", examples=["[2]"])
    outputs: Pins = Field(alias="out", examples=["[3]"])
    joints: list[Joint] = Field(default_factory=list, alias="with")


class Converter(Entry):
    """A chip, or a few parts, that carries a line from one standard to another.

    `rate`: most Bd through it. `amps`: most current drawn at each supply pin.
    """

    says: str = Field(examples=["four drivers, logic to TIA-232"])
    pins: Annotated[dict[str, Pin], BeforeValidator(pins_by_name)]
    channels: list[Channel] = Field(default_factory=list)
    inside: list[Joint] = Field(default_factory=list)
    amps: Annotated[dict[str, Amps], BeforeValidator(pins_by_name)] = Field(default_factory=dict)
    rate: float | None = Field(default=None, gt=0)
    note: str = ""
    source: str = ""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        for channel in self.channels:
            ports(self, "it", channel)
        joints = [*self.inside, *(j for c in self.channels for j in c.joints)]
        named = [p for j in joints for p in (j.start, j.to)] + list(self.amps)
        missing = [p for p in named if p not in self.pins]
        if missing:
            wrong = f"there is no pin {', '.join(dict.fromkeys(missing))} in it"
            raise WrongRecord(wrong, near_or_all(missing[0], self.pins))
        lost = [k for k, p in self.pins.items() if p.role == "supply" and p.volts is None]
        if lost:
            raise WrongRecord(f"supply pin {lost[0]} needs its volts", "{role: supply, volts: 5V}")
        return self

    def wired(self, name: str) -> dict[str, Wired]:
        """Its pins with their roles, as those of an end called `name`."""
        return settled(name, Connector(pins=self.pins))


def ports(converter: Converter, name: str, channel: Channel) -> tuple[Port, Port]:
    """Input and output of one channel. Raises WrongRecord when they are none."""
    pins = converter.wired(name)
    found = []
    for word, numbers in (("receive", channel.inputs), ("send", channel.outputs)):
        for number in numbers:
            if number not in pins:
                raise WrongRecord(f"there is no pin {number} in it", near_or_all(number, pins))
        chosen = tuple(pins[n] for n in numbers)
        shapes = {(word,): "single", (f"{word}+", f"{word}-"): "pair",
                  (f"loop-{word}+", f"loop-{word}-"): "loop"}  # fmt: skip
        kind = shapes.get(tuple(p.role for p in chosen))
        if kind is None:
            what = "an input" if word == "receive" else "an output"
            wrong = f"pins {', '.join(numbers)} are not {what}"
            raise WrongRecord(
                wrong, f"a pin of role {word}, or the + and - pins of a pair or loop, in that order"
            )
        found.append(Port(kind, chosen))  # type: ignore[arg-type]
    return found[0], found[1]


@cache
def built_in() -> Mapping[str, Converter]:
    """Converters that come with the program, in the order they are tried."""
    data = YAML(typ="safe").load(_DATA.read_text(encoding="utf-8"))
    found = {}
    for name, entry in data.items():
        try:
            found[str(name)] = Converter.model_validate(entry)
        except ValidationError as error:
            raise ValueError(f"{_DATA}: {name}: {error}") from error
    return found
