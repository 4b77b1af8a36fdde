"""What `fill` says of a table's columns."""

from __future__ import annotations

import shutil
from pathlib import Path

from tests.cli.conftest import TRAY, Run


def test_columns_left_out_come_with_how_to_say_what_they_are(run: Run, tmp_path: Path) -> None:
    file, table = tmp_path / "pt3.yaml", tmp_path / "t.csv"
    shutil.copy(TRAY, file)
    table.write_text("Ref,Value,Goes\nR901,10k,p5\n")
    shown = run("fill", str(file), str(table), "--look")
    assert shown.code == 1  # its nets are missing
    assert "--column 'Goes=a'" in shown.out and ".;" not in shown.out


def test_from_and_to_are_nets_and_a_wrong_kind_is_told_of_its_own_column(
    run: Run, tmp_path: Path
) -> None:
    file, table = tmp_path / "pt3.yaml", tmp_path / "t.csv"
    shutil.copy(TRAY, file)
    table.write_text(
        "Ref;Kind;Value;From;To\nR901;Widerstand;10k;p5;com\nR902;resistor;4,7k;p5;com\n"
    )
    shown = run("fill", str(file), str(table), "--look", "--json").json
    assert [c["is"] for c in shown["columns"]][3:] == ["net 1", "net 2"]
    (told,) = shown["rows"][0]["problems"]
    assert told["path"] == "kind" and "Widerstand" in told["wrong"]
    assert "--decimal-comma" in run("fill", str(file), str(table), "--look").out
