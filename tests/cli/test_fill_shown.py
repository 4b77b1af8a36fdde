"""What `fill` says of a table's columns."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Run


def test_columns_left_out_come_with_how_to_say_what_they_are(run: Run, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("Ref,Value,From\nR901,10k,p5\n")
    shown = run("fill", "pt3.yaml", str(table), "--look")
    assert shown.code == 1  # its nets are missing
    assert "--column 'From=a'" in shown.out and ".;" not in shown.out
