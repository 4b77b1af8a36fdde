"""The Python interface, as somebody judging other circuits with it would use it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.simulator import tray
from tests.simulator.bench import Specimen

from halfsplit.api import Bench, open_bench
from halfsplit.assembly.condition import Condition
from halfsplit.problems import HalfsplitError


@pytest.fixture
def bench(tmp_path: Path):  # type: ignore[no-untyped-def]
    file = Path(shutil.copy(tray.EXAMPLE, tmp_path / "pt3.yaml"))
    with open_bench(file) as opened:
        yield opened


def test_from_condition_to_suspect(bench: Bench) -> None:
    specimen, at = Specimen("C7 short", 11), Condition("raws", "half")
    assert bench.condition(feed="raws", load="half") == at.words()
    for _ in range(6):
        if bench.decided():
            break
        best = bench.propose(1)[0]
        if best.quantity == "look":
            bench.look(best.at, as_drawn=True)
            continue
        assert best.quantity == "volts" and best.bits > 0.0 and best.minutes > 0.0
        bench.condition(best.feed, best.load)
        bench.read(best.at, specimen.read(best.at, Condition(best.feed, best.load)))
    assert bench.suspects()[0].faults == ("C7 short",)
    assert next(iter(bench.blamed())) == "C7"
    bench.change("C7 fitted")
    assert "C7 replaced" in bench.session.condition.words()


def test_dead_readings_looks_and_undo(bench: Bench) -> None:
    bench.condition(feed="off")
    bench.read("n12", "1.5", quantity="ohms")
    assert "C4" in bench.suspects()[0].parts
    before = bench.blamed()["F2"]
    bench.touched("F2")
    bench.look("F2", as_drawn=False)
    after = bench.blamed()["F2"]
    assert after > 5 * before
    bench.undo()
    assert bench.blamed()["F2"] < after


def test_expected_band_holds_the_reading_of_the_notes(bench: Bench) -> None:
    """N12 at bench load is -12.04 V in the design notes of the demo machine."""
    bench.condition(feed="raws", load="bench")
    mean, low, high = bench.expect("n12")
    assert low < -12.04 < high
    assert mean == pytest.approx(-12.04, abs=0.05)


def test_bad_input_says_what_to_write(bench: Bench) -> None:
    with pytest.raises(HalfsplitError, match="did you mean"):
        bench.read("n21x", 1.0)
    with pytest.raises(HalfsplitError):
        bench.change("C4 exploded")
    with pytest.raises(HalfsplitError):
        open_bench("nowhere.yaml")


def test_a_quantity_nobody_knows_is_refused(bench: Bench) -> None:
    with pytest.raises(HalfsplitError, match="no quantity"):
        bench.read("n12", 1.0, quantity="joules")
    with pytest.raises(HalfsplitError, match="off"):
        bench.condition(feed="off")
        bench.read("F3", 0.5, quantity="amps")
    bench.condition(feed="raws", load="half")
    bench.read("F3", 0.55, quantity="amps")
    assert bench.session.evidence()[-1].quantity == "amps"
    assert bench.doubts() == {}
