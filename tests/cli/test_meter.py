"""The meter in use and what is expected of it, typed as at the bench."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Run


def test_help_has_one_per_cent_sign(tray: Path, run: Run) -> None:
    ran = run("meter", "--help")
    assert ran.code == 0 and "0.5%" in ran.out and "3%" in ran.out
    assert "%%" not in ran.out
