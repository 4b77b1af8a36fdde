"""What `fill` says of a table's columns."""

from __future__ import annotations

import shutil
from pathlib import Path

from tests.cli.conftest import TRAY, Run


def test_columns_left_out_come_with_how_to_say_what_they_are(run: Run, tmp_path: Path) -> None:
    file, table = tmp_path / "pt3.yaml", tmp_path / "t.csv"
    shutil.copy(TRAY, file)
    table.write_text("Ref,Value,From\nR901,10k,p5\n")
    shown = run("fill", str(file), str(table), "--look")
    assert shown.code == 1  # its nets are missing
    assert "--column 'From=a'" in shown.out and ".;" not in shown.out
