"""The score of a drill: counted by hand, merged by number, drawn as text."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

from halfsplit.bench.tally import at_the_end, chart, histogram, on_the_way, tally, wilson

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "proofs"))

from drill import merged, slip_cost  # type: ignore[import-not-found]


def record(number: int, **other: Any) -> dict[str, Any]:
    plain = {
        "machine": "hd40",
        "drill": 1,
        "number": number,
        "slips": 0.0,
        "kind": "single",
        "faults": "C4 short",
        "seed": 1,
        "checks": 6,
        "minutes": 30.0,
        "first_checks": 3,
        "claimed": 0.95,
        "right": True,
        "top": True,
        "third": True,
        "part_top": True,
        "part_three": True,
        "accused": 0,
        "hazardous": 0,
        "live": 0,
        "slipped": False,
        "unanswered": 0,
        "cascade": None,
        "trail": [],
        "without_reading": 0,
    }
    return plain | other


def test_shares_means_and_series() -> None:
    some = [
        record(0),
        record(1, first_checks=5, right=False, top=False),
        record(2, claimed=None, right=None, first_checks=0),
        record(3, claimed=0.9995, first_checks=3),
    ]
    row = tally(some)["single"]
    assert (row["cases"], row["top"], row["decided"]) == (4, 0.75, 0.75)
    assert row["checks_to_decision"] == pytest.approx(11 / 3, abs=1e-3)
    assert row["first_decision_right"] == pytest.approx(2 / 3, abs=1e-4)
    assert row["confident_wrong"] == 0.25
    assert [b["cases"] for b in row["histogram"]] == [0, 0, 0, 2, 0, 1]
    low, high = tally(some)["calibration"]
    assert (low["cases"], low["claimed"], low["right"]) == (2, 0.95, 0.5)
    assert (high["cases"], high["right"]) == (1, 1.0)
    assert any("checks to the first decision" in line for line in chart(tally(some)))


def test_leaders_on_the_way_are_counted_by_band() -> None:
    """Two propositions a reading: that the leader is the whole truth, that it is part of it."""
    first, second = [0.4, False, 0.42, False], [0.8, False, 0.9, True]
    some = [record(0, claims=[first, second]), record(1, claims=[[0.91, False, 0.91, False]])]
    low, high = on_the_way([*some, record(2)])
    assert (low["cases"], low["claimed"], low["right"]) == (1, 0.42, 0.0)
    assert (high["cases"], high["claimed"], high["right"]) == (2, 0.905, 0.5)
    rows = on_the_way(some, whole=True)
    assert [(r["cases"], r["claimed"], r["right"]) for r in rows] == [
        (1, 0.4, 0.0),
        (1, 0.8, 0.0),
        (1, 0.91, 0.0),
    ]


def test_several_claims_of_one_machine_are_one_to_the_interval() -> None:
    """One machine says 0.9 three times and is right once, another 0.92 and is right. Two of four
    claims are right; machines of three claims and one tell as much as 16 / (9 + 1) alike."""
    first = [[0.9, k == 2, 0.9, k == 2] for k in range(3)]
    some = [record(0, claims=first), record(1, claims=[[0.92, True, 0.0, False]])]
    (row,) = on_the_way(some, whole=True)
    assert (row["cases"], row["claimed"], row["right"]) == (2, 0.905, 0.5)
    assert (row["low"], row["high"]) == wilson(0.8, 1.6)
    (blames,) = on_the_way(some, whole=True, blaming=True)
    (none,) = on_the_way(some, whole=True, blaming=False)
    assert (blames["cases"], blames["claimed"], none["claimed"]) == (1, 0.9, 0.92)


def test_kinds_count_as_often_as_they_occur() -> None:
    """Two singles, of which one machine in four is one, and a double, as three in four are."""
    single = [record(n, share=0.25, claimed=0.95) for n in range(2)]
    double = record(2, kind="double", share=0.75, claimed=0.94, right=False)
    (row,) = tally([*single, double])["calibration"]
    assert (row["cases"], row["right"]) == (3, 0.25)
    assert row["claimed"] == pytest.approx(0.25 * 0.95 + 0.75 * 0.94, abs=1e-4)
    # Weights 1/8, 1/8 and 3/4 tell as much as 1 / (1/64 + 1/64 + 9/16) = 1.68 alike.
    assert (row["low"], row["high"]) == wilson(0.25 / 0.59375, 1.0 / 0.59375)


def test_what_led_at_the_end_is_held_against_the_whole_truth() -> None:
    some = [record(0, ended=0.9), record(1, ended=0.92, top=False), record(2), record(3, ended=0.2)]
    low, high = at_the_end(some)
    assert (low["cases"], low["right"]) == (1, 1.0)
    assert (high["cases"], high["claimed"], high["right"]) == (2, 0.91, 0.5)


def test_wilsons_interval() -> None:
    """10 of 10: 72.2 % to 100 %, as tables of the interval have it (worked out by hand)."""
    assert wilson(10, 10) == pytest.approx((0.7225, 1.0), abs=5e-4)
    assert wilson(5, 10) == pytest.approx((0.2366, 0.7634), abs=5e-4)
    assert histogram([]) == []


def test_pieces_of_a_drill_count_each_case_once(tmp_path: Path) -> None:
    one, two = tmp_path / "one.json", tmp_path / "two.json"
    one.write_text(json.dumps([record(0), record(1, top=False)]))
    two.write_text(json.dumps([record(1), record(2), record(0, slips=1.0)]))
    found = merged([one, two])
    assert [(r["slips"], r["number"]) for r in found] == [(0.0, 0), (1.0, 0), (0.0, 1), (0.0, 2)]
    assert found[2]["top"]  # the later file wins


def test_a_slip_is_held_against_the_same_machine_without() -> None:
    with_slip = [record(n, slips=0.1, slipped=n < 2, first_checks=5 + n) for n in range(3)]
    twins = [record(0, first_checks=4), record(1, first_checks=4, right=False)]
    found = slip_cost(with_slip, [*with_slip, *twins])["single"]
    assert found["machines"] == 2 and found["checks_more_to_decision"] == 1.5
    assert (found["confident_wrong"], found["confident_wrong_without"]) == (0, 1)
