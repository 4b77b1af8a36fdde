"""Verdicts and signs that cannot both be right are told, never fitted silently."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.bench.test_actions import SUNK
from tests.bench.test_follower import FOLLOWER
from tests.bringup.test_surroundings import TEXT

from halfsplit.bench.contradictory import UNLIKE, contradictions
from halfsplit.bench.report import next_dict, resume_dict, suspects_dict
from halfsplit.bench.session import Session


@pytest.fixture
def follower(tmp_path: Path) -> Iterator[Session]:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER)
    with Session(file) as opened:
        yield opened


@pytest.fixture
def panel(tmp_path: Path) -> Iterator[Session]:
    file = tmp_path / "panel.yaml"
    file.write_text(TEXT)
    with Session(file) as opened:
        yield opened


def entries(session: Session) -> list[tuple[int, ...]]:
    return [c.entries for c in contradictions(session)]


def test_good_and_bad_with_nothing_fitted_between(follower: Session) -> None:
    good = follower.prove("C2", True, "").seq
    assert entries(follower) == []
    bad = follower.prove("C2", False, "").seq
    (told,) = contradictions(follower)
    assert (told.entries, told.part) == ((good, bad), "C2")
    for words in (f"tested good (#{good})", f"tested bad (#{bad})", "both count", "test it again"):
        assert words in told.words
    third = follower.prove("C2", False, "").seq
    (told,) = contradictions(follower)
    assert told.entries == (good, bad, third) and "all of them count" in told.words
    follower.change("C2 fitted")
    assert "out of the machine by now" in contradictions(follower)[0].words
    follower.undo(good)
    assert entries(follower) == []


def test_the_same_twice_is_no_contradiction(follower: Session) -> None:
    follower.prove("C2", True, "")
    follower.prove("C2", True, "")
    follower.prove("C1", False, "")
    assert entries(follower) == []


def test_another_part_fitted_between_is_another_part(follower: Session) -> None:
    follower.prove("C2", False, "")
    follower.change("C2 fitted")
    follower.change("R1 lifted a")
    follower.set_condition(follower.condition_from(None, "light"))
    good = follower.prove("C2", True, "").seq
    assert entries(follower) == []
    bad = follower.prove("C2", False, "").seq  # that new one, again
    assert entries(follower) == [(good, bad)]
    assert "both count" in contradictions(follower)[0].words
    follower.change("C2 fitted")  # the like of it once more
    assert "neither weighs any more" in contradictions(follower)[0].words
    follower.prove("C2", True, "")
    assert entries(follower) == [(good, bad)]


def test_put_back_is_the_one_it_came_with(follower: Session) -> None:
    bad = follower.prove("C2", False, "").seq
    follower.change("C2 fitted")
    follower.change("C2 put-back")
    good = follower.prove("C2", True, "").seq
    assert entries(follower) == [(bad, good)]


def test_a_blown_fuse_that_tests_good(follower: Session) -> None:
    blown = follower.observe("", "F1", sign="blown").seq
    bad = follower.prove("F1", False, "OL").seq
    assert entries(follower) == []
    good = follower.prove("F1", True, "0.1 ohm").seq
    assert entries(follower) == [(blown, bad, good)]


def test_as_drawn_and_not(follower: Session) -> None:
    drawn = follower.observe("", "CR1", sign="as-drawn").seq
    marked = follower.observe("", "CR1", found=["value=6.8V"]).seq
    (told,) = contradictions(follower)
    assert told.entries == (drawn, marked)
    assert "marked value 6.8V" in told.words and "in the circuit" in told.words
    follower.undo(drawn)
    other = follower.observe("", "CR1", found=["value=5.6V"]).seq
    assert entries(follower) == [(marked, other)]


def test_lit_and_dark_in_one_condition(panel: Session) -> None:
    lit = panel.observe("", "LP1", sign="lit").seq
    panel.change("R3 removed")
    panel.observe("", "LP1", sign="dark")  # with a part out it may be
    assert entries(panel) == []
    panel.change("R3 put-back")
    dark = panel.observe("", "LP1", sign="dark").seq
    (told,) = contradictions(panel)
    assert told.entries == (lit, dark)
    assert "one and the same condition (fed by supply, load none)" in told.words
    assert "look at it again" in told.words


def test_a_fan_beside_a_lamp_and_sounds(panel: Session) -> None:
    panel.observe("", "LP1", sign="dark")
    panel.observe("", "M1", sign="turning")
    hum = panel.observe("", None, sign="hum").seq
    panel.observe("", None, sign="ticking")  # both may be heard at once
    assert entries(panel) == []
    stopped = panel.observe("", "M1", sign="stopped").seq
    quiet = panel.observe("", None, sign="quiet").seq
    assert entries(panel) == [(2, stopped), (hum, hum + 1, quiet)]
    assert contradictions(panel)[1].part == ""
    assert contradictions(panel)[1].words.startswith("the machine: hum")


def test_two_temperatures_of_one_case(tmp_path: Path) -> None:
    """Each is good to 4 K: four sigma of a difference are 22.6 K."""
    assert pytest.approx(22.6, abs=0.1) == UNLIKE
    file = tmp_path / "heat.yaml"
    file.write_text(SUNK)
    with Session(file) as sunk:
        first = sunk.read_temperature("U1", "39degC").seq
        sunk.read_temperature("U1", "61degC")
        assert entries(sunk) == []
        third = sunk.read_temperature("U1", "62degC").seq
        assert entries(sunk) == [(first, third)]


def test_it_is_told_wherever_advice_is_given(panel: Session) -> None:
    panel.read("lp", "0.00")
    panel.prove("R1", True, "")
    panel.prove("R1", False, "")
    (told,) = [c.as_dict() for c in contradictions(panel)]
    assert suspects_dict(panel, panel.suspects(3))["contradictory"] == [told]
    assert next_dict(panel)["contradictory"] == [told]
    assert resume_dict(panel)["next"]["contradictory"] == [told]
