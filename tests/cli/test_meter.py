"""The meter in use and what is expected of it, typed as at the bench."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Run


def test_help_has_one_per_cent_sign(tray: Path, run: Run) -> None:
    ran = run("meter", "--help")
    assert ran.code == 0 and "0.5%" in ran.out and "3%" in ran.out
    assert "%%" not in ran.out


def test_off_the_scale_set_is_said_in_text_and_json(tray: Path, run: Run) -> None:
    assert run("meter", "pt3.yaml", "--kind", "pointer-20k", "--scale", "2.5V").code == 0
    ran = run("expect", "pt3.yaml", "p12")
    assert "the meter on p12 is off its 2.5 V scale: set a higher one" in ran.out
    (line,) = run("expect", "pt3.yaml", "p12", "--json").json
    assert line["off_scale"] == "off its 2.5 V scale: set a higher one"
    assert run("meter", "pt3.yaml", "--scale", "50V").code == 0
    assert "scale" not in run("expect", "pt3.yaml", "p12").out


def test_expect_takes_a_pair_as_read_does(tray: Path, run: Run) -> None:
    ran = run("expect", "pt3.yaml", "p1:P12", "p12:p1")
    assert ran.code == 0 and "p1:P12" in ran.out
    line, back, p1, p12 = run("expect", "pt3.yaml", "p1:p12", "p12:p1", "p1", "p12", "--json").json
    assert (line["name"], line["net"], line["against"]) == ("p1:p12", "p1", "p12")
    assert abs(line["mean"] - (p1["mean"] - p12["mean"])) < 0.002
    assert line["mean"] == -back["mean"]
    assert line["high"] - line["low"] < 0.1 < p1["high"] - p1["low"]
    assert run("expect", "pt3.yaml", "p1:q99").code == 3
    assert run("expect", "pt3.yaml", "p1:").code == 1
