"""What a file of boards holds: rails at the slots, boards, their settings and windows, codes."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from halfsplit.assembly.model import Entry
from halfsplit.boards.numbers import Address, Base, Count, read_number
from halfsplit.boards.organisation import Memory
from halfsplit.parts.base import Amps, VoltRange, Volts
from halfsplit.quantity import QuantityError, Range, parse, parse_range

# A single figure for ohms through silicon is a diode's; a twin board differs by about this share.
# Common practice, no published source.
DEAD_SHARE = 0.5


def _text(value: object) -> str:
    if isinstance(value, bool) or value is None or isinstance(value, (dict, list)):
        raise ValueError("expected a word")
    return str(value)


def _dead_ohms(value: object) -> Range:
    """``22R`` (half to one and a half times), ``6..12R``, ``400R+`` (at least), or ``open``."""
    if isinstance(value, Range):
        return value
    if isinstance(value, bool) or value is None or isinstance(value, (dict, list)):
        raise ValueError("expected ohms such as 22R, 6..12R, 400R+ or open")
    text = str(value).strip()
    if text.lower() == "open":
        return Range(1e5, math.inf)
    if text.endswith("+"):
        return Range(parse(text[:-1], "ohm"), math.inf)
    if ".." in text or " to " in text:
        return parse_range(text, "ohm")
    middle = parse(text, "ohm")
    if middle <= 0:
        raise QuantityError(text, "a rail of no ohms is a short", "what a good board shows")
    return Range(middle * (1 - DEAD_SHARE), middle * (1 + DEAD_SHARE))


Word = Annotated[str, BeforeValidator(_text), WithJsonSchema({"type": ["string", "number"]})]
ChipCount = Annotated[int, Field(gt=0, le=5000, strict=True)]
DeadOhms = Annotated[
    Range,
    BeforeValidator(_dead_ohms),
    WithJsonSchema(
        {"type": ["string", "number"], "description": "ohms, such as 22R, 6..12R, 400R+ or open"}
    ),
]


class SlotRail(Entry):
    """A rail as it should be measured at a slot, or one a board makes for itself."""

    volts: Volts
    limits: VoltRange
    rated: Amps | None = Field(default=None, gt=0, description="what the supply may give")
    on: str | None = Field(default=None, description="board that makes this rail for itself")
    at: str = Field(default="", description="where the probe goes")


class Interlock(Entry):
    """A rail that may come up only while another is right."""

    rail: str
    needs: str
    why: str = ""


class RailUse(Entry):
    """What one board takes from one rail, and shows to an ohmmeter when dead."""

    amps: Amps = Field(default=0.0, ge=0)
    standby: Amps | None = Field(default=None, ge=0, description="before it is made to work")
    ohms: DeadOhms | None = Field(default=None, description="dead ohms to 0 V at the edge")


class Setting(Entry):
    """A strap, jumper or switch group with one meaning.

    Without `choices` the positions count in binary: `one` is the position that counts as 1, and
    `first` says whether the first named is the lowest bit or the highest.
    """

    means: str
    of: tuple[Word, ...] = Field(min_length=1, description="straps, in the order of the positions")
    kind: Literal["strap", "switch"] = "strap"
    positions: tuple[Word, Word] | None = Field(
        default=None, description="the two positions, when not in and out, or on and off"
    )
    choices: dict[Word, Word] | None = None
    one: Word | None = None
    first: Literal["low", "high"] | None = None
    usual: Word | None = Field(default=None, description="choice the maker delivered")
    fitted: dict[Word, Word] = Field(
        default_factory=dict, description="choice: what must be fitted on the board for it"
    )

    @property
    def words(self) -> tuple[str, str]:
        """The two positions each strap can have."""
        return self.positions or (("in", "out") if self.kind == "strap" else ("on", "off"))

    def table(self) -> dict[str, tuple[str, ...]]:
        """Choice -> position of each strap, in the order of `of`. Raises ValueError."""
        if self.choices is not None:
            return {c: self._split(text) for c, text in self.choices.items()}
        if self.one is None or (self.first is None and len(self.of) > 1):
            raise ValueError("a setting without choices needs `one` and `first`")
        if self.one not in self.words:
            raise ValueError(f"`one` is a position: {' or '.join(self.words)}")
        zero = next(w for w in self.words if w != self.one)
        found = {}
        for value in range(2 ** len(self.of)):
            bits = [value >> k & 1 for k in range(len(self.of))]
            if self.first == "high":
                bits.reverse()
            found[str(value)] = tuple(self.one if b else zero for b in bits)
        return found

    def _split(self, text: str) -> tuple[str, ...]:
        parts = text.split()
        if self.one is not None and len(parts) == 1 and re.fullmatch("[01]+", text):
            zero = next(w for w in self.words if w != self.one)
            parts = [self.one if c == "1" else zero for c in text]
        wrong = [p for p in parts if p not in self.words]
        if wrong or len(parts) != len(self.of):
            sample = " ".join([self.words[0]] * len(self.of))
            raise ValueError(
                f"“{text}” does not place {', '.join(self.of)}: write {len(self.of)} of "
                f"{' or '.join(self.words)}, such as “{sample}”"
                + ("" if self.one else ", or say with `one` which position a 1 means, in quotes")
            )
        return tuple(parts)


class Window(Entry):
    """Addresses a board answers to: from `start`, or from a setting times `step`."""

    words: Count
    space: str = "memory"
    start: Address | None = None
    setting: str | None = None
    step: Count | None = None
    offset: Address = 0
    bits: int | None = Field(default=None, ge=1, le=64, description="data bits")
    when: dict[Word, Word] = Field(default_factory=dict, description="setting: choice it needs")


class Space(Entry):
    """Addresses a processor board can reach: so many bits, fixed or by a setting."""

    bits: int | None = Field(default=None, ge=1, le=32)
    setting: str | None = None
    choices: dict[Word, int] = Field(default_factory=dict, description="choice: address bits")
    full: bool = Field(default=False, description="every address must answer")


class Rule(Entry):
    """Something several boards must agree on; settings are written BOARD.setting."""

    exactly: int | None = Field(default=None, ge=0)
    among: dict[Word, Word] = Field(default_factory=dict)
    when: dict[Word, Word] = Field(default_factory=dict)
    then: dict[Word, Word] = Field(default_factory=dict)
    why: str


class Code(Entry):
    """A message or a row of lamps, and what it means.

    In `says`, {A} stands for an address, {W} and {R} for the words written and read, {X} for the
    difference of two addresses, {LO} and {HI} for the range tested.
    """

    says: Word | None = None
    lamps: Word | None = None
    means: str
    test: Literal["address", "data", "pause", "all", "range", "size"] | None = Field(
        default=None, description="memory test this is the outcome of; all with passed: every one"
    )
    passed: bool = Field(default=False, description="this says that the test found nothing")
    start: Address | None = Field(default=None, description="memory that does not answer: from")
    words: Count | None = Field(default=None, description="memory that does not answer: how much")
    look: tuple[Word, ...] = ()


class Board(Entry):
    """One board."""

    name: str = ""
    worth: int = Field(ge=0, le=10, description="0 costs nothing to lose, 10 irreplaceable")
    slot: Word | None = None
    after: tuple[str, ...] = Field(default=(), description="boards that must be in before it")
    rails: dict[Word, RailUse] = Field(default_factory=dict)
    chips: dict[Word, ChipCount] = Field(
        default_factory=dict,
        description="type: how many, for its currents where `rails` gives none",
    )
    fits: tuple[Word, ...] = Field(default=(), description="what is fitted, such as parity")
    settings: dict[Word, Setting] = Field(default_factory=dict)
    windows: dict[Word, Window] = Field(default_factory=dict)
    spaces: dict[Word, Space] = Field(default_factory=dict)
    memory: Memory | None = None
    note: str = ""


@dataclass(frozen=True)
class Rack:
    """A checked file of boards.

    Attributes
    ----------
    numbers: base the machine's paper writes in. word: data bits. width: address bits.
    boards, rails, interlocks, rules, codes: name -> entry, in file order.
    wanted: BOARD.setting -> choice. wanted_memory: first and last address wanted, or None.
    lines: dotted path -> (line, column) in the file, from 1.
    """

    file: Path
    name: str
    numbers: Base
    word: int
    width: int
    rails: Mapping[str, SlotRail]
    boards: Mapping[str, Board]
    interlocks: Mapping[str, Interlock]
    rules: Mapping[str, Rule]
    codes: Mapping[str, Code]
    wanted: Mapping[str, str]
    wanted_memory: tuple[int, int] | None
    notes: str
    lines: Mapping[str, tuple[int, int]] = field(repr=False)

    def settings(self) -> dict[str, Setting]:
        """BOARD.setting -> setting, in file order."""
        return {
            f"{b}.{s}": v for b, board in self.boards.items() for s, v in board.settings.items()
        }


def span(text: str, base: Base) -> tuple[int, int]:
    """First and last address of ``0000..7FFF``. Raises QuantityError."""
    low, dots, high = text.partition("..")
    if not dots:
        raise QuantityError(text, "a range has two dots between its ends", "0000..7FFF")
    first, last = read_number(low, base), read_number(high, base)
    if last < first:
        raise QuantityError(text, "the range ends before it begins", f"{high}..{low}")
    return first, last
