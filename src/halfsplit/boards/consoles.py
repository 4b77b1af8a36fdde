"""A console file: connectors, cables as found, line settings, what the machine prints.

It stands beside the assembly files of the same machine and is read by the same rules: everything
wrong with it is listed at once, with line and advice.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, Field

from halfsplit.assembly.advice import near, near_or_all, shown
from halfsplit.assembly.file import Reader
from halfsplit.assembly.model import Entry
from halfsplit.boards.connector import Connector
from halfsplit.boards.converters import Converter
from halfsplit.boards.line import LineBoard
from halfsplit.boards.messages import Lamps, Message
from halfsplit.boards.which import misplaced
from halfsplit.problems import NotFoundError, Problem, ProblemsError

SECTIONS = (
    "console", "machine", "connectors", "cables", "converters", "lines", "messages", "lamps",
    "notes",
)  # fmt: skip
_WIRE = re.compile(r"\s*([^\s=]+?)\s*[-=]\s*([^\s=]+)\s*")


def _texts(value: object) -> object:
    return [str(v) for v in value] if isinstance(value, list) else value


Wires = Annotated[list[str], BeforeValidator(_texts)]


class Cable(Entry):
    """A cable as found: wires as ``3-2`` (pin of `from`, pin of `to`), ties within one plug."""

    start: str = Field(alias="from", examples=["J3"])
    to: str = Field(examples=["T1"])
    wires: Wires = Field(examples=['["3-2", "7-7"]'])
    ties: dict[str, Wires] = Field(default_factory=dict, examples=['{J3: ["5-7"]}'])
    note: str | None = None

    def pairs(self) -> list[tuple[tuple[str, str], tuple[str, str]]]:
        """Every joint as ((end, pin), (end, pin))."""
        found = []
        for text in self.wires:
            a, b = split_wire(text)
            found.append(((self.start, a), (self.to, b)))
        for end, texts in self.ties.items():
            found += [((end, a), (end, b)) for a, b in map(split_wire, texts)]
        return found


def split_wire(text: str) -> tuple[str, str]:
    """The two pins of ``3-2``. Raises ValueError."""
    found = _WIRE.fullmatch(text)
    if not found:
        raise ValueError(f"“{text}” is no wire")
    return found[1], found[2]


@dataclass(frozen=True)
class ConsoleFile:
    """A checked console file."""

    file: Path
    name: str
    machine: str
    connectors: Mapping[str, Connector]
    cables: Mapping[str, Cable]
    lines: Mapping[str, LineBoard]
    messages: Mapping[str, Message]
    lamps: Mapping[str, Lamps]
    converters: Mapping[str, Converter] = field(default_factory=dict)
    notes: str = ""
    places: Mapping[str, tuple[int, int]] = field(default_factory=dict, repr=False)

    def connector(self, name: str) -> Connector:
        """A connector by name. Raises NotFoundError naming the nearest."""
        found: Connector = _named(self.connectors, name, "connector")
        return found

    def cable(self, name: str) -> Cable:
        """A cable by name. Raises NotFoundError naming the nearest."""
        found: Cable = _named(self.cables, name, "cable")
        return found

    def line(self, name: str | None) -> tuple[str, LineBoard]:
        """A board's line settings; the only one when `name` is None. Raises NotFoundError."""
        if name is None and len(self.lines) == 1:
            return next(iter(self.lines.items()))
        if name is None:
            known = ", ".join(self.lines) or "none is written under `lines`"
            raise NotFoundError(f"{self.file}: say which board's line: {known}")
        return name, _named(self.lines, name, "line")


def _named(table: Mapping[str, Any], name: str, what: str) -> Any:
    if name in table:
        return table[name]
    close = near(name, table) or ", ".join(table)
    raise NotFoundError(
        f"there is no {what} {name}" + (f"; did you mean {close}?" if close else "")
    )


RECORDS: Mapping[str, type[Entry]] = {
    "connectors": Connector,
    "cables": Cable,
    "converters": Converter,
    "lines": LineBoard,
    "messages": Message,
    "lamps": Lamps,
}


SAMPLES: Mapping[str, str] = {
    "connectors": "J3: {at: SL-2, end: DTE, standard: TIA-232, layout: DB25}",
    "cables": 'as-found: {from: J3, to: T1, wires: ["3-2", "7-7"]}',
    "converters": "box: {says: my 1488 board, pins: {…}, channels: [{in: [2], out: [3]}]}",
    "lines": 'SL-2: {crystal: 2.4576MHz, switch: SW2, rate: {at: "1-4", …}}',
    "messages": 'E4: {says: "E4 SIZE {size}", means: no memory where it must begin}',
    "lamps": "leds: {order: D4 D3 D2 D1, codes: {…}}",
}


class _Reader(Reader):
    samples: ClassVar[Mapping[str, str]] = SAMPLES


def load(path: Path) -> tuple[ConsoleFile | None, list[Problem]]:
    """Read a console file. It is None when any problem is an error."""
    reader = _Reader(path)
    document = reader.read()
    if document is None:
        return None, [_for_consoles(p) for p in reader.problems]
    for key in document:
        if key not in SECTIONS:
            reader.add(str(key), f"there is no section {shown(key)}", near_or_all(key, SECTIONS))
    if not any(document.get(s) for s in RECORDS):
        wrong = "the file has neither connectors, lines nor messages"
        reader.add("connectors", wrong, f"connectors: and under it {reader.samples['connectors']}")
    tables: dict[str, dict[str, Any]] = {}
    for section, kind in RECORDS.items():
        tables[section] = {}
        for name, value in reader.section(document, section).items():
            record = reader.model(kind, value, f"{section}.{name}")
            if record is not None:
                tables[section][name] = record
    connectors = document.get("connectors")
    written = [str(k) for k in connectors] if isinstance(connectors, Mapping) else []
    _cables_fit(reader, tables, written)
    signs: dict[str, str] = {}
    for name, message in tables["messages"].items():
        sign = " ".join(message.says.split())
        if sign in signs:
            wrong = f"“{sign}” already stands for {signs[sign]}"
            reader.add(f"messages.{name}.says", wrong, "another message, or one entry for both")
        signs.setdefault(sign, name)
    found = ConsoleFile(
        path,
        reader.word(document, "console", path.stem),
        reader.word(document, "machine", ""),
        tables["connectors"],
        tables["cables"],
        tables["lines"],
        tables["messages"],
        tables["lamps"],
        tables["converters"],
        reader.word(document, "notes", ""),
        reader.lines,
    )
    problems = sorted(reader.problems, key=lambda p: (p.line, p.column, p.path))
    return (None if any(p.severity == "error" for p in problems) else found), problems


def _for_consoles(problem: Problem) -> Problem:
    """The text reader speaks of assemblies; this is a console file."""
    return replace(
        problem,
        wrong=problem.wrong.replace("the file is no assembly", "the file is no console file"),
        instead=problem.instead.replace(
            "assembly: <name>, then parts: with the parts under it",
            "console: <name>, then connectors:, lines: or messages:",
        ),
    )


def _cables_fit(reader: _Reader, tables: dict[str, dict[str, Any]], written: list[str]) -> None:
    """Every cable names connectors and pins there are.

    `written`: names of all connectors, those that could not be read as well: what is wrong with
    them is told at their own lines.
    """
    connectors = tables["connectors"]
    for name, cable in tables["cables"].items():
        where = f"cables.{name}"
        for key, end in (("from", cable.start), ("to", cable.to)):
            if end not in written:
                wrong = f"there is no connector {shown(end)}"
                reader.add(f"{where}.{key}", wrong, near_or_all(end, written))
        for end in cable.ties:
            if end not in (cable.start, cable.to):
                wrong = f"{shown(end)} is no end of this cable"
                reader.add(f"{where}.ties.{end}", wrong, f"{cable.start} or {cable.to}")
        try:
            pairs = cable.pairs()
        except ValueError as error:
            reader.add(f"{where}.wires", str(error), 'two pins, such as "3-2"')
            continue
        for end, pin in (joint for pair in pairs for joint in pair):
            pins = connectors[end].all_pins() if end in connectors else {pin: None}
            if pin not in pins:
                reader.add(f"{where}.wires", f"{end} has no pin {pin}", near_or_all(pin, pins))


def open_console(path: Path) -> ConsoleFile:
    """Load a file. Raises NotFoundError, or ProblemsError with everything wrong with it."""
    found, problems = load(path)
    if found is None:
        if "no such file" in problems[0].wrong:
            raise NotFoundError(f"{path}: {problems[0].wrong}")
        raise ProblemsError(misplaced(path, "console") or problems)
    return found
