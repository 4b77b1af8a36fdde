"""The valve supply on the bench: warm-up in readings and journal, cautions, a dead tube found."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from halfsplit.assembly.condition import Change, Condition, parse_warm
from halfsplit.bench.choosing import best
from halfsplit.bench.expect import expect
from halfsplit.bench.hazards import at_reading, before_touching, present
from halfsplit.bench.opening import check_file
from halfsplit.bench.session import Session
from halfsplit.diagnosis.next_check import Candidate, Check
from halfsplit.faults.ohmmeter import ohmmeters
from halfsplit.parts.valve import warmth
from halfsplit.problems import ProblemsError

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "type88" / "supply.yaml"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A copy of the demo file, so that its journal goes beside it."""
    return Path(shutil.copy(EXAMPLE, tmp_path / "supply.yaml"))


def test_the_demo_file_has_no_problem(file: Path) -> None:
    assert check_file(file) == []


@pytest.mark.parametrize(
    ("text", "seconds"), [("10s", 10.0), ("500ms", 0.5), ("cold", 0.0), ("hot", None)]
)
def test_warm_is_read(text: str, seconds: float | None) -> None:
    assert parse_warm(text) == seconds


@pytest.mark.parametrize("text", ["-3s", "soon", "10V", ""])
def test_warm_that_means_nothing_is_refused(text: str) -> None:
    with pytest.raises(ProblemsError):
        parse_warm(text)


def test_a_condition_carries_its_warmth_and_old_ones_are_hot() -> None:
    cold = Condition("raws", "half", warm=12.0)
    assert Condition.from_dict(cold.as_dict()) == cold
    assert "12.0 s after switch-on" in cold.words()
    assert "cold" in replace(cold, warm=0.0).words()
    old = {k: v for k, v in cold.as_dict().items() if k != "warm"}
    assert Condition.from_dict(old) == Condition("raws", "half")


def test_emission_only_grows() -> None:
    steps = [warmth(0.1 * i, 11.0) for i in range(150)]
    assert steps[0] == 0.0 and steps[-1] == 1.0
    assert steps == sorted(steps)


def test_a_reading_keeps_its_warmth_and_the_machine_is_hot_again(file: Path) -> None:
    with Session(file) as session:
        at = session.condition_from("raws", "half", "12s")
        entry = session.read("p250", "297", condition=at)
        assert entry.body["condition"]["warm"] == 12.0
        assert session.condition == Condition("raws", "half")
    with Session(file) as session:
        assert session.evidence()[0].condition.warm == 12.0
        # 297 V is what a good one reads after twelve seconds, and far too much for a hot one.
        cold = expect(session, ["p250"], [session.condition_from(None, None, "12s")])[0]
        hot = expect(session, ["p250"], [session.condition])[0]
        assert cold.low < 297.0 < cold.high
        assert hot.high < 270.0


def test_a_high_reading_is_a_fault_hot_and_none_while_warming(file: Path) -> None:
    weights = {}
    for warm in ("hot", "12s"):
        copy = file.with_name(f"{warm}.yaml")
        shutil.copy(file, copy)
        with Session(copy) as session:
            session.read("p250", "297", condition=session.condition_from("raws", "half", warm))
            weights[warm] = float(session.belief.weights()[0])  # "no fault"
    assert weights["hot"] < 0.01 < 0.03 < weights["12s"]


def test_cautions_of_this_machine(file: Path) -> None:
    with Session(file) as session:
        here = Condition("mains", "half")
        told = " ".join(before_touching(session.machine, here))
        assert "MR1 is selenium" in told and "poisonous" in told
        assert "C1 may hold 4.0 J at 500 V" in told
        assert "V5, V4, V6 may hold traces of radioactive gas" in told
        assert "MR1 is selenium" in " ".join(present(session.machine, here))
        live = at_reading(session.machine, here, 400.0)
        assert "up to 400 V here" in live and "that kills" in live
        assert "that kills" not in at_reading(session.machine, here, 100.0)


def test_a_dead_reference_is_found_from_two_readings(file: Path) -> None:
    """Figures of the design notes for V4 not lit: P250 303 V, REFV 293 V at half load."""
    with Session(file) as session:
        at = session.condition_from("raws", "half")
        session.read("p250", "303", condition=at)
        session.read("refv", "293", condition=at)
        lead = session.suspects(1)[0].suspects
        assert {p for s in lead for p in s.hypothesis.parts} <= {"V4", "C8", "R8"}
        assert "V4 dead" in {s.hypothesis.name for s in lead}


@pytest.mark.parametrize("black", [False, True])
def test_a_set_off_is_read_cold(file: Path, black: bool) -> None:
    """Resistances printed in the file, worked out by hand with every junction open: the heaters are
    cold, so no valve conducts to either side, whatever the meter's lead."""
    with Session(file) as session:
        common, meter = session.assembly.common, ohmmeters()["auto"]
        for net, ohms in session.assembly.printed["dead"].ohms.items():
            pair = (common, net) if black else (net, common)
            table = session.dead.get(pair, Condition("off", "none"), meter)
            assert meter.unscale(float(table.x[0])) == pytest.approx(ohms, rel=0.05), net


def test_a_gas_tube_with_a_leak_shows_on_the_dead_set(file: Path) -> None:
    """A tube that no ohmmeter lights still leaks what its fault says."""
    with Session(file) as session:
        meter, parts = ohmmeters()["auto"], session.assembly.parts
        short = next(h for h in session.standard if h.name == "V5 short")
        table = session.dead.get(("n150", "com"), Condition("off", "none"), meter)
        row = session.standard.index(short)
        assert parts["V5"].KIND == "gas-tube"
        assert meter.unscale(float(table.x[row])) < 0.1 * meter.unscale(float(table.x[0]))


def _check(net: str, bits: float, minutes: float, top: float, at: Condition) -> Check:
    return Check(Candidate(net, "volts", at, minutes), bits, lambda: (), None, top)


def test_a_harmless_check_that_tells_as_much_comes_first() -> None:
    """However long it takes; but not one that tells less, nor one a part is worked on for."""
    at = Condition("raws", "half")
    live = _check("p250", 0.5, 1.0, 250.0, at)
    weak = _check("gb", 0.4, 1.0, 20.0, at)
    slow = _check("kk", 0.6, 30.0, 20.0, replace(at, load="full"))
    lifted = _check("ga", 0.9, 30.0, 20.0, at.with_change(Change("R8", "lifted", "a")))
    assert best([weak, live, lifted])[0] is live
    assert best([live, weak, slow, lifted])[:2] == [slow, live]
    assert best([_check("gb", 0.5, 1.0, 20.0, at), slow])[0].candidate.net == "gb"


def test_two_faults_that_only_an_ohmmeter_saw_are_found(file: Path) -> None:
    """A first sight of pairs goes by dead readings too: a shorted C2, and R11 open."""
    with Session(file) as session:
        session.set_condition(Condition("raws", "half"))
        session.set_condition(Condition("off", "none"))
        for net, black, text in (
            ("raw", "com", "0.6641"),
            ("p108", "com", "75.21k"),
            ("n150", "com", "OL"),
            ("nraw", "n150", "OL"),
        ):
            meter = ohmmeters()["auto"]
            session.read(net, text, against=black, ohmmeter=meter, sure=True)
        blamed = [g.suspects[0].hypothesis for g in session.suspects(3)]
        lead = next(h for h in blamed if h.faults)
        assert lead.name == "C2 short + R11 open"


def test_a_scope_at_a_rail_stands_at_its_volts(file: Path) -> None:
    """What swings by millivolts there is no harmless check: 250 V are at the probe."""
    with Session(file) as session:
        session.set_condition(Condition("mains", "half"))
        checks = [c for c in session.near_checks() if c.candidate.net in ("raw", "p250")]
        kinds = {c.candidate.quantity for c in checks}
        assert {"volts", "ac", "ripple"} <= kinds
        assert all(c.top_volts > 200.0 for c in checks)
