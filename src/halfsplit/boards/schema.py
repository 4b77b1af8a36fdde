"""JSON Schema of files of boards and of console files, for editors that complete and check."""

from __future__ import annotations

from typing import Any

from halfsplit.boards import consoles
from halfsplit.boards.file import BASES, RECORDS, SECTIONS


def boards_schema() -> dict[str, Any]:
    """The schema as a dictionary (draft 2020-12); the loader checks what names what."""
    definitions: dict[str, Any] = {}
    properties: dict[str, Any] = {
        "machine": {"type": "string", "description": "name of the machine"},
        "numbers": {"enum": list(BASES), "description": "how its paper writes addresses"},
        "word": {"type": "integer", "description": "data bits of a word"},
        "width": {"type": "integer", "description": "address bits"},
        "wanted": {
            "type": "object",
            "additionalProperties": {"type": ["string", "number"]},
            "description": "BOARD.setting: choice, and memory: 0000..7FFF",
        },
        "notes": {"type": "string", "description": "leftover free text"},
    }
    for name, (record, sample) in RECORDS.items():
        schema = record.model_json_schema(ref_template="#/$defs/{model}")
        definitions.update(schema.pop("$defs", {}))
        properties[name] = {
            "type": "object",
            "additionalProperties": schema,
            "description": f"such as {sample}",
        }
    return _whole("boards", ["machine", "boards"], properties, definitions, SECTIONS)


def console_schema() -> dict[str, Any]:
    """The schema of a console file; the loader checks what names what."""
    definitions: dict[str, Any] = {}
    properties: dict[str, Any] = {
        "console": {"type": "string", "description": "name of the console"},
        "machine": {"type": "string", "description": "machine it belongs to"},
        "notes": {"type": "string", "description": "leftover free text"},
    }
    for name, record in consoles.RECORDS.items():
        schema = record.model_json_schema(ref_template="#/$defs/{model}")
        definitions.update(schema.pop("$defs", {}))
        properties[name] = {
            "type": "object",
            "additionalProperties": schema,
            "description": f"such as {consoles.SAMPLES[name]}",
        }
    return _whole("console", [], properties, definitions, consoles.SECTIONS)


def _whole(
    title: str,
    required: list[str],
    properties: dict[str, Any],
    definitions: dict[str, Any],
    sections: tuple[str, ...],
) -> dict[str, Any]:
    if sorted(properties) != sorted(sections):
        raise ValueError("schema and loader disagree on the sections of a file")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"Halfsplit {title}",
        "type": "object",
        "required": required,
        "additionalProperties": False,
        "properties": properties,
        "$defs": definitions,
    }
