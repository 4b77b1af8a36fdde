"""What the Python interface refuses, in words and with nothing stored."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.bench.test_follower import FOLLOWER

from halfsplit.api import Bench, open_bench
from halfsplit.bench.drill_cases import prepared
from halfsplit.problems import HalfsplitError


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER)
    return open_bench(file)


@pytest.mark.parametrize(
    ("value", "more", "says"),
    [
        (None, {}, "no reading"),
        (True, {}, "no reading"),
        (1e9, {}, "three times anything"),
        (float("nan"), {}, "nan"),
        (470.0, {"quantity": "ohms", "meter": "zzz"}, "no meter zzz"),
    ],
    ids=str,
)
def test_a_reading_that_cannot_be_is_refused(
    bench: Bench, value: float, more: dict[str, str], says: str
) -> None:
    with bench:
        if more:
            bench.condition(feed="off")
        before = len(bench.session.entries)
        with pytest.raises(HalfsplitError, match=says):
            bench.read("zk", value, **more)
        assert len(bench.session.entries) == before


def test_one_may_be_sure(bench: Bench) -> None:
    with bench:
        assert bench.read("zk", 99.0, sure=True) > 0


def test_what_blames_nothing_has_a_name(bench: Bench) -> None:
    with bench:
        bench.read("out", 16.2)
        names = {s.name for s in bench.suspects(9) if not s.faults}
        assert names <= {"no fault", "something not in this model"} and names


def test_a_drill_of_a_machine_that_is_off_is_refused(bench: Bench) -> None:
    with bench:
        bench.condition(feed="off")
        session = bench.session
        with pytest.raises(HalfsplitError, match=r"no fault shows.*off"):
            prepared(session, session.condition, ["single"], 1, 1)


def test_a_drill_of_two_faults_where_one_part_shows_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "one.yaml"
    file.write_text(
        "assembly: One\nparts:\n"
        "  S1: {kind: supply, volts: 5V, ohms: 0.5R, pos: in, neg: com}\n"
        "  R1: {kind: resistor, value: 1k, power: 1W, a: in, b: com}\n"
    )
    with open_bench(file) as bench:
        session = bench.session
        with pytest.raises(HalfsplitError, match=r"one part alone|no fault shows"):
            prepared(session, session.condition, ["double"], 1, 1)
