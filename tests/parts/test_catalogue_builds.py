"""Every shipped part type makes a part of its kind, both from its row and from an assembly file."""

from __future__ import annotations

from pathlib import Path

import pytest
from ruamel.yaml import YAML

from halfsplit.assembly.file import load
from halfsplit.parts import catalogue
from halfsplit.parts.base import REGISTRY

ROWS = sorted(
    (row for row in catalogue.load().rows.values() if row.modelled), key=lambda row: row.type
)


def _nets(kind: str) -> dict[str, str]:
    return {t: f"n{i}" for i, t in enumerate(REGISTRY.kinds[kind].TERMINALS)}


def test_there_are_many_types_with_a_circuit() -> None:
    assert len(ROWS) >= 1200


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.type)
def test_every_row_builds_a_part(row: catalogue.Row) -> None:
    kind = REGISTRY.kinds[row.kind]
    part = kind(ref="X1", kind=row.kind, type=row.type, **row.fields, **_nets(row.kind))
    assert part.elements() and part.modes() and part.dead()


def test_a_type_alone_is_enough_in_a_file(tmp_path: Path) -> None:
    parts: dict[str, dict[str, str]] = {
        "V1": {"kind": "supply", "volts": "5V", "pos": "n0", "neg": "com"}
    }
    for i, row in enumerate(ROWS):
        parts[f"X{i}"] = {"type": row.type, **_nets(row.kind)}
    for i in range(6):
        parts[f"R{i}"] = {"kind": "resistor", "value": "1k", "a": f"n{i}", "b": "com"}
    path = tmp_path / "all.yaml"
    with path.open("w", encoding="utf-8") as stream:
        YAML(typ="safe").dump({"assembly": "every type", "parts": parts}, stream)
    assembly, problems = load(path)
    assert assembly is not None, [str(p) for p in problems]
    for i, row in enumerate(ROWS):
        assert row.kind == assembly.parts[f"X{i}"].KIND
        assert assembly.parts[f"X{i}"].type == row.type
