"""A slip with its point out of place, and what is left of it once the reading is taken again; the
bench is ngspice."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.simulator import tray
from tests.simulator.drill_bench import NgspiceBench

from halfsplit.assembly.condition import Condition
from halfsplit.bench.drill import play
from halfsplit.bench.drill_bench import Case
from halfsplit.bench.session import Session
from halfsplit.faults.hypotheses import Fault

BENCH = Condition("raws", "bench")


def test_a_slip_is_read_again_and_holds_nothing_up(tmp_path: Path) -> None:
    """F4 open, its first reading ten times too high: asked for again, then F4 is acted on."""
    file = Path(shutil.copy(tray.EXAMPLE, tmp_path / "pt3.yaml"))
    with Session(file) as session:
        session.within_reach = frozenset(("raws",))
        session.set_condition(BENCH)
        wrong = next(f for h in session.standard for f in h.faults if f.name == "F4 open")
        case = Case("single", (wrong,), 100004)
        done = play(session, NgspiceBench(session.machine, case, slips=1.0), case, most=8)
        assert done.slipped and done.right and done.claimed is not None
        acted = next(i for i, step in enumerate(done.trail) if step.startswith("test"))
        read = [s.removeprefix("again ") for s in done.trail[:acted]]
        assert sum(s.startswith("p5 volts") and "(bench)" in s for s in read) == 2, done.trail
        assert done.first_checks <= 6
        # The slip still contradicts, and is no longer unexplained.
        told = session.reasons(session.groups()[0].members[0])
        assert any(r.verdict == "contradicts" for r in told) and not session.unexplained()


TWO = """assembly: Bench two
parts:
  S1: {kind: supply, volts: 12V, ohms: 0.1R, pos: raw, neg: com}
  R1: {kind: resistor, value: 1k, a: raw, b: one}
  R2: {kind: resistor, value: 1k, a: one, b: com}
  R3: {kind: resistor, value: 1k, a: raw, b: two}
  R4: {kind: resistor, value: 1k, a: two, b: com}
  C4: {kind: tantalum, value: 10u, volts: 16V, pos: two, neg: com}
"""


def test_a_reading_that_only_a_rival_calls_a_slip_may_be_taken_again(tmp_path: Path) -> None:
    """Two faults explain both readings, one of them and a slip as well: the other reading once
    more tells which, and neither is unexplained by the leader."""
    file = tmp_path / "two.yaml"
    file.write_text(TWO)
    with Session(file) as session:
        session.read("one", "12.00")
        session.read("two", "0.01")
        lead, rival = session.groups()[:2]
        assert all(len(session.hypotheses[i].faults) == 2 for i in lead.members)
        assert "C4 short" in {session.hypotheses[i].name for i in rival.members}
        assert not session.unexplained()
        here = [c for c in session.next_checks(40) if c.candidate.condition == session.condition]
        assert "one" in {c.candidate.net for c in here if c.candidate.quantity == "volts"}
        assert "two" not in {c.candidate.net for c in here if c.candidate.quantity == "volts"}


def test_a_trimmer_at_its_end_is_known_as_its_track_is() -> None:
    """Its size is that of the whole track, not that of some fault half as large again."""
    changes = {("RV1", "g"): 0.002}
    turned = Fault("RV1", "turned to the far end", 0.01, changes)
    short = Fault("C4", "short", 0.01, {("C4", "g"): 1.0})
    assert changes["RV1", "g"] / turned.resized["RV1", "g"] == pytest.approx(1.1)
    assert 1.0 / short.resized["C4", "g"] == pytest.approx(1.5)


def test_what_a_part_was_that_is_gone_divides_nobody(tmp_path: Path) -> None:
    """Suspects that differ only in the marking of a part long replaced count together."""
    file = Path(shutil.copy(tray.EXAMPLE, tmp_path / "pt3.yaml"))
    with Session(file) as session:
        session.set_condition(BENCH)
        session.observe("", "CR4", touched=True, sign="not-as-drawn")
        session.change("CR4 fitted")
        by = {f.name: f for h in session.standard for f in h.faults}
        both = (by["R21 open"], by["CR4 two voltages up"])
        bench = NgspiceBench(session.machine, Case("x", both, 7))
        for net in ("p5", "b11", "ref"):
            from halfsplit.diagnosis.meters import Meter
            from halfsplit.diagnosis.next_check import Candidate

            text = bench.read(Candidate(net, "volts", session.condition, 1.0), Meter())
            assert text is not None
            session.read(net, text)
        lead = session.decided()
        assert lead is not None
        now = {session.hypotheses[i].left(session.condition) for i in lead.members}
        assert now == {frozenset({"R21 open"})} and lead.weight > 0.95
