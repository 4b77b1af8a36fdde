"""The exported JSON Schema agrees with the loader on our own example and on what it refuses."""

from __future__ import annotations

from copy import deepcopy
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML

from halfsplit.assembly.schema import assembly_schema
from halfsplit.parts.base import REGISTRY

TRAY = Path(__file__).parents[2] / "examples/hd40/pt3.yaml"


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    """A validator of the exported schema, the schema itself checked first."""
    schema = assembly_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.fixture
def tray() -> Any:
    """The demo tray as plain data."""
    return YAML(typ="safe").load(TRAY.read_text(encoding="utf-8"))


def test_the_demo_tray_is_accepted(validator: Any, tray: Any) -> None:
    assert [e.message for e in validator.iter_errors(tray)] == []


def test_the_valve_supply_is_accepted(validator: Any) -> None:
    supply = TRAY.parents[1] / "type88" / "supply.yaml"
    data = YAML(typ="safe").load(supply.read_text(encoding="utf-8"))
    assert [e.message for e in validator.iter_errors(data)] == []


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("parts", "R1", "valu"), "1k"),
        (("parts", "R1", "kind"), "resister"),
        (("parts", "R1", "tech"), "wood"),
        (("parts", "R1"), "1k"),
        (("rails", "P5", "limit"), "5V"),
        (("points", "TP1", "net"), ["n12"]),
        (("feeds", "raws", "nets", "v5r", "amp"), "1A"),
        (("partz",), {}),
    ],
)
def test_what_the_loader_refuses_is_refused(
    validator: Any, tray: Any, where: tuple[str, ...], value: object
) -> None:
    data = deepcopy(tray)
    node = data
    for step in where[:-1]:
        node = node[step]
    node[where[-1]] = value
    assert not validator.is_valid(data)


@pytest.mark.parametrize("section", ["parts", "assembly"])
def test_needed_sections_are_needed(validator: Any, tray: Any, section: str) -> None:
    del tray[section]
    assert not validator.is_valid(tray)


def test_a_part_needs_its_terminals(validator: Any, tray: Any) -> None:
    del tray["parts"]["R1"]["a"]
    assert not validator.is_valid(tray)


@pytest.mark.parametrize("name", sorted(REGISTRY.kinds))
def test_every_kind_and_its_terminals_are_described(name: str) -> None:
    schema = assembly_schema()["$defs"][f"part-{name}"]
    assert len(schema["description"].split()) >= 2
    assert schema["additionalProperties"] is False
    assert schema["properties"]["kind"]["const"] == name
    assert set(REGISTRY.kinds[name].TERMINALS) <= set(schema["properties"])
    assert "ref" not in schema["properties"]
