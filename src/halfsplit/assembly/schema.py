"""JSON Schema of the assembly file, for editors that complete and check while one types."""

from __future__ import annotations

from typing import Any

from halfsplit.assembly.blocks import Block
from halfsplit.assembly.file import SECTIONS
from halfsplit.assembly.model import Air, Feed, Lean, Mains, Point, Rail
from halfsplit.assembly.pattern_find import Library, known, shipped
from halfsplit.assembly.printed import Numbering, Printed
from halfsplit.parts import kinds as _kinds
from halfsplit.parts.base import REGISTRY

assert _kinds  # importing it fills the registry


def _many(item: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "additionalProperties": item}


def _record(model: Any, definitions: dict[str, Any]) -> dict[str, Any]:
    schema: dict[str, Any] = model.model_json_schema(ref_template="#/$defs/{model}")
    definitions.update(schema.pop("$defs", {}))
    schema.get("properties", {}).pop("ref", None)
    return schema


def _unless_noted(definitions: dict[str, Any]) -> dict[str, Any]:
    """What holds of every part of a kind that does not say otherwise."""
    kinds = {}
    for name, kind in sorted(REGISTRY.kinds.items()):
        known = definitions[f"part-{name}"]["properties"]
        left = {k: v for k, v in known.items() if k not in (*kind.TERMINALS, "kind", "windings")}
        kinds[name] = {"type": "object", "additionalProperties": False, "properties": left}
    return {"type": "object", "additionalProperties": False, "properties": kinds}


def _use() -> dict[str, Any]:
    """One use of a pattern: what the shipped ones have by name, anything of one's own besides."""
    text = {"type": ["string", "number"]}
    named = []
    library = Library(shipped() / "any.yaml")
    for name, path in known(shipped() / "any.yaml").items():
        made, _ = library.get(path)
        if made is None:
            continue
        said = {n.name: text | {"description": n.what} for n in made.nets.values()}
        said |= {v.name: text | {"description": v.what} for v in made.parameters.values()}
        for role in made.roles.values():
            about = f"reference and value of the {role.what}"
            said[role.name] = {"type": "string", "description": about}
        if made.mirrors:
            said["polarity"] = {"enum": ["positive", "negative"]}
        chosen = {"properties": {"pattern": {"const": name}}, "required": ["pattern"]}
        needed = [r.name for r in made.roles.values() if not r.absent]
        named.append({"if": chosen, "then": {"properties": said, "required": needed}})
    beside = {"type": "object", "description": "anything of one part, by its reference"}
    return {
        "type": "object",
        "required": ["pattern"],
        "properties": {"pattern": {"type": "string", "description": "name of the pattern"}},
        "additionalProperties": {"anyOf": [text, beside]},
        "allOf": named,
    }


def assembly_schema() -> dict[str, Any]:
    """The schema as a dictionary (draft 2020-12).

    A part with a catalogue `type` may leave out what the catalogue knows, so only terminals and
    kind are required here; the loader checks the rest.
    """
    definitions: dict[str, Any] = {}
    variants = []
    for name, kind in sorted(REGISTRY.kinds.items()):
        schema = _record(kind, definitions)
        needed = [t for t in schema.get("required", []) if t in kind.TERMINALS]
        schema["required"] = needed
        schema["properties"]["kind"] = {"const": name, "description": "part kind"}
        definitions[f"part-{name}"] = schema
        variants.append({"$ref": f"#/$defs/part-{name}"})
    quantity = {"type": ["string", "number"]}
    properties = {
        "assembly": {"type": "string", "description": "name of this assembly"},
        "machine": {"type": "string", "description": "machine it belongs to"},
        "common": {"type": "string", "description": "net called 0 V; com unless given"},
        "mains": _record(Mains, definitions),
        "parts": _many({"anyOf": variants}),
        "unless_noted": _unless_noted(definitions),
        "patterns": _many(_use()),
        "blocks": _many(_record(Block, definitions)),
        "rails": _many(_record(Rail, definitions)),
        "loads": _many(_many(quantity)),
        "feeds": _many(_record(Feed, definitions)),
        "points": _many(_record(Point, definitions)),
        "printed": _many(_record(Printed, definitions)),
        "numbering": _record(Numbering, definitions),
        "leans": _many(_record(Lean, definitions)),
        "air": _record(Air, definitions),
        "layout": _many(
            {
                "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}],
                "description": "parts that sit beside this one, such as [R3, C4]",
            }
        ),
        "notes": {"type": "string", "description": "leftover free text"},
    }
    if tuple(sorted(properties)) != tuple(sorted(SECTIONS)):
        raise ValueError("schema and loader disagree on the sections of a file")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Halfsplit assembly",
        "type": "object",
        "required": ["assembly"],
        "anyOf": [{"required": [name]} for name in ("parts", "patterns", "blocks")],
        "additionalProperties": False,
        "properties": properties,
        "$defs": definitions,
    }
