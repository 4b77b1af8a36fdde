"""A board's currents from the chips on it, against sums done by hand from the rows' figures."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.boards.chips import total
from halfsplit.boards.file import load_rack
from halfsplit.boards.order import sequence
from halfsplit.parts import catalogue
from halfsplit.problems import Problem

RACK = """\
machine: made up
rails:
  P5: {volts: 5V, limits: 4.75..5.25V, rated: 10A}
  P12: {volts: 12V, limits: 11.4..12.6V}
  N5: {volts: -5V, limits: -5.5..-4.5V}
boards:
  M16:
    worth: 5
    chips: {"4116": 16, 74LS138: 2, 74LS244: 3}
"""


def rack(tmp_path: Path, text: str = RACK) -> tuple[object, list[Problem]]:
    path = tmp_path / "boards.yaml"
    path.write_text(text, encoding="utf-8")
    return load_rack(path)


def figure(name: str, volts: str, which: str) -> float:
    row = catalogue.load().get(name)
    assert row is not None
    return float(str(row.fields["supplies"][volts][which]).removesuffix("mA")) / 1e3


def test_sixteen_memories_and_their_logic() -> None:
    drawn = total({"4116": 16, "74LS138": 2, "74LS244": 3})
    assert set(drawn) == {12.0, -5.0, 5.0}
    # By hand from the sheets' figures: 16 times 35 mA; 16 times 0.2 mA.
    assert drawn[12.0].most == pytest.approx(0.56) and drawn[-5.0].most == pytest.approx(3.2e-3)
    assert drawn[12.0].standby == pytest.approx(16 * 1.5e-3)
    for which in ("typical", "most"):
        five = (
            16 * figure("4116", "5V", which)
            + 2 * figure("74LS138", "5V", which)
            + 3 * figure("74LS244", "5V", which)
        )
        assert getattr(drawn[5.0], which) == pytest.approx(five)


def test_a_board_without_figures_gets_them_from_its_chips(tmp_path: Path) -> None:
    found, problems = rack(tmp_path)
    assert found is not None, [str(p) for p in problems]
    steps = {r.rail: r for r in sequence(found)[0].rails}  # type: ignore[arg-type]
    assert steps["P12"].amps.high == pytest.approx(0.56)
    assert steps["P12"].amps.low == pytest.approx(0.024)
    assert steps["N5"].amps.high == pytest.approx(3.2e-3)


def test_a_figure_of_the_file_wins(tmp_path: Path) -> None:
    text = RACK + "    rails: {P12: {amps: 0.4A, ohms: 60..200R}}\n"
    found, _ = rack(tmp_path, text)
    steps = {r.rail: r for r in sequence(found)[0].rails}  # type: ignore[arg-type]
    assert steps["P12"].amps.high == 0.4 and steps["P5"].amps.high > 0.1


def test_a_rail_made_on_the_board_is_left_to_the_board(tmp_path: Path) -> None:
    text = RACK.replace("-5.5..-4.5V}", "-5.5..-4.5V, on: M16}")
    found, problems = rack(tmp_path, text)
    assert found is not None and problems == []
    assert "N5" not in found.boards["M16"].rails  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"4116": 16', '"4II6": 16', "`4II6` is no chip of the catalogue"),
        ('"4116": 16', "2N3055: 16", "2N3055 is a npn, not a chip"),
        ('"4116": 16', '"4116": 0', "boards.M16.chips"),
        ('"4116": 16', '"4116": many', "boards.M16.chips"),
        ("  N5: {volts: -5V, limits: -5.5..-4.5V}\n", "", "draw from -5 V, and the file has no"),
        ("  N5:", "  P5B: {volts: 5V, limits: 4.75..5.25V}\n  N5:", "P5 and P5B could be that"),
    ],
)
def test_what_cannot_be_added_up_is_a_problem(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    assert old in RACK
    found, problems = rack(tmp_path, RACK.replace(old, new))
    assert found is None and any(said in str(p).replace("−", "-") for p in problems), problems
    assert all(p.line for p in problems)


def test_naming_the_rail_settles_which(tmp_path: Path) -> None:
    text = RACK.replace("  N5:", "  P5B: {volts: 5V, limits: 4.75..5.25V}\n  N5:")
    found, problems = rack(tmp_path, text + "    rails: {P5B: {}}\n")
    assert found is not None, problems
    assert set(found.boards["M16"].rails) == {"P5B", "P12", "N5"}  # type: ignore[attr-defined]
