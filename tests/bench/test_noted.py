"""Verdicts and signs told as they weigh, by hand from the chances the documentation gives.

A part that is bad is called bad 95 times in 100, a good one 2 in 100; a blown fuse looks blown 95
in 100, a sound one 1 in 100; an open resistor looks burnt 40 in 100, a sound one 5 in 1000.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.bench.test_actions import SUNK
from tests.bench.test_follower import FOLLOWER
from tests.bringup.test_surroundings import TEXT

from halfsplit.bench.noted import noted_of
from halfsplit.bench.report import resume_dict, suspects_dict
from halfsplit.bench.session import Session
from halfsplit.bench.speaks import either_way, within
from halfsplit.bench.trail import trail
from halfsplit.diagnosis.explain import Suspect
from halfsplit.diagnosis.noted import Noted


def _opened(tmp_path: Path, text: str) -> Iterator[Session]:
    file = tmp_path / "machine.yaml"
    file.write_text(text)
    with Session(file) as opened:
        yield opened


@pytest.fixture
def follower(tmp_path: Path) -> Iterator[Session]:
    yield from _opened(tmp_path, FOLLOWER)


@pytest.fixture
def panel(tmp_path: Path) -> Iterator[Session]:
    yield from _opened(tmp_path, TEXT)


@pytest.fixture
def sunk(tmp_path: Path) -> Iterator[Session]:
    yield from _opened(tmp_path, SUNK)


def noted(session: Session, name: str) -> list[Noted]:
    """What was noted, against one hypothesis by name."""
    index = [h.name for h in session.hypotheses].index(name)
    return list(noted_of(session, [index])[index])


def one(session: Session, name: str) -> Noted:
    (found,) = noted(session, name)
    return found


def test_tested_bad_speaks_for_who_is_blamed_and_against_who_is_not(follower: Session) -> None:
    """0.95 / 0.02 = 47.5, told as 48."""
    number = follower.prove("C2", False, "1 ohm").seq
    mine, other, healthy, unknown = (
        one(follower, n) for n in ("C2 short", "R1 open", "no fault", "something not in this model")
    )
    assert mine.as_dict() | {"best": "", "words": ""} == {
        "entry": number,
        "kind": "verdict",
        "part": "C2",
        "said": "bad",
        "read": None,
        "predicted": None,
        "predicted_no_fault": None,
        "measure": "",
        "chance": 0.95,
        "chance_no_fault": 0.02,
        "ratio": 47.5,
        "best": "",
        "ratio_best": 1.0,
        "verdict": "supports",
        "words": "",
    }
    assert mine.words == (
        f"C2 tested bad (#{number}): 48 times likelier with C2 short than with nothing wrong"
    )
    told = other.as_dict()
    assert (told["ratio"], told["ratio_best"]) == (1.0, pytest.approx(0.02 / 0.95, rel=1e-3))
    assert told["verdict"] == "contradicts" and told["best"].startswith("C2 ")
    assert other.words.endswith(f"48 times likelier with {told['best']} than with R1 open")
    assert healthy.verdict == "contradicts" and healthy.words.endswith("than with nothing wrong")
    assert unknown.verdict == "says nothing" and unknown.words.endswith("no prediction")


def test_tested_good_speaks_against_who_is_blamed_and_not_for_the_others(
    follower: Session,
) -> None:
    """0.05 / 0.98, 19.6 times less."""
    follower.prove("C2", True, "")
    mine, other, healthy = (one(follower, n) for n in ("C2 short", "R1 open", "no fault"))
    assert mine.verdict == "contradicts" and mine.as_dict()["ratio"] == pytest.approx(
        0.05 / 0.98, rel=1e-3
    )
    assert "20 times less likely with C2 short than with nothing wrong" in mine.words
    assert (other.verdict, other.as_dict()["ratio"]) == ("neutral", 1.0)
    assert healthy.verdict == "supports" and "as it should be" in healthy.words


@pytest.mark.parametrize(
    ("part", "sign", "name", "likely", "sound"),
    [
        ("F1", "blown", "F1 open", 0.95, 0.01),
        ("R1", "burnt", "R1 open", 0.4, 0.005),
        ("C1", "bulged", "C1 short", 0.3, 0.03),
    ],
)
def test_a_sign_of_a_part_by_its_own_chances(
    follower: Session, part: str, sign: str, name: str, likely: float, sound: float
) -> None:
    follower.observe("", part, sign=sign)
    told = one(follower, name).as_dict()
    assert (told["chance"], told["chance_no_fault"]) == (likely, sound)
    assert (told["kind"], told["said"], told["verdict"]) == ("sign", sign, "supports")
    assert told["ratio"] == pytest.approx(likely / sound)
    assert one(follower, "Q1 c-e short").verdict == "contradicts"


def test_a_dark_lamp_by_the_watts_it_would_get(panel: Session) -> None:
    """No watts: the lamp is below a share of 0.12 by four of the 0.03 in which that sets in, so it
    is dark with 1 - 1 / (1 + e^4) = 0.982, and noted so with 0.04 + 0.88 * 0.982. With nothing
    wrong 50 ohm beside 1 kohm behind 10.1 ohm get 9.9 of 12 V, 98 % of the watts at 10 V, and the
    lamp is noted dark with 0.04."""
    panel.observe("", "LP1", sign="dark")
    fed, lit = one(panel, "R1 open").as_dict(), one(panel, "M1 open").as_dict()
    dark = 0.04 + 0.88 * (1.0 - 1.0 / (1.0 + math.exp(4.0)))
    assert fed["chance"] == pytest.approx(dark, rel=1e-3)
    assert fed["chance_no_fault"] == pytest.approx(0.04, rel=1e-3)
    assert fed["predicted"] == 0.0 and 0.96 < fed["predicted_no_fault"] < 1.0
    assert fed["measure"] == "its nominal watts" and fed["verdict"] == "supports"
    assert "23 times likelier with R1 open" in fed["words"]
    assert "0 % of its nominal watts, 98 % with nothing wrong" in fed["words"]
    assert "load none" in fed["words"], "it was seen in one condition"
    assert lit["verdict"] == "contradicts" and lit["ratio_best"] < 0.05


def test_a_lit_lamp_speaks_against_what_would_darken_it(panel: Session) -> None:
    panel.observe("", "LP1", sign="lit")
    assert one(panel, "R1 open").verdict == "contradicts"
    assert one(panel, "M1 open").verdict == "neutral"
    assert one(panel, "no fault").verdict == "supports"


def test_quiet_tells_nothing_where_nothing_would_be_heard(panel: Session) -> None:
    panel.observe("", None, sign="quiet")
    told = one(panel, "R1 open")
    assert told.as_dict()["chance"] == pytest.approx(1.0 - 3 * 0.04)
    assert told.verdict == "neutral" and told.words.startswith("the machine is quiet")


def test_a_temperature_comes_with_the_one_predicted(sunk: Session) -> None:
    """7 V at 0.25 A on 8 K/W: 39 °C, and the regulator's own current; with R1 open that alone, at
    12 V and less than 10 mA below 26 °C. 26 °C is then as likely as can be; with nothing wrong it
    is 13 K off where one sigma is hypot(0.25 * 14, 4) = 5.3: exp(-2.45^2 / 2) * 4 / 5.3 = 0.037."""
    sunk.read_temperature("U1", "26degC")
    told = one(sunk, "R1 open").as_dict()
    assert (told["said"], told["read"], told["measure"]) == ("temperature", 26.0, "degC")
    assert 25.0 <= told["predicted"] <= 26.0
    assert 39.0 <= told["predicted_no_fault"] <= 40.0
    assert told["verdict"] == "supports" and 18.0 < told["ratio"] < 40.0
    assert "you would read 2" in told["words"] and "°C with nothing wrong" in told["words"]


def test_the_ratios_are_those_the_weights_took(follower: Session) -> None:
    """By how much a verdict moved the odds of a suspect against no fault is what is told of it."""

    def odds(name: str) -> float:
        names = [h.name for h in follower.hypotheses]
        weights = dict(zip(names, follower.belief.weights(), strict=True))
        return float(weights[name] / weights["no fault"])

    names = ("C2 short", "Q1 open base", "F1 open", "R5 open")
    before = {n: odds(n) for n in names}
    follower.prove("C2", False, "")
    follower.observe("", "F1", sign="blown")
    follower.observe("", "Q1", sign="hot")
    for name in names:
        told = math.prod(n.as_dict()["ratio"] for n in noted(follower, name))
        assert odds(name) / before[name] == pytest.approx(told, rel=2e-3), name


def test_a_verdict_on_a_part_fitted_here_is_not_told_of_the_old_one(follower: Session) -> None:
    follower.prove("C2", False, "1 ohm")
    follower.change("C2 fitted")
    follower.prove("C2", True, "the new one")
    of_old, of_new = noted(follower, "C2 short")
    assert (of_old.of.said, of_old.verdict) == ("bad", "supports")
    assert of_new.of.head.startswith("new C2 tested good") and of_new.verdict == "neutral"


# -- what tells nothing either way ----------------------------------------------------------------


def test_what_tells_nothing_is_counted_and_named(follower: Session) -> None:
    """24 V less 0.5 ohm of a few milliamperes at raw, with C2 short or without: 47 ohm and the gain
    let 0.5 A pass, a quarter of a volt."""
    for net, text in (("out", "0.10"), ("zk", "0.92"), ("vin", "23.8")):
        follower.read(net, text, sure=True)
    follower.prove("R5", True, "")
    lead = follower.suspects(1)[0].suspects[0]
    assert lead.hypothesis.name == "C2 short"
    by_net = {r.evidence.pos: r for r in lead.reasons}
    assert by_net["vin"].verdict == "neutral" and by_net["vin"].off is not None
    assert abs(by_net["vin"].shown - 23.8) < 0.3, "its value is predicted all the same"
    told = either_way(lead)
    (number,) = [e.seq for e in follower.entries if e.kind == "prove"]
    assert told["neutral"] == [by_net["vin"].evidence.number, number]
    assert told["words"] == (
        f"1 reading and 1 verdict tell nothing either way: vin, R5 tested good (#{number})"
    )
    assert told["between"] == told["no_prediction"] == []


def test_a_reading_between_fitting_and_not_is_not_called_neutral(follower: Session) -> None:
    """Three sigma off: neither for nor against, and yet it is not nothing."""
    follower.read("zk", "12.00", sure=True)
    (reason,) = follower.reasons(0)
    assert reason.off is not None and not reason.between
    follower.undo()
    follower.read("zk", f"{reason.predicted + 3.0 * reason.sigma:.3f}", sure=True)
    (again,) = follower.reasons(0)
    assert again.off == pytest.approx(3.0, abs=0.2) and again.verdict == "neutral"
    assert again.between
    told = either_way(Suspect(follower.hypotheses[0], 1.0, (again,)))
    assert told["between"] == [again.evidence.number] and told["neutral"] == []
    assert told["words"] == "1 reading lies between fitting and not: zk"


def test_of_something_not_in_the_model_nothing_is_predicted(follower: Session) -> None:
    follower.read("zk", "12.00", sure=True)
    follower.prove("R5", True, "")
    groups = follower.suspects(40)
    (blind,) = [
        s for g in groups for s in g.suspects if s.hypothesis.name == "something not in this model"
    ]
    told = either_way(blind)
    assert len(told["no_prediction"]) == 2 and told["neutral"] == []
    assert told["words"].startswith("1 reading and 1 verdict have no prediction: zk, R5")


# -- told of suspects -----------------------------------------------------------------------------


def test_suspects_no_reading_parts_are_parted_by_a_verdict(panel: Session) -> None:
    """R1 open and R2 short both leave the lamp without a volt; R1 tested good is against one."""
    panel.read("lp", "0.00")
    number = panel.prove("R1", True, "").seq
    (group,) = [g for g in panel.suspects(9) if len(g.suspects) == 2 and g.weight > 0.5]
    names = [s.hypothesis.name for s in group.suspects]
    assert names == ["R2 short", "R1 open"]
    assert within(group) == [
        {
            "entry": number,
            "verdict": "contradicts",
            "suspects": ["R1 open"],
            "words": f"R1 open: R1 tested good (#{number})",
        }
    ]


def test_those_for_whom_it_speaks_likewise_are_not_told_again(follower: Session) -> None:
    """Nothing read: failures of C1 and C2 that no direct volts show are one group."""
    follower.prove("C1", False, "")
    (group,) = follower.suspects(1)
    names = [s.hypothesis.name for s in group.suspects]
    assert names[0].startswith("C1") and names[1].startswith("C1")
    (told,) = within(group)
    assert told["verdict"] == "contradicts"
    assert set(told["suspects"]) == {
        n for n in names if not n.startswith("C1") and n != "something not in this model"
    }


def test_a_set_of_two_has_its_own_watts(panel: Session) -> None:
    """R1 and R3 open: neither lamp nor fan gets anything."""
    panel.read("lp", "0.00")
    panel.read("fn", "0.00")
    panel.observe("", "LP1", sign="dark")
    panel.observe("", "M1", sign="stopped")
    pair = panel.suspects(1)[0].suspects[0]
    assert pair.hypothesis.name == "R1 open + R3 open"
    assert [n.as_dict()["predicted"] for n in pair.noted] == [0.0, 0.0]
    assert [n.verdict for n in pair.noted] == ["supports", "supports"]


def test_every_suspect_has_all_of_it_as_data(panel: Session) -> None:
    panel.read("lp", "0.00")
    panel.prove("R1", False, "")
    panel.observe("", "LP1", sign="dark")
    data = suspects_dict(panel, panel.suspects(6))
    assert data["contradictory"] == []
    for group in data["groups"]:
        for suspect in group["suspects"]:
            assert [n["said"] for n in suspect["noted"]] == ["bad", "dark"]
            assert set(suspect["either_way"]) == {"neutral", "between", "no_prediction", "words"}
            assert {"against", "off", "predicted"} <= set(suspect["reasons"][0])


def test_a_sign_alone_brings_suspects(panel: Session) -> None:
    assert resume_dict(panel)["suspects"] == []
    panel.observe("", "LP1", sign="dark")
    assert resume_dict(panel)["suspects"]


def test_the_trail_says_which_verdict_dropped_a_suspect(follower: Session) -> None:
    for good in (False, True, True):
        follower.prove("C1", good, "")
    step = trail(follower)[-1]
    dropped = dict(step.dropped)
    assert dropped["C1 open"].startswith(f"C1 tested good (#{step.number}): 20 times less likely")
