"""``--warm`` of the commands that take it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import Run

SUPPLY = Path(__file__).resolve().parents[2] / "examples" / "type88" / "supply.yaml"


@pytest.fixture
def supply(tmp_path: Path) -> Path:
    """A copy of the valve supply."""
    return Path(shutil.copy(SUPPLY, tmp_path / "supply.yaml"))


def test_expect_and_read_take_the_time_since_switch_on(run: Run, supply: Path) -> None:
    at = ("--feed", "raws", "--load", "half", "--warm", "12s", "--json")
    ran = run("expect", str(supply), "p250", *at)
    assert ran.code == 0
    assert ran.json[0]["condition"]["warm"] == 12.0
    assert ran.json[0]["mean"] == pytest.approx(300.0, rel=0.02)  # design notes: about 300 V
    stored = run("read", str(supply), "p250=297", *at)
    assert stored.code == 0
    assert stored.json["stored"][-1]["body"]["condition"]["warm"] == 12.0


def test_a_time_that_means_nothing_is_a_problem(run: Run, supply: Path) -> None:
    ran = run("expect", str(supply), "p250", "--warm", "soon")
    assert ran.code == 1
    assert "soon" in ran.err + ran.out and "Traceback" not in ran.err + ran.out
