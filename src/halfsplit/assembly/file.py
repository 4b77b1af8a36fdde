"""Read an assembly file: the machine it describes, or the full list of what is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from pydantic import BaseModel, ValidationError
from ruamel.yaml.comments import CommentedMap

from halfsplit.assembly.advice import field_words, near_kind, near_or_all, shown
from halfsplit.assembly.advice import near as near
from halfsplit.assembly.blocks import groups, read_blocks
from halfsplit.assembly.check import electrical
from halfsplit.assembly.model import (
    Air,
    Assembly,
    Feed,
    Lean,
    LoadValue,
    Mains,
    Point,
    Rail,
    load_value,
)
from halfsplit.assembly.printed import Numbering, Printed
from halfsplit.assembly.text import TextError
from halfsplit.assembly.text import document as read_document
from halfsplit.parts import catalogue
from halfsplit.parts import kinds as _kinds
from halfsplit.parts.base import REGISTRY, Part
from halfsplit.parts.house import HouseNumber, house_numbers
from halfsplit.problems import Problem
from halfsplit.quantity import QuantityError

if TYPE_CHECKING:
    from halfsplit.assembly.patterns import Expanded

assert _kinds  # importing it fills the registry
SECTIONS = (
    "assembly",
    "machine",
    "common",
    "mains",
    "unless_noted",
    "blocks",
    "parts",
    "patterns",
    "rails",
    "loads",
    "feeds",
    "points",
    "printed",
    "numbering",
    "leans",
    "air",
    "layout",
    "notes",
)
# How an entry of each section looks, for advice.
SAMPLES = {
    "parts": "R1: {kind: resistor, value: 4k7, a: n1, b: com}",
    "rails": "P5: {net: p5, limits: 4.75..5.25V}",
    "loads": "bench: {p5: 100R}",
    "feeds": "bench: {nets: {vraw: {volts: 12V}}}",
    "points": "TP1: {net: p5, at: R3 top}",
    "printed": "sheet: {load: half, volts: {p5: 5.0V}}",
    "numbering": "numbering: {last: [R33, C11], unused: [R25]}",
    "mains": "mains: {volts: 230V, hertz: 50Hz}",
    "leans": 'tail: {of: P5, on: N12, why: "tail resistor R18 returns there"}',
    "air": "air: {low: 10degC, high: 40degC}",
    "layout": "Q1: [R3, C4]",
    "blocks": "p5: {makes: p5, limits: 4.75..5.25V, needs: raw}",
    "unless_noted": "resistor: {power: 0.25W, tolerance: 5%}",
    "patterns": "ref: {pattern: zener-reference, in: h12, out: ref, feed: R8 1k, zener: CR3 6.2V}",
}
# Names the program itself adds: every machine can be off, and every machine can be unloaded.
KEPT = {"feeds": "off", "loads": "none"}
# Elements of the netlist are called R1, R1:b or load:p5, so a reference has none of these.
_REFERENCE = re.compile(r"[^\s:#.,{}\[\]]+")


class Reader:
    """One pass over one file, collecting problems with their places."""

    samples: ClassVar[Mapping[str, str]] = SAMPLES  # other sorts of file have other sections

    def __init__(self, path: Path) -> None:
        self.path = path
        self.text: str | None = None  # read in place of what stands in the file
        self.problems: list[Problem] = []
        self.further = self.problems  # of files this one uses, where they are told apart
        self.lines: dict[str, tuple[int, int]] = {}
        self.whole = True  # whether every part entry could be used
        self.maybe: set[str] = set()  # words of unusable entries, some of them nets
        self.blind = False  # whether an entry is so broken that its nets cannot even be guessed
        self.house: Mapping[str, HouseNumber] = {}  # in-house markings, of assemblies only

    def add(self, where: str, wrong: str, instead: str = "", *, doubt: bool = False) -> None:
        """Record a problem at the nearest place known for the dotted path."""
        at = where
        while at not in self.lines and "." in at:
            at = at.rpartition(".")[0]
        line, column = self.lines.get(at, (1, 1))
        severity = "doubt" if doubt else "error"
        self.problems.append(Problem(str(self.path), line, column, where, wrong, instead, severity))

    def read(self) -> CommentedMap | None:
        """The parsed document, or None with the reason recorded."""
        try:
            document, self.lines, doubled = read_document(self.path, self.text)
        except TextError as error:
            self.problems.append(error.problem(self.path))
            return None
        self.problems += [one.problem(self.path) for one in doubled]
        return document

    def word(self, document: CommentedMap, name: str, default: str) -> str:
        """A section that is one line of text, or `default` when it is absent or empty."""
        value = document.get(name)
        if isinstance(value, (dict, list, bool)):
            self.add(name, f"{shown(value)} stands where text belongs", f"{name}: <text>")
        elif value is None and name in document:
            self.add(name, f"nothing stands after `{name}:`", f"{name}: <text>")
        return default if value is None else str(value)

    def section(self, document: CommentedMap, name: str) -> Mapping[str, Any]:
        """A section that must be a mapping; anything else is a problem and reads as empty."""
        value = document.get(name)
        if value is None:
            return {}
        if not isinstance(value, CommentedMap):
            wrong = f"{shown(value)} stands where lines of `name: {{…}}` belong"
            self.add(name, wrong, f"{name}: and under it {self.samples[name]}")
            return {}
        found = {}
        for key, entry in value.items():
            where, text = f"{name}.{key}", shown(key).strip("`")
            if not isinstance(key, str):
                self.add(where, f"`{text}` is not read as a name", f'"{text}"')
            elif name == "parts" and not _REFERENCE.fullmatch(key):
                wrong = f"`{text}` is no reference: that is one word without : # . , {{ }} [ ]"
                colon = re.match(r"(\S+)\s+\{", key)
                advice = f"{colon[1]}: {{…}}" if colon else re.sub(r"[\s:#.,{}\[\]]+", "_", key)
                self.add(where, wrong, advice.strip("_") or "a reference such as R1")
            elif key.lower() == KEPT.get(name):
                self.add(where, f"`{key}` is always there and cannot be set", "another name")
            else:
                found[key] = entry
                continue
            if name == "parts":
                self.spoil(entry)
        return found

    def reference(self, text: str) -> bool:
        """Whether a part may be called so."""
        return _REFERENCE.fullmatch(text) is not None

    def spoil(self, entry: Any) -> None:
        """Note that a part entry could not be used, and which nets it may have named."""
        self.whole = False
        if not isinstance(entry, Mapping):
            self.blind = True
            return
        for value in entry.values():
            if isinstance(value, Mapping):
                self.spoil(value)
            elif isinstance(value, (str, int)):
                self.maybe.add(str(value))

    def model(self, kind: type[BaseModel], value: Any, where: str) -> Any:
        """`value` as a record of `kind`, or None with every error recorded."""
        if not isinstance(value, dict):
            wrong = f"{shown(value)} stands where an entry belongs"
            section = where.partition(".")[0]
            self.add(
                where, "nothing stands here" if value is None else wrong, self.samples[section]
            )
            return None
        try:
            return kind.model_validate({str(k): v for k, v in value.items()})
        except ValidationError as error:
            for inner, wrong, instead in field_words(kind, error.errors(), value):
                self.add(f"{where}.{inner}" if inner else where, wrong, instead)
        return None

    def part(self, ref: str, entry: Any) -> Part | None:
        """One line of `parts`, its catalogue row laid under it."""
        where = f"parts.{ref}"
        if not isinstance(entry, CommentedMap):
            self.add(where, "nothing says what this part is", SAMPLES["parts"].replace("R1", ref))
            return None
        name = entry.get("kind")
        type_name = entry.get("type")
        row, house = None, None
        if type_name is not None:
            row = catalogue.load().get(str(type_name))
            if row is None and (house := self.house.get(catalogue.same(str(type_name)))):
                row = catalogue.load().get(house.type)
            if row is not None and not row.modelled:
                wrong = f"{row.type} is a {row.kind}: it is known by ratings and pins alone"
                advice = "the parts around it, and its current under loads"
                self.add(f"{where}.type", wrong, advice, doubt=name is not None)
                if name is None:
                    return None
                row = None  # the line says itself what stands in for it
            elif row is None:
                close = " or ".join(catalogue.load().nearest(str(type_name)[:40]))
                keep = "keep it and give its values on the line"
                keep += "" if name else ", with its kind"
                wrong = f"type {shown(type_name)} is not in the catalogue"
                advice = f"{close}, or {keep}" if close else ""
                self.add(f"{where}.type", wrong, advice, doubt=name is not None)
        if name is None and row is not None:
            name = row.kind
        if name is None:
            if type_name is None:
                meant = near("kind", entry)
                at = f"{where}.{meant}" if meant in entry else where
                self.add(at, "the part has no kind", "kind: resistor, npn, zener, …")
            return None
        kind = REGISTRY.kinds.get(str(name))
        if kind is None:
            advice = near_kind(name, REGISTRY.kinds)
            self.add(f"{where}.kind", f"there is no kind {shown(name)}", advice)
            return None
        fields = {str(k): v for k, v in entry.items()}
        if row is not None:
            if {row.kind, kind.KIND} not in ({kind.KIND}, {"diode", "rectifier"}):
                wrong = f"{row.type} is of kind {row.kind}, not {kind.KIND}"
                self.add(f"{where}.kind", wrong, f"kind: {row.kind}")
                return None
            allowed = set(kind.model_fields)
            fields = {k: v for k, v in row.fields.items() if k in allowed} | fields
        fields |= {"ref": ref, "kind": kind.KIND}
        if type_name is not None:
            fields["type"] = house.type if house else str(type_name)
        if house:  # what it is called here is the user's word, and stays with the part
            fields = {"confidence": house.confidence, "note": house.words()} | fields
        part = self.model(kind, fields, where)
        return part if isinstance(part, Part) else None

    def loads(self, document: CommentedMap) -> dict[str, dict[str, LoadValue]]:
        """Named loads; `none` always exists and comes first."""
        found: dict[str, dict[str, LoadValue]] = {"none": {}}
        for name, nets in self.section(document, "loads").items():
            found[name] = {}
            if not isinstance(nets, dict):
                wrong = f"{shown(nets)} stands where `{{net: load}}` belongs"
                self.add(f"loads.{name}", wrong, f"{name}: {{p5: 2ohm}}")
                continue
            for net, value in nets.items():
                if value is None or isinstance(value, (dict, list, bool)):
                    self.add(f"loads.{name}.{net}", f"{shown(value)} is no load", "2ohm, or 1.5A")
                    continue
                try:
                    found[name][str(net)] = load_value(value)
                except QuantityError as error:
                    self.add(f"loads.{name}.{net}", f"“{error.text}”: {error.wrong}", error.instead)
        return found


def _layout(reader: Reader, document: CommentedMap) -> dict[str, tuple[str, ...]]:
    """Which parts sit beside which; a list, or one reference, under each."""
    found = {}
    for ref, value in reader.section(document, "layout").items():
        listed = [value] if isinstance(value, str) else value
        if not isinstance(listed, list) or not all(isinstance(r, str) for r in listed):
            wrong = f"{shown(value)} stands where parts beside {ref} belong"
            reader.add(f"layout.{ref}", wrong, f"{ref}: [R3, C4]")
            continue
        found[ref] = tuple(str(r) for r in listed)
    return found


def entries(reader: Reader, document: CommentedMap) -> tuple[dict[str, Any], Expanded]:
    """Every part entry of a file, those typed and then those its patterns stand for."""
    from halfsplit.assembly.patterns import expand, noted, notes  # which read files themselves

    note = notes(reader, document)
    typed = reader.section(document, "parts")
    common = reader.word(document, "common", "com") if "common" in document else "com"
    placed = expand(reader, document, common, note, typed)
    reader.whole = reader.whole and placed.whole
    found = {k: noted(e, note) if isinstance(e, CommentedMap) else e for k, e in typed.items()}
    return found | placed.parts, placed


def load(path: Path, text: str | None = None) -> tuple[Assembly | None, list[Problem]]:
    """Read a file. The assembly is None when any problem is an error; doubts do not stop it.

    `text`: an earlier text of that file, read as if it stood there.
    """
    assembly, problems = load_anyway(path, text)
    return (None if any(p.severity == "error" for p in problems) else assembly), problems


def load_anyway(path: Path, text: str | None = None) -> tuple[Assembly | None, list[Problem]]:
    """Read a file that may be wrong as a circuit. None only when an entry of it cannot be read."""
    reader = Reader(path)
    reader.text = text
    document = reader.read()
    if document is None:
        return None, reader.problems
    assembly, wrong, _ = as_far(reader, document)
    any_part(reader, document)
    readable = not any(p.severity == "error" for p in reader.problems)
    electrical(assembly, reader)
    return (assembly if readable else None), in_order(reader, wrong)


def any_part(reader: Reader, document: CommentedMap) -> None:
    """Say so where a file lists nothing at all."""
    if all(document.get(name) in (None, {}) for name in ("parts", "patterns", "blocks")):
        reader.add("parts", "the file lists no part", f"parts: and under it {SAMPLES['parts']}")


def in_order(reader: Reader, wrong: list[Problem]) -> list[Problem]:
    """Problems as they stand in the file; those of pattern files and house numbers after them."""
    own = str(reader.path)
    listed = sorted(
        reader.problems, key=lambda p: (p.file != own, p.file, p.line, p.column, p.path)
    )
    return listed + wrong


def as_far(reader: Reader, document: CommentedMap) -> tuple[Assembly, list[Problem], Expanded]:
    """The machine as far as its entries can be read, the circuit itself not looked at; also what is
    wrong with house numbers, and what its patterns stand for."""
    path = reader.path
    for key in document:
        if key not in SECTIONS:
            reader.add(str(key), f"there is no section {shown(key)}", near_or_all(key, SECTIONS))
    if "assembly" not in document:
        reader.add("assembly", "the file does not say which assembly it is", "assembly: <name>")
    reader.house, wrong = house_numbers(path.parent)
    parts: dict[str, Part] = {}
    listed, placed = entries(reader, document)
    for ref, entry in listed.items():
        part = reader.part(ref, entry)
        if part is not None:
            parts[ref] = part
        else:
            reader.spoil(entry)
    rails = _records(reader, document, "rails", Rail)
    common = str(document.get("common") or "com")
    blocks = read_blocks(reader, document, common, rails, listed, placed.uses)
    parts |= blocks.parts
    rails |= blocks.rails
    points = _records(reader, document, "points", Point)
    feeds = _records(reader, document, "feeds", Feed)
    leans = _records(reader, document, "leans", Lean)
    printed = _records(reader, document, "printed", Printed)
    numbering = _one(reader, document, "numbering", Numbering)
    mains = _one(reader, document, "mains", Mains)
    air = _one(reader, document, "air", Air)
    if not feeds:
        inlet = any(p.KIND == "mains" for p in parts.values())
        feeds = {"mains": Feed(mains=True)} if inlet else {"supply": Feed()}
        feeds = blocks.feeds(inlet) if blocks.records else feeds
    assembly = Assembly(
        path,
        reader.word(document, "assembly", path.stem),
        reader.word(document, "machine", ""),
        common,
        parts,
        rails,
        points,
        {**feeds, "off": Feed(supplies=False, note="everything off, unplugged and discharged")},
        reader.loads(document),
        mains,
        reader.word(document, "notes", ""),
        reader.lines,
        leans,
        air,
        _layout(reader, document),
        printed,
        numbering,
        groups=groups(blocks, placed),
    )
    return assembly, wrong, placed


def _one(reader: Reader, document: CommentedMap, name: str, kind: type[BaseModel]) -> Any:
    """A section that is one entry; None where it is absent."""
    return reader.model(kind, document[name], name) if name in document else None


def _records(reader: Reader, document: CommentedMap, name: str, kind: type[BaseModel]) -> Any:
    found = {}
    for key, value in reader.section(document, name).items():
        record = reader.model(kind, value, f"{name}.{key}")
        if record is not None:
            found[key] = record
    return found
