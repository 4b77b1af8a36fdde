"""The file of boards: what it refuses, word for word, and that its schema agrees."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML

from halfsplit.boards.file import load_rack
from halfsplit.boards.model import Rack
from halfsplit.boards.numbers import read_number, show_number
from halfsplit.boards.schema import boards_schema
from halfsplit.quantity import QuantityError
from tests.boards.conftest import QUILLON

BAD = Path(__file__).parents[1] / "files" / "boards"


@pytest.mark.parametrize("name", ["many", "memory", "doubled"])
def test_every_seeded_problem_is_found_with_place_and_remedy(name: str) -> None:
    path = BAD / f"{name}.yaml"
    rack, problems = load_rack(path)
    assert rack is None
    wanted = (BAD / f"{name}.expected").read_text(encoding="utf-8").splitlines()
    assert [str(p).removeprefix(f"{path}:") for p in problems] == wanted


def test_no_damage_to_the_file_gives_a_traceback(tmp_path: Path) -> None:
    rng = random.Random(5)
    lines = QUILLON.read_text(encoding="utf-8").splitlines()
    refused = 0
    for k in range(150):
        hurt = list(lines)
        at = rng.randrange(len(hurt))
        text = hurt[at]
        hurt[at] = rng.choice(
            [
                "",
                text.replace(":", "", 1),
                text.replace("1", "x"),
                text[: len(text) // 2],
                "  " + text,
                text.replace("[", "{").replace("]", "}"),
                text.replace("yes", "true"),
                text.replace("P5", "[]"),
                "? " + text,
            ]
        )
        path = tmp_path / f"{k}.yaml"
        path.write_text("\n".join(hurt), encoding="utf-8")
        rack, problems = load_rack(path)
        assert (rack is None) == any(p.severity == "error" for p in problems)
        assert all(p.line for p in problems)
        refused += rack is None
    assert refused > 50, "the damage does too little to test anything"


def test_the_schema_accepts_the_demo_and_refuses_a_misspelt_key() -> None:
    schema = boards_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)

    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            return {str(k): plain(v) for k, v in value.items()}
        return [plain(v) for v in value] if isinstance(value, list) else value

    document = plain(YAML(typ="safe").load(QUILLON.read_text(encoding="utf-8")))
    validator.validate(document)
    document["boards"]["CP1"]["worht"] = 2
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(document)


@pytest.mark.parametrize(
    ("text", "base", "value"),
    [
        ("5A3C", "hex", 0x5A3C),
        ("0D0A", "hex", 0x0D0A),  # no prefix for decimal may swallow these digits
        ("0b11", "hex", 0x0B11),
        ("55074", "octal", 0o55074),
        ("23100", "decimal", 23100),
        ("0x10", "octal", 16),
        ("0o17", "hex", 15),
        ("32K", "hex", 32768),
        ("16384 dec", "hex", 16384),
    ],
)
def test_numbers_are_read_in_the_machines_own_base(text: str, base: Any, value: int) -> None:
    assert read_number(text, base) == value


@pytest.mark.parametrize(("text", "base"), [("589", "octal"), ("5A", "decimal"), ("", "hex"),
                                            ("-1", "hex"), ("4.5K", "hex")])  # fmt: skip
def test_what_is_no_number_there_is_refused(text: str, base: Any) -> None:
    with pytest.raises(QuantityError):
        read_number(text, base)


def test_numbers_are_shown_with_all_digits_of_their_width() -> None:
    assert show_number(0x408, "hex", 16) == "0408"
    assert show_number(0o5, "octal", 16) == "000005"
    assert show_number(37, "decimal", 16) == "37"


def test_chip_positions_follow_the_design_notes(rack: Rack) -> None:
    # Design notes of the demo (invented): U10..U25 bank 0, U26 and U27 parity; U30..U45, U46, U47.
    memory = rack.boards["ML32"].memory
    assert memory is not None
    assert [memory.chip(0, b) for b in (0, 15, 16, 17)] == ["U10", "U25", "U26", "U27"]
    assert [memory.chip(1, b) for b in (0, 15, 16, 17)] == ["U30", "U45", "U46", "U47"]
    assert [memory.bank(a) for a in (0, 0x3FFF, 0x4000, 0x7FFF)] == [0, 0, 1, 1]
    assert memory.bank(0, swapped=True) == 1
    assert memory.line_bits(3) == (3, 10)
    assert memory.in_line(3) == ["driver U5", "resistor RN1 element 3"]
