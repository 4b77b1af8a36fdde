"""Drills on record are what the page of figures says of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from halfsplit.bench.tally import occurring, on_the_way, tally

ROOT = Path(__file__).resolve().parents[2]
RECORDS = ROOT / "proofs" / "records"
PAGE = (ROOT / "docs" / "how-it-decides.md").read_text()


def records(name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((RECORDS / name).read_text())
    return found


@pytest.mark.parametrize("file", sorted(RECORDS.glob("*.json")), ids=lambda f: f.stem)
def test_every_record_can_be_told(file: Path) -> None:
    found = records(file.name)
    assert found and tally(found)["calibration"]
    assert sum(occurring(found)) > 0.0
    assert on_the_way(found) and on_the_way(found, whole=True)


@pytest.mark.parametrize("name", ["hd40-seed41.json", "type88-seed94.json", "stile17-seed79.json"])
def test_the_table_of_a_machine_is_that_of_its_record(name: str) -> None:
    some = [r for r in records(name) if r["slips"] == 0.1]
    for kind, words in (
        ("single", "one fault that shows"),
        ("double", "two faults"),
        ("cascade", "one that took another along"),
    ):
        mine = [r for r in some if r["kind"] == kind]
        acted = [r for r in mine if r["claimed"] is not None]
        checks = sum(r["first_checks"] for r in acted) / len(acted)
        cells = [
            f"| {words} | {len(mine)}",
            *(str(sum(r[k] for r in mine)) for k in ("top", "third", "part_top")),
            f"{sum(r['right'] for r in acted)} of {len(acted)}",
            f"{checks:.1f}",
            str(sum(r["accused"] for r in mine)),
        ]
        assert " | ".join(cells) in PAGE, cells
    assert not [r for r in some if r["kind"] == "healthy" and r["claimed"] is not None]
    wrong = [r["faults"] for r in some if r["slipped"] and r["right"] is False]
    assert all(f'"{faults}", put down to' in PAGE for faults in wrong)
    near = next(row for row in on_the_way(some, whole=True) if 0.85 < row["claimed"] < 0.95)
    claimed, right = (f"{100 * near[k]:.1f} %" for k in ("claimed", "right"))
    assert f"| {claimed} | {right}" in PAGE or f"with {claimed} and right in {right}" in PAGE
