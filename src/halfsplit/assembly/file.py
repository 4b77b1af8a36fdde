"""Read an assembly file: the machine it describes, or the full list of what is wrong with it."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from halfsplit.assembly.model import (
    Assembly,
    Feed,
    LoadValue,
    Mains,
    Point,
    Rail,
    load_value,
)
from halfsplit.parts import catalogue
from halfsplit.parts import kinds as _kinds
from halfsplit.parts.base import REGISTRY, Part
from halfsplit.problems import Problem
from halfsplit.quantity import QuantityError

assert _kinds  # importing it fills the registry
SECTIONS = (
    "assembly",
    "machine",
    "common",
    "mains",
    "parts",
    "rails",
    "loads",
    "feeds",
    "points",
    "notes",
)
# A file beyond this is no bench circuit; refusing early keeps a damaged file from eating memory.
LARGEST_FILE = 4_000_000  # bytes


def near(word: str, known: Any) -> str:
    """Advice naming the closest known words."""
    close = difflib.get_close_matches(str(word), [str(k) for k in known], n=2, cutoff=0.55)
    return " or ".join(close)


class Reader:
    """One pass over one file, collecting problems with their places."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.problems: list[Problem] = []
        self.lines: dict[str, tuple[int, int]] = {}

    def add(self, where: str, wrong: str, instead: str = "", *, doubt: bool = False) -> None:
        """Record a problem at the nearest place known for the dotted path."""
        at = where
        while at not in self.lines and "." in at:
            at = at.rpartition(".")[0]
        line, column = self.lines.get(at, (1, 1))
        severity = "doubt" if doubt else "error"
        self.problems.append(Problem(str(self.path), line, column, where, wrong, instead, severity))

    def locate(self, node: Any, path: str = "") -> None:
        """Remember line and column of every key below `node`."""
        if isinstance(node, CommentedMap):
            for key in node:
                where = f"{path}.{key}" if path else str(key)
                line, column = node.lc.key(key)
                self.lines[where] = (line + 1, column + 1)
                self.locate(node[key], where)
        elif isinstance(node, CommentedSeq):
            for index, item in enumerate(node):
                where = f"{path}.{index}"
                line, column = node.lc.item(index)
                self.lines[where] = (line + 1, column + 1)
                self.locate(item, where)

    def read(self) -> CommentedMap | None:
        """The parsed document, or None with the reason recorded."""
        try:
            if self.path.stat().st_size > LARGEST_FILE:
                self.add("", "the file is far too large for an assembly", "one machine a file")
                return None
            text = self.path.read_text(encoding="utf-8")
            yaml = YAML(typ="rt")
            document = yaml.load(text)
        except FileNotFoundError:
            self.add("", "there is no such file")
        except (OSError, UnicodeDecodeError) as error:
            self.add("", f"cannot be read as UTF-8 text: {error}")
        except MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
            what = " ".join(str(error.problem or error.context or "not valid YAML").split())
            advice = "each key once" if "duplicate" in what else "key: value, indented with spaces"
            self.problems.append(
                Problem(str(self.path), line, column, "", f"not readable as YAML: {what}", advice)
            )
        except (YAMLError, ValueError, RecursionError) as error:
            self.add("", f"not readable as YAML: {' '.join(str(error).split())[:200]}")
        else:
            if isinstance(document, CommentedMap):
                self.locate(document)
                return document
            self.add("", "the file holds no `key: value` lines", "assembly: <name>, parts: …")
        return None

    def section(self, document: CommentedMap, name: str) -> Mapping[str, Any]:
        """A section that must be a mapping; anything else is a problem and reads as empty."""
        value = document.get(name)
        if value is None:
            return {}
        if not isinstance(value, CommentedMap):
            self.add(name, f"{name} must be a list of `name: {{…}}` lines", f"{name}: {{}}")
            return {}
        for key in list(value):
            if not isinstance(key, str):
                self.add(f"{name}.{key}", "a name must be text here", f'"{key}"')
        return {str(k): v for k, v in value.items()}

    def model(self, kind: type[BaseModel], value: Any, where: str) -> Any:
        """`value` as a record of `kind`, or None with every error recorded."""
        if not isinstance(value, dict):
            self.add(where, "must be `{key: value, …}`")
            return None
        try:
            return kind.model_validate({str(k): v for k, v in value.items()})
        except ValidationError as error:
            for item in error.errors():
                self._explain(kind, item, where)
        return None

    def _explain(self, kind: type[BaseModel], item: Any, where: str) -> None:
        inner = ".".join(str(part) for part in item["loc"] if part != "[key]")
        path = f"{where}.{inner}" if inner else where
        given = item.get("input")
        cause = (item.get("ctx") or {}).get("error")
        names = [f.alias or n for n, f in kind.model_fields.items() if n != "ref"]
        if item["type"] == "extra_forbidden":
            what = f"there is no `{item['loc'][-1]}` here"
            if issubclass(kind, Part):
                terminals = ", ".join(kind.TERMINALS) or "windings"
                what = f"a {kind.KIND} has no `{item['loc'][-1]}` (terminals: {terminals})"
            self.add(path, what, near(item["loc"][-1], names))
        elif item["type"] == "missing":
            label = "terminal" if issubclass(kind, Part) and inner in kind.TERMINALS else "value"
            self.add(path, f"the {label} `{inner}` is missing", f"{inner}: …")
        elif isinstance(cause, QuantityError):
            self.add(path, f"“{cause.text}”: {cause.wrong}", cause.instead)
        elif isinstance(cause, ValueError):
            self.add(path, str(cause))
        elif item["type"] in ("literal_error", "enum"):
            wanted = item["ctx"]["expected"].replace("'", "")
            self.add(path, f"`{given}` is not one of the choices", wanted)
        else:
            self.add(path, f"`{given}`: {item['msg'].lower()}")

    def part(self, ref: str, entry: Any) -> Part | None:
        """One line of `parts`, its catalogue row laid under it."""
        where = f"parts.{ref}"
        if not isinstance(entry, CommentedMap):
            self.add(where, "a part must be `{kind: …, …}`", f"{ref}: {{kind: resistor, …}}")
            return None
        name = entry.get("kind")
        type_name = entry.get("type")
        row = None
        if type_name is not None:
            row = catalogue.load().get(str(type_name))
            if row is None:
                close = " or ".join(catalogue.load().nearest(str(type_name)))
                advice = f"{close}, or keep it and give its values on the line" if close else ""
                self.add(
                    f"{where}.type", f"type {type_name} is not in the catalogue", advice, doubt=True
                )
        if name is None and row is not None:
            name = row.kind
        if name is None:
            self.add(where, "the part has no kind", "kind: resistor, npn, zener, …")
            return None
        kind = REGISTRY.kinds.get(str(name))
        if kind is None:
            self.add(f"{where}.kind", f"there is no kind `{name}`", near(name, REGISTRY.kinds))
            return None
        fields = {str(k): v for k, v in entry.items()}
        if row is not None:
            if {row.kind, kind.KIND} not in ({kind.KIND}, {"diode", "rectifier"}):
                self.add(
                    f"{where}.kind", f"{row.type} is a {row.kind}, not a {kind.KIND}", row.kind
                )
                return None
            allowed = set(kind.model_fields)
            fields = {k: v for k, v in row.fields.items() if k in allowed} | fields
        fields |= {"ref": ref, "kind": kind.KIND}
        if type_name is not None:
            fields["type"] = str(type_name)
        part = self.model(kind, fields, where)
        return part if isinstance(part, Part) else None

    def loads(self, document: CommentedMap) -> dict[str, dict[str, LoadValue]]:
        """Named loads; `none` always exists and comes first."""
        found: dict[str, dict[str, LoadValue]] = {"none": {}}
        for name, nets in self.section(document, "loads").items():
            found[name] = {}
            if not isinstance(nets, dict):
                self.add(f"loads.{name}", "a load must be `{net: ohms, …}`", "{p5: 2ohm}")
                continue
            for net, value in nets.items():
                try:
                    found[name][str(net)] = load_value(value)
                except QuantityError as error:
                    self.add(f"loads.{name}.{net}", f"“{error.text}”: {error.wrong}", error.instead)
        return found


def load(path: Path) -> tuple[Assembly | None, list[Problem]]:
    """Read a file. The assembly is None when any problem is an error; doubts do not stop it."""
    reader = Reader(path)
    document = reader.read()
    if document is None:
        return None, reader.problems
    for key in document:
        if key not in SECTIONS:
            reader.add(str(key), f"there is no section `{key}`", near(key, SECTIONS))
    for key in ("assembly", "parts"):
        if key not in document:
            reader.add(key, f"the section `{key}` is missing", f"{key}: …")
    parts = {}
    for ref, entry in reader.section(document, "parts").items():
        part = reader.part(ref, entry)
        if part is not None:
            parts[ref] = part
    rails = _records(reader, document, "rails", Rail)
    points = _records(reader, document, "points", Point)
    feeds = _records(reader, document, "feeds", Feed)
    mains = reader.model(Mains, document["mains"], "mains") if "mains" in document else None
    if not feeds:
        feeds = {"on": Feed(mains=any(p.KIND == "mains" for p in parts.values()))}
    assembly = Assembly(
        path,
        str(document.get("assembly", path.stem)),
        str(document.get("machine", "")),
        str(document.get("common", "com")),
        parts,
        rails,
        points,
        {**feeds, "off": Feed(supplies=False, note="everything off, unplugged and discharged")},
        reader.loads(document),
        mains,
        str(document.get("notes", "")),
        reader.lines,
    )
    from halfsplit.assembly.check import electrical  # the checks need the model above

    electrical(assembly, reader)
    problems = sorted(reader.problems, key=lambda p: (p.line, p.column, p.path))
    return (None if any(p.severity == "error" for p in problems) else assembly), problems


def _records(reader: Reader, document: CommentedMap, name: str, kind: type[BaseModel]) -> Any:
    found = {}
    for key, value in reader.section(document, name).items():
        record = reader.model(kind, value, f"{name}.{key}")
        if record is not None:
            found[key] = record
    return found
