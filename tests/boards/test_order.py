"""Order, budget and stop limits of the demo, and the substrate interlock."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.bench.racks import NotYetError, RackBench
from halfsplit.boards.model import Rack
from halfsplit.boards.order import budget, sequence
from halfsplit.problems import NotFoundError, ProblemsError


def test_least_to_lose_first_within_what_must_be_in(rack: Rack) -> None:
    # Design notes, wise order: backplane empty, memory alone, processor, console.
    assert [s.board for s in sequence(rack)] == ["BP", "ML32", "CP1", "SL2"]


def test_the_budget_is_that_of_the_design_notes(rack: Rack) -> None:
    # Design notes (invented): +5 4.35 A of 5, +12 0.53 A, -12 0.05 A at run.
    totals = budget(sequence(rack))
    assert totals["P5"] == (pytest.approx(4.35), 5.0)
    assert totals["P12"][0] == pytest.approx(0.53, abs=0.006)
    assert totals["N12"][0] == pytest.approx(0.05, abs=0.002)


def test_stop_limits_are_30_percent_over_and_half_under(rack: Rack) -> None:
    memory = next(s for s in sequence(rack) if s.board == "ML32")
    p12 = next(r for r in memory.rails if r.rail == "P12")
    assert (p12.amps.low, p12.amps.high) == (0.1, 0.5)  # standby to working
    assert p12.stop.low == pytest.approx(0.05)
    assert p12.stop.high == pytest.approx(0.65)
    assert memory.withheld == ("P12",)


def _prove(bench: RackBench, board: str) -> None:
    """Good readings of every kind for one board that is in."""
    for rail in bench.step(board).rails:
        if rail.rail == "P12" and bench.locked("P12"):
            continue
        bench.record_readings([f"{board}.{rail.rail}={(rail.volts.low + rail.volts.high) / 2}V"])
        if not rail.made and rail.amps.high:
            bench.record_readings([f"{board}.{rail.rail}={rail.amps.high}A"])


def _ohms(bench: RackBench, board: str) -> None:
    for rail in bench.step(board).rails:
        if rail.ohms is not None:
            top = rail.ohms.high if rail.ohms.high < 1e9 else rail.ohms.low * 2
            bench.record_readings([f"{board}.{rail.rail}={(rail.ohms.low + top) / 2}ohm"])


def test_nothing_goes_in_unmeasured(file: Path) -> None:
    with RackBench(file) as bench:
        with pytest.raises(NotYetError, match=r"(?s)dead ohms of P5.*P12.*N12"):
            bench.fit("BP")
        _ohms(bench, "BP")
        assert bench.fit("BP") == []
        _ohms(bench, "ML32")
        with pytest.raises(NotYetError, match="volts of P5 at the slot with BP in"):
            bench.fit("ML32")
        with pytest.raises(NotYetError, match="ML32 goes in first"):
            bench.fit("CP1")


def test_plus_twelve_waits_for_the_substrate_rail(file: Path) -> None:
    with RackBench(file) as bench:
        _ohms(bench, "BP")
        bench.apply("P12")  # on the empty backplane nothing forbids it
        bench.fit("BP")
        _prove(bench, "BP")
        _ohms(bench, "ML32")
        with pytest.raises(NotYetError, match="P12 must be off until N5 is proved"):
            bench.fit("ML32")
        bench.withhold("P12")
        bench.fit("ML32")
        with pytest.raises(NotYetError, match=r"N5 must read -5.50 V to -4.50 V"):
            bench.apply("P12")
        # the shorted tantalum of the story
        verdict = bench.record_readings(["ML32.N5=-0.05V"])[0]
        assert not verdict["go"]
        assert verdict["says"].startswith("STOP")
        with pytest.raises(NotYetError, match=r"reads -50.0 mV"):
            bench.apply("P12")
        bench.record_readings(["ML32.N5=-5.08V"])
        assert bench.apply("P12") == []


def test_a_rail_read_live_counts_as_applied(file: Path) -> None:
    with RackBench(file) as bench:
        _ohms(bench, "BP")
        bench.fit("BP")
        _prove(bench, "BP")  # 12 V among what is read there
        assert "P12" in bench.state()["rails"]
        _ohms(bench, "ML32")
        with pytest.raises(NotYetError, match=r"P12 must be off.*--withhold P12"):
            bench.fit("ML32")
        bench.withhold("P12")
        assert bench.fit("ML32") == []
        bench.record_readings(["ML32.N5=-5.08V", "ML32.P12=12V"])
        assert "P12" in bench.state()["rails"]
        bench.record_readings(["ML32.P12=0.02V"])
        assert "P12" not in bench.state()["rails"]


def test_a_rail_on_before_its_time_is_a_stop(file: Path) -> None:
    """+12 V on the memory board while nothing was read of its substrate rail, or that is wrong."""
    with RackBench(file) as bench:
        bench.fit("ML32", anyway="to read at its slot")
        for reading in ("ML32.P12=12V", "ML32.P12=0.1A"):
            unread = bench.record_readings([reading])[0]
            assert not unread["go"] and unread["says"].startswith("STOP: switch off")
            assert "N5 must read -5.50 V to -4.50 V" in unread["says"]
        assert not bench.record_readings(["ML32.N5=-0.04V", "ML32.P12=12V"])[1]["go"]
        both = bench.record_readings(["ML32.N5=-5.08V", "ML32.P12=12V", "ML32.P12=0.1A"])
        assert [b["go"] for b in both] == [True, True, True]


def test_a_rail_held_off_and_read_at_nought_is_no_fault_and_no_proof(file: Path) -> None:
    with RackBench(file) as bench:
        for board in ("BP", "ML32"):
            _ohms(bench, board)
            bench.fit(board, anyway="a test")
        locked = bench.record_readings(["ML32.P12=0V", "ML32.P12=0A"])
        assert [b["go"] for b in locked] == [True, True]
        assert "off, as it must be for now: N5 must read" in locked[0]["says"]
        assert any("volts of P12" in m for m in bench.before("CP1"))
        bench.withhold("P12")
        free = bench.record_readings(["ML32.N5=-5.08V", "ML32.P12=0V"])[1]
        assert free["go"] and "`--apply P12`" in free["says"]
        bench.apply("P12")
        assert any("volts of P12" in m for m in bench.before("CP1"))
        assert not bench.record_readings(["ML32.P12=0V"])[0]["go"]  # on, and yet nothing there


def test_a_stop_holds_up_whatever_comes_later(file: Path) -> None:
    from halfsplit.bench.rack_sheets import order_sheet

    with RackBench(file) as bench:
        for board in ("BP", "ML32"):
            _ohms(bench, board)
            bench.fit(board, anyway="a test")
        bench.record_readings(["ML32.N5=-0.04V"])
        sheet = order_sheet(bench)
        assert sheet["next"] is None and sheet["owed"] == []
        assert sheet["off"] == ["switch off and take ML32 out: `--out ML32`, or read it again"]
        bench.fit("CP1", anyway="in a hurry")
        assert any(m.startswith("ML32 N5: STOP") for m in bench.before("SL2"))
        bench.take_out("ML32")
        assert not any("N5" in m for m in bench.before("SL2"))


def test_a_rail_read_before_the_board_came_opens_no_interlock(file: Path) -> None:
    with RackBench(file) as bench:
        with pytest.raises(ProblemsError, match=r"ML32, which is not in.*--fit ML32"):
            bench.record_readings(["ML32.N5=-5.08V"])
        # as in a journal written before such readings were refused
        body = {"board": "ML32", "rail": "N5", "unit": "V", "value": -5.08, "go": True, "says": ""}
        bench.journal.append("slot", body)
        bench.fit("ML32", anyway="nothing measured yet")
        with pytest.raises(NotYetError, match=r"N5 must read -5.50 V to -4.50 V"):
            bench.apply("P12")


def test_an_override_is_possible_recorded_and_shown_again(file: Path) -> None:
    from halfsplit.bench.rack_sheets import order_sheet

    with RackBench(file) as bench:
        assert bench.fit("BP", anyway="meter is lent") != []
    with RackBench(file) as bench:
        assert order_sheet(bench)["overridden"][0]["anyway"] == "meter is lent"


@pytest.mark.parametrize(
    ("reading", "go"),
    [
        ("ML32.P5=22R", True), ("ML32.P5=1.2R", False), ("ML32.P5=90R", False),
        ("ML32.P5=5.02V", True), ("ML32.P5=4.6V", False), ("ML32.N12=-12V", True),
        ("ML32.N12=12V", False), ("ML32.P5=0.86A", True), ("ML32.P5=1.2A", False),
        ("ML32.P5=0.3A", False), ("ML32.P12=110mA", False), ("BP.P12=OL", True),
        ("BP.P12=40mA", False), ("SL2.P12=open", True),
    ],
)  # fmt: skip
def test_readings_are_judged(file: Path, reading: str, go: bool) -> None:
    with RackBench(file) as bench:
        bench.fit(reading.partition(".")[0], anyway="to read at its slot")
        assert bench.record_readings([reading])[0]["go"] is go


@pytest.mark.parametrize(
    "reading",
    [
        "ML32.P5=5",
        "ML32.N12=1k",
        "ML32.P5=4k7",
        "ML32.P9=5V",
        "MM.P5=5V",
        "ML32.P5=",
        "ML32.P5=-5R",
        "x",
    ],
)
def test_what_is_no_reading_is_refused_and_nothing_stored(file: Path, reading: str) -> None:
    with RackBench(file) as bench:
        with pytest.raises(ProblemsError):
            bench.record_readings(["ML32.P5=20R", reading])
        assert bench.entries == []


def test_a_value_no_unit_fits_is_told_by_its_value_and_not_by_a_unit(file: Path) -> None:
    with RackBench(file) as bench, pytest.raises(ProblemsError) as caught:
        bench.record_readings(["ML32.P5=5e30V"])
    assert "resistance" not in str(caught.value) and "“5e30V”" in str(caught.value)


def test_a_board_taken_out_owes_its_readings_again(file: Path) -> None:
    with RackBench(file) as bench:
        _ohms(bench, "BP")
        bench.fit("BP")
        bench.take_out("BP")
        assert len(bench.before("BP")) == 3
        with pytest.raises(NotFoundError):
            bench.take_out("BP")


def test_straps_found_and_moved_are_kept_apart(file: Path) -> None:
    with RackBench(file) as bench:
        bench.record_straps(["ML32.W1=out"], moved=False)
        bench.record_straps(["ML32.W1=in"], moved=True)
    with RackBench(file) as bench:
        assert bench.positions()["ML32", "W1"] == "in"
        assert bench.positions(found=True)["ML32", "W1"] == "out"
        bench.undo()
        assert bench.positions()["ML32", "W1"] == "out"
        with pytest.raises(ProblemsError, match="no position of W1"):
            bench.record_straps(["ML32.W1=up"], moved=True)
