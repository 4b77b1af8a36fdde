"""Read a file of boards: the rack it describes, or the full list of what is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from ruamel.yaml.comments import CommentedMap

from halfsplit.assembly.advice import field_words, near_or_all, shown
from halfsplit.assembly.file import Reader
from halfsplit.boards.agree import agree
from halfsplit.boards.chips import fill
from halfsplit.boards.model import Board, Code, Interlock, Rack, Rule, SlotRail, span
from halfsplit.boards.numbers import Base
from halfsplit.problems import Problem
from halfsplit.quantity import QuantityError

# Section -> record of each entry, and how one looks.
RECORDS: dict[str, tuple[type[BaseModel], str]] = {
    "rails": (SlotRail, "P5: {volts: 5V, limits: 4.75..5.25V}"),
    "boards": (Board, "CP1: {worth: 8, rails: {P5: {amps: 2.9A, ohms: 6..12R}}}"),
    "interlocks": (Interlock, "substrate: {rail: P12, needs: N5, why: …}"),
    "rules": (Rule, "clock: {exactly: 1, among: {CP1.clock: own}, why: …}"),
    "codes": (Code, "size: {says: E4 SIZE 0, means: no low memory}"),
}
PLAIN = ("machine", "numbers", "word", "width", "wanted", "notes")
SECTIONS = (*PLAIN, *RECORDS)
BASES: tuple[str, ...] = get_args(Base)


class BoardReader(Reader):
    """One pass over one file of boards. `spoilt`: boards and rails that could not be used."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.spoilt: set[str] = set()

    def section(self, document: CommentedMap, name: str) -> Mapping[str, Any]:
        """A section that must be a mapping of names; anything else is a problem."""
        value = document.get(name)
        if value is None:
            return {}
        sample = RECORDS[name][1] if name in RECORDS else "CP1.map: 15-bit"
        if not isinstance(value, CommentedMap):
            wrong = f"{shown(value)} stands where lines of `name: …` belong"
            self.add(name, wrong, f"{name}: and under it {sample}")
            return {}
        found = {}
        for key, entry in value.items():
            where = f"{name}.{key}"
            if not isinstance(key, str):
                self.add(where, f"{shown(key)} is not read as a name", f'"{key}"')
            elif name == "boards" and ("." in key or key.split() != [key]):
                self.add(where, f"{shown(key)} is no board: that is one word without a dot", "CP1")
                self.spoilt.add(key.partition(".")[0])
            else:
                found[key] = entry
        return found

    def model(self, kind: type[BaseModel], value: Any, where: str) -> Any:
        """`value` as a record of `kind`, or None with every error recorded."""
        if not isinstance(value, dict):
            sample = RECORDS[where.partition(".")[0]][1]
            wrong = f"{shown(value)} stands where an entry belongs"
            self.add(where, "nothing stands here" if value is None else wrong, sample)
            return None
        try:
            return kind.model_validate(_named(value))
        except ValidationError as error:
            for inner, wrong, instead in field_words(kind, error.errors(), _named(value)):
                self.add(f"{where}.{inner}" if inner else where, wrong, instead)
        return None

    def bits(self, document: CommentedMap, name: str, default: int, most: int) -> int:
        """A section that is one whole number."""
        value = document.get(name, default)
        if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= most:
            self.add(name, f"{shown(value)} is no number of bits", f"{name}: {default}")
            return default
        return int(value)

    def records(self, document: CommentedMap, name: str) -> Any:
        """Every entry of a section as its record; unusable ones are recorded and left out."""
        kind = RECORDS[name][0]
        read = {
            k: self.model(kind, v, f"{name}.{k}") for k, v in self.section(document, name).items()
        }
        self.spoilt |= {k for k, v in read.items() if v is None}
        return {k: v for k, v in read.items() if v is not None}


def _named(value: Any) -> Any:
    """Keys as text all the way down: `110:` in a file is a whole number to YAML."""
    if isinstance(value, Mapping):
        return {str(k): _named(v) for k, v in value.items()}
    return value


def load_rack(path: Path) -> tuple[Rack | None, list[Problem]]:
    """Read a file. The rack is None when any problem is an error; doubts do not stop it."""
    reader = BoardReader(path)
    document = reader.read()
    if document is None:
        return None, [_for_boards(p) for p in reader.problems]
    for key in document:
        if key not in SECTIONS:
            reader.add(str(key), f"there is no section {shown(key)}", near_or_all(key, SECTIONS))
    if "machine" not in document:
        reader.add("machine", "the file does not say which machine it is", "machine: <name>")
    if not document.get("boards"):
        reader.add(
            "boards", "the file lists no board", f"boards: and under it {RECORDS['boards'][1]}"
        )
    base = reader.word(document, "numbers", "hex")
    if base not in BASES:
        reader.add("numbers", f"{shown(base)} is no way to write addresses", " or ".join(BASES))
        base = "hex"
    found = {name: reader.records(document, name) for name in RECORDS}
    found["boards"] = fill(found["boards"], found["rails"], reader)
    wanted, memory = _wanted(reader, document, base)
    rack = Rack(
        path,
        reader.word(document, "machine", path.stem),
        base,  # type: ignore[arg-type]
        reader.bits(document, "word", 16, 64),
        reader.bits(document, "width", 16, 32),
        found["rails"],
        found["boards"],
        found["interlocks"],
        found["rules"],
        found["codes"],
        wanted,
        memory,
        reader.word(document, "notes", ""),
        reader.lines,
    )
    agree(rack, reader)
    problems = sorted(reader.problems, key=lambda p: (p.line, p.column, p.path))
    return (None if any(p.severity == "error" for p in problems) else rack), problems


def _for_boards(problem: Problem) -> Problem:
    """The text reader speaks of assemblies; this is a file of boards."""
    instead = problem.instead.replace(
        "assembly: <name>, then parts: with the parts under it",
        "machine: <name>, then boards: with the boards under it",
    )
    wrong = problem.wrong.replace("the file is no assembly", "the file is no file of boards")
    return Problem(
        problem.file, problem.line, problem.column, problem.path, wrong, instead, problem.severity
    )


def _wanted(
    reader: BoardReader, document: CommentedMap, base: str
) -> tuple[dict[str, str], tuple[int, int] | None]:
    """The wanted configuration: BOARD.setting -> choice, and the addresses memory should fill."""
    choices: dict[str, str] = {}
    memory = None
    for key, value in reader.section(document, "wanted").items():
        if isinstance(value, (dict, list, bool)) or value is None:
            reader.add(f"wanted.{key}", f"{shown(value)} is no choice", f"{key}: <choice>")
        elif key == "memory":
            try:
                memory = span(str(value), base)  # type: ignore[arg-type]
            except QuantityError as error:
                reader.add("wanted.memory", f"“{error.text}”: {error.wrong}", error.instead)
        else:
            choices[key] = str(value)
    return choices, memory
