"""What a drawing says of itself besides the circuit: printed figures, and how parts are numbered.

Both are there to be held against what was typed; nothing is solved with them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Protocol

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    WithJsonSchema,
    model_validator,
)

from halfsplit.parts.base import Fraction, Net, Ohms
from halfsplit.quantity import QuantityError
from halfsplit.quantity.reading import Reading, parse_reading

# How far a printed voltage is off before it counts, where the drawing does not say. Drawings ask
# for 5 to 20 %; common practice, no published source.
WITHIN = 0.05
# A reference: its letters, its number, and the letter of one unit of several in a package.
_NUMBERED = re.compile(r"([A-Za-z]+)(\d+)([A-Za-z]*)")


def _text(value: object) -> str:
    if value is None or isinstance(value, (bool, dict, list)):
        raise ValueError("expected a quantity such as -12.0V")
    return str(value)


def _volts(value: object) -> Reading:
    if isinstance(value, Reading):
        return value
    found = parse_reading(_text(value), "V")
    if found.state != "number":
        raise QuantityError(found.text, "A drawing prints a number.", "-12.0V")
    return found


def _ripple(value: object) -> float:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        raise QuantityError(str(value), "A bare number has no unit.", "0.98V")
    found = _volts(value)
    if found.value <= 0:
        raise QuantityError(found.text, "Ripple is told from peak to peak, above nought.", "0.98V")
    return found.value


PrintedRipple = Annotated[
    float,
    BeforeValidator(_ripple),
    WithJsonSchema({"type": "string", "description": "volts from peak to peak, such as 0.98V"}),
]
PrintedVolts = Annotated[
    Reading,
    BeforeValidator(_volts),
    WithJsonSchema({"type": ["string", "number"], "description": "as printed, such as -12.0V"}),
]
_Load = Annotated[
    str,
    BeforeValidator(_text),
    WithJsonSchema({"type": ["string", "number"], "description": "load, such as 2ohm or 1.5A"}),
]


class Printed(BaseModel):
    """Voltages the drawing or the manual gives, and the state of the machine they hold in."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)

    feed: str | None = Field(default=None, description="feed they were taken with")
    load: str | None = Field(default=None, description="load they were taken with")
    into: dict[Net, _Load] = Field(
        default_factory=dict, description="loads besides, such as an overload: {p5: 0.6R}"
    )
    within: Fraction = Field(
        default=WITHIN, gt=0, lt=1, description="how far off a good machine may be, such as 10%"
    )
    volts: dict[Net, PrintedVolts] = Field(default_factory=dict)
    ohms: dict[Net, Ohms] = Field(
        default_factory=dict,
        description="from each net to common with everything off, few enough volts to open no "
        "junction",
    )
    ripple: dict[Net, PrintedRipple] = Field(
        default_factory=dict,
        description="at the rate of the mains, from peak to peak, with a feed from the mains",
    )
    note: str | None = None

    @model_validator(mode="after")
    def _something(self) -> Printed:
        if not self.volts and not self.ohms and not self.ripple:
            raise ValueError(
                "nothing is printed here: give volts, ripple, or ohms of the dead machine"
            )
        return self


class Numbering(BaseModel):
    """Highest reference of each sort on the drawing, and those it does not use."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    last: list[str] = Field(min_length=1, description="such as [R33, C11, U2B], with the last unit")
    unused: list[str] = Field(default_factory=list, description="such as [R25, C5]")


class Notes(Protocol):
    """Where problems go.

    Attributes
    ----------
    maybe: nets named in entries that could not be read.
    """

    maybe: set[str]

    def add(self, where: str, wrong: str, instead: str = "", *, doubt: bool = False) -> None:
        """Record one problem."""


@dataclass(frozen=True)
class Gaps:
    """How the references of a file differ from the drawing's numbering.

    Attributes
    ----------
    missing: on the drawing, not in the file.
    extra: in the file, not on the drawing: beyond the last, or among the unused.
    """

    missing: tuple[str, ...]
    extra: tuple[str, ...]


def _split(ref: str) -> tuple[str, int, str] | None:
    found = _NUMBERED.fullmatch(ref)
    return None if found is None else (found[1].upper(), int(found[2]), found[3].upper())


def numbered(ref: str) -> tuple[str, int] | None:
    """Letters and number of a reference; None for one that has no number."""
    found = _split(ref)
    return None if found is None else found[:2]


def gaps(numbering: Numbering | None, refs: Iterable[str]) -> Gaps:
    """What is missing and what is too many; of letters the numbering does not tell, nothing."""
    if numbering is None:
        return Gaps((), ())
    last: dict[str, int] = {}
    units: dict[tuple[str, int], str] = {}
    for letters, number, unit in filter(None, map(_split, numbering.last)):
        last[letters] = max(number, last.get(letters, 0))
        if unit:
            units[letters, number] = unit
    unused = {n for n in map(numbered, numbering.unused) if n is not None}
    there: dict[tuple[str, int], dict[str, str]] = {}
    for ref in refs:
        found = _split(ref)
        if found is not None and found[0] in last:
            there.setdefault(found[:2], {})[found[2]] = ref
    missing = []
    for letters, most in last.items():
        for k in range(1, most + 1):
            name = (letters, k)
            if name in unused:
                continue
            due = [chr(c) for c in range(ord("A"), ord(units[name]) + 1)] if name in units else []
            have = there.get(name, {})
            missing += [f"{letters}{k}{u}" for u in due if u not in have and "" not in have]
            missing += [] if due or have else [f"{letters}{k}"]
    extra = [
        ref
        for name, refs_ in there.items()
        for ref in refs_.values()
        if name[1] > last[name[0]] or name in unused or name[1] < 1
    ]
    return Gaps(tuple(missing), tuple(extra))


def check_numbering(numbering: Numbering | None, refs: Iterable[str], reader: Notes) -> None:
    """Record as doubts the references that the numbering says are missing or too many."""
    if numbering is None:
        return
    for i, text in enumerate([*numbering.last, *numbering.unused]):
        if numbered(text) is None:
            where = "last" if i < len(numbering.last) else "unused"
            reader.add(f"numbering.{where}", f"`{text}` is no reference with a number", "R33")
    found = gaps(numbering, refs)
    for ref in found.missing:
        wrong = f"the numbering of the drawing has {ref}, and the file has not"
        reader.add("numbering", wrong, f"{ref} under `parts`, or under `unused`", doubt=True)
    for ref in found.extra:
        wrong = f"the file has {ref}, and the numbering of the drawing has not"
        reader.add(f"parts.{ref}", wrong, "the reference as drawn", doubt=True)


def check_printed(
    printed: Mapping[str, Printed],
    nets: Iterable[str],
    feeds: Iterable[str],
    loads: Iterable[str],
    reader: Notes,
) -> None:
    """Record printed volts of nets, feeds or loads that do not exist."""
    from halfsplit.assembly.advice import near
    from halfsplit.assembly.model import load_value

    known = {"net": list(nets), "feed": list(feeds), "load": list(loads)}
    for name, entry in printed.items():
        where = f"printed.{name}"
        asked: list[tuple[str, str, str | None]] = []
        asked += [("net", f"{where}.volts.{n}", n) for n in entry.volts]
        asked += [("net", f"{where}.ohms.{n}", n) for n in entry.ohms]
        asked += [("net", f"{where}.ripple.{n}", n) for n in entry.ripple]
        asked += [("net", f"{where}.into.{n}", n) for n in entry.into]
        asked += [("feed", f"{where}.feed", entry.feed), ("load", f"{where}.load", entry.load)]
        for sort, at, said in asked:
            if said is not None and said not in known[sort] and said not in reader.maybe:
                reader.add(at, f"there is no {sort} `{said}`", near(said, sorted(known[sort])))
        for net, text in entry.into.items():
            try:
                load_value(text)
            except QuantityError as error:
                reader.add(f"{where}.into.{net}", error.wrong, error.instead)
