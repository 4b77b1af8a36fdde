"""Pages made from the program itself, so that they cannot say anything else than it does."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from halfsplit.assembly.model import Assembly, Feed
from halfsplit.bench import hazards
from halfsplit.circuit import elements
from halfsplit.cli.app import app
from halfsplit.diagnosis import next_check
from halfsplit.parts import catalogue
from halfsplit.parts.base import REGISTRY, RESERVED, Part
from halfsplit.pictures.choice import whole
from halfsplit.pictures.circuit import circuit_svg

ROOT = Path(__file__).resolve().parents[1]
# One line of each kind, as typed; fields a line must have are in it.
LINES = ROOT / "docs" / "kinds.yaml"


def options() -> str:
    """Every command with its options."""
    found = ["\n## Every command and its options\n"]
    for name in sorted(n for n in app if not n.startswith("-")):
        command = app[name]
        found.append(f"### {name}\n\n{_cell(inspect.getdoc(command.default_command) or '')}\n")
        rows = [
            (f"`{' '.join(a.names)}`", a.parameter.help or "")
            for a in command.assemble_argument_collection()
            if a.parameter.show is not False and a.names
        ]
        found.append(_table(("option", "what it does"), rows))
    return "\n".join(found)


def cautions(page: str) -> str:
    """The page of hazards with the numbers the program goes by in place of ``{{NAME}}``."""
    known = {n: getattr(m, n) for m in (next_check, hazards) for n in dir(m) if n.isupper()}
    return re.sub(r"\{\{(\w+)\}\}", lambda m: f"{known[m[1]]:g}", page)


def kinds() -> dict[str, str]:
    """A page of each kind, and one that lists them."""
    text = LINES.read_text(encoding="utf-8")
    parts = {}
    for ref, fields in YAML(typ="safe").load(text).items():
        parts[ref] = REGISTRY.kinds[fields["kind"]](ref=ref, **fields)
    samples = {part.KIND: part for part in parts.values()}
    if missing := set(REGISTRY.kinds) - set(samples):
        raise SystemExit(f"docs/kinds.yaml has no line of {', '.join(sorted(missing))}")
    nothing: dict[str, Any] = {}
    assembly = Assembly(
        LINES, "", "", "com", parts, {}, {}, {"off": Feed(supplies=False)},
        {"none": nothing}, None, "", {},
    )  # fmt: skip
    count: dict[str, int] = {}
    for row in catalogue.load().rows.values():
        count[row.kind] = count.get(row.kind, 0) + 1
    rows, found = [], {}
    for name in sorted(REGISTRY.kinds):
        part = samples[name]
        line = "\n".join(_entry(text.splitlines(), part.ref))
        picture = circuit_svg(whole(assembly, [part.ref]), name=f"symbol of {name}")
        found[f"kinds/{name}"] = _kind(part, line, picture, count.get(name, 0))
        rows.append((f"[{name}](kinds/{name}.md)", _first(type(part)), str(count.get(name, ""))))
    listed = "\n".join(f"kinds/{name}" for name in sorted(REGISTRY.kinds))
    head = (
        "# Kinds of part\n\nMade from the program: what a line of each kind may say, what it is to "
        "the solver, how it fails and who says so.\n\n"
    )
    tree = f"\n```{{toctree}}\n:hidden:\n\n{listed}\n```\n"
    found["kinds"] = head + _table(("kind", "what it is", "types in the catalogue"), rows) + tree
    return found


def _entry(lines: list[str], ref: str) -> list[str]:
    start = next(k for k, line in enumerate(lines) if line.startswith(f"{ref}:"))
    end = start + 1
    while end < len(lines) and lines[end].startswith(" "):
        end += 1
    return lines[start:end]


def _kind(part: Part, line: str, picture: str, types: int) -> str:
    kind = type(part)
    module = inspect.getmodule(kind)
    about = [inspect.getdoc(module) or "", inspect.getdoc(kind) or ""]
    rate = part.rate()
    drawn = re.sub(r"\n+", "\n", picture)
    blocks = [
        f"# {part.KIND}\n",
        "\n\n".join(_cell(a) for a in about),
        f"\n```text\n{line}\n```\n\n<div>\n{drawn}</div>\n",
        "## What a line may say\n",
        _table(("field", "what it is", "if left out"), _fields(kind)),
        "## What it is to the solver\n",
        "Of the entry above:\n",
        _table(("element", "between", "what that is"), _elements(part)),
        "## How it fails\n",
        f"{rate.per_million_hours:g} failures in a million hours when new; {_cell(rate.source)}. "
        "What is known of age, make and heat weighs on top of it.\n",
        _table(
            ("fault", "share", "what a meter or an eye finds on it", "who says how often"),
            [(m.name, f"{100 * m.share:.0f} %", m.look, m.source) for m in part.modes()],
        ),
    ]
    if wrong := part.misfits():
        rows = [(m.name, f"{100 * m.share:.0f} %", m.look, m.source) for m in wrong]
        head = ("mistake", "share", "what is found", "who says how often")
        blocks += ["## What may stand there by mistake\n", _table(head, rows)]
    if limits := part.ratings():
        rows = [(r.quantity.replace("_", " "), f"{r.limit:g}", r.element, r.source) for r in limits]
        blocks += ["## What it may not pass\n", _table(("of", "limit [SI]", "at", "source"), rows)]
    if looks := part.dead():
        rows = [(f"{d.pos} to {d.neg}", d.test, d.words) for d in looks]
        blocks += ["## On the bench, good\n", _table(("leads", "test", "should show"), rows)]
    listed = f"`halfsplit part --kind {part.KIND}` lists them." if types else ""
    blocks.append(f"The catalogue has {types or 'no'} types of it. {listed}\n")
    return "\n".join(blocks)


def _fields(kind: type[Part]) -> list[tuple[str, str, str]]:
    rows = []
    schema = kind.model_json_schema()
    for name, info in kind.model_fields.items():
        if name in ("ref", "kind"):
            continue
        shown = info.alias or (name.rstrip("_") if name.rstrip("_") in RESERVED else name)
        about = info.description or _about(schema["properties"].get(shown, {}))
        left = "must be there" if info.is_required() else _default(info.get_default())
        rows.append((f"`{shown}`", about, left))
    return rows


def _about(entry: dict[str, Any]) -> str:
    options = [entry, *entry.get("anyOf", ())]
    said = [str(o["description"]) for o in options if o.get("description")]
    said += [", ".join(str(c) for c in o["enum"]) for o in options if "enum" in o]
    return said[0] if said else ""


def _default(value: object) -> str:
    return "" if value is None or value in ({}, ()) else _cell(str(value)[:60])


def _elements(part: Part) -> list[tuple[str, str, str]]:
    rows = []
    for e in part.elements():
        what = (inspect.getdoc(type(e)) or "").split("\n\n")[0]
        rows.append((e.name, ", ".join(n.replace(elements.COMMON, "com") for n in e.nets), what))
    return rows


def _first(kind: type[Part]) -> str:
    return (inspect.getdoc(kind) or "").split("\n\n")[0]


def _cell(text: str) -> str:
    """Words of the program as Markdown words: no markup of theirs, double backquotes single."""
    text = text.replace("``", "`")
    parts = re.split(r"(`[^`]*`)", text)
    return "".join(
        p if p.startswith("`") else re.sub(r"([\\*_<>|{}\[\]#$])", r"\\\1", p) for p in parts
    )


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    """A table; nothing where there is no row."""
    listed = list(rows)
    if not listed:
        return "Nothing.\n"
    plain = [[" ".join(c.split()) if c.startswith(("`", "[")) else _cell(" ".join(c.split()))
              for c in row] for row in listed]  # fmt: skip
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(c.replace("|", "\\|") for c in row) + " |" for row in plain]
    return "\n".join(lines) + "\n"
