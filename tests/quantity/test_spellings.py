"""Every row of ``spellings.yaml``, and the same rows through an independent library."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from quantiphy import QuantiPhyError, Quantity
from ruamel.yaml import YAML

from halfsplit.quantity import UNITS, QuantityError, parse

TABLE = YAML(typ="safe").load(Path(__file__).with_name("spellings.yaml"))
ROWS: list[dict[str, Any]] = [row for rows in TABLE.values() for row in rows]
ACCEPTED = [row for row in ROWS if "value" in row]
REFUSED = [row for row in ROWS if "refused" in row]


def name(row: dict[str, Any]) -> str:
    return f"{row['text']}|{row['unit']}"


def library_value(text: str) -> float | None:
    try:
        return float(Quantity(text))
    except QuantiPhyError:
        return None


def test_table_is_large_and_covers_every_unit() -> None:
    assert len(ROWS) >= 200
    assert len(ACCEPTED) + len(REFUSED) == len(ROWS)
    assert {row["unit"] for row in ROWS} == set(UNITS)
    assert len({name(row) for row in ROWS}) == len(ROWS), "a row is listed twice"
    for group, rows in TABLE.items():
        if group != "capacitors":
            assert any("value" in row for row in rows), group
        assert any("refused" in row for row in rows), group


@pytest.mark.parametrize("row", ACCEPTED, ids=name)
def test_accepted(row: dict[str, Any]) -> None:
    assert parse(row["text"], row["unit"]) == row["value"]


@pytest.mark.parametrize("row", REFUSED, ids=name)
def test_refused_with_a_spelling_that_works(row: dict[str, Any]) -> None:
    with pytest.raises(QuantityError) as caught:
        parse(row["text"], row["unit"])
    error = caught.value
    assert row["refused"] in str(error)
    assert error.text == row["text"]
    assert error.wrong.endswith(".")
    assert 0 <= error.position <= len(row["text"])
    assert error.instead
    for spelling in error.instead.removeprefix("a value such as ").split(" or "):
        parse(spelling, row["unit"])


@pytest.mark.parametrize("row", ACCEPTED, ids=name)
def test_library_agrees_or_its_misreading_is_listed(row: dict[str, Any]) -> None:
    """The listed misreadings are why values are not read by a general library."""
    read = library_value(row["text"])
    if row.get("library_wrong") == "quantiphy":
        assert read == row["library_reads"]
        assert read != row["value"]
    else:
        assert read == pytest.approx(row["value"], rel=1e-12)


def test_misreadings_are_silent_often_enough_to_matter() -> None:
    silent = [row for row in ACCEPTED if row.get("library_reads") is not None]
    assert len(silent) >= 20


def test_position_points_at_the_trouble() -> None:
    for text, unit, place in (("10uF/25V", "F", 4), ("  1,234", "ohm", 3), ("12 apples", "V", 2)):
        with pytest.raises(QuantityError) as caught:
            parse(text, unit)  # type: ignore[arg-type]
        assert caught.value.position == place
