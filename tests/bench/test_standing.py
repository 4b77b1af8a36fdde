"""The circuit as it is: markings found, transistors whose leads stand in other holes. Readings are
ngspice's."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.simulator import tray
from tests.simulator.drill_bench import NgspiceBench

from halfsplit.assembly.condition import Condition
from halfsplit.bench.drill_bench import Case
from halfsplit.bench.report import next_dict
from halfsplit.bench.session import Session
from halfsplit.bench.trail import trail
from halfsplit.diagnosis.meters import Meter
from halfsplit.diagnosis.next_check import Candidate
from halfsplit.faults.hypotheses import Fault
from halfsplit.problems import ProblemsError

HALF = Condition("raws", "half")


def fault(session: Session, name: str) -> Fault:
    return next(f for h in session.standard for f in h.faults if f.name == name)


def take(session: Session, bench: NgspiceBench, *nets: str, load: str = "half") -> None:
    at = session.condition_from(None, load)
    for net in nets:
        text = bench.read(Candidate(net, "volts", at, 1.0), Meter())
        assert text is not None
        session.read(net, text, condition=at)


def lead(session: Session) -> str:
    return session.hypotheses[session.groups()[0].members[0]].name


def weight(session: Session, name: str) -> float:
    pairs = zip(session.hypotheses, session.belief.weights(), strict=True)
    return sum(float(w) for h, w in pairs if h.name == name)


def test_a_marking_found_is_the_circuit_from_then_on(session: Session) -> None:
    """A zener of 6.8 V and R21 open: the marking explains the reference, R21 the rest, and no set
    of suspects repeats the zener."""
    wrong = fault(session, "R21 open")
    session.observe("", "CR4", found=["value=6.8V"])
    assert not any("CR4" in h.parts and h.faults[0].cause == "wrong" for h in session.standard)
    bench = NgspiceBench(session.machine, Case("single", (wrong,), 11))
    take(session, bench, "zk", "p5", "b11", "n12")
    assert lead(session) == "R21 open"
    assert not any(
        r.verdict == "contradicts" for r in session.reasons(session.groups()[0].members[0])
    )
    assert (
        sum(
            w
            for h, w in zip(session.hypotheses, session.belief.weights(), strict=True)
            if "CR4" in h.parts
        )
        < 0.05
    )
    told = next_dict(session)["not_as_drawn"]
    assert [(t["part"], t["found"]) for t in told] == [("CR4", "value 6.8V")]


def test_the_drawn_part_fitted_ends_it(session: Session) -> None:
    session.observe("", "CR4", found=["value=6.8V"])
    before = session.machine.values(session.condition).get(("CR4", "bv"))
    marked = dict(zip(session.machine.topology.slot, session.machine.topology.base, strict=True))
    session.change("CR4 fitted")
    after = session.machine.values(session.condition)[("CR4", "bv")]
    drawn = dict(zip(tray.tray().topology.slot, tray.tray().topology.base, strict=True))
    assert before is None and after == drawn["CR4", "bv"] != marked["CR4", "bv"]
    assert "replaced" in session.condition.words() and next_dict(session)["not_as_drawn"] == []


def test_undo_and_the_trail_know_the_moment(session: Session) -> None:
    bench = NgspiceBench(session.machine, Case("single", (fault(session, "R21 open"),), 11))
    take(session, bench, "p5", "b11")
    plain = session.belief.weights()
    session.observe("", "CR4", found=["value=6.8V"])
    steps = trail(session)
    assert "CR4" in steps[-1].words and len(steps) == 4
    assert steps[-2].lead == ("R21 open",)
    session.undo()
    assert session.machine.assembly is session.assembly
    # Spreads drawn on the way stay, so the last digits move.
    assert session.belief.weights() == pytest.approx(plain, abs=0.005)


def test_a_marking_of_a_part_fitted_here_is_refused_with_the_way_to_say_it(
    session: Session,
) -> None:
    session.change("CR4 fitted")
    with pytest.raises(ProblemsError, match=r"CR4 fitted value=6\.8V"):
        session.observe("", "CR4", found=["value=6.8V"])


@pytest.mark.parametrize("load", ["half", "full"])
def test_the_same_machine_by_file_and_by_marking(
    session: Session, tmp_path: Path, load: str
) -> None:
    """Readings expected with the marking found are those of a file that says so."""
    session.observe("", "R3", found=["value=4k7"])
    text = tray.EXAMPLE.read_text()
    line = next(n for n in text.splitlines() if n.strip().startswith("R3:"))
    other = tmp_path / "other.yaml"
    value = line.partition("value: ")[2].partition(",")[0]
    other.write_text(text.replace(line, line.replace(f"value: {value}", "value: 4k7")))
    at = Condition("raws", load)
    with Session(other) as drawn:
        ours, theirs = session.dictionary.get(at), drawn.dictionary.get(at)
        assert ours.mean[0] == pytest.approx(theirs.mean[0])


MOVED = (
    "Q10 fitted with base and collector exchanged",
    "Q10 fitted with base and emitter exchanged",
    "Q11 fitted with its base in the collector's hole",
    "Q11 fitted with its base in the emitter's hole",
)


@pytest.mark.parametrize("name", MOVED)
def test_leads_in_other_holes(session: Session, name: str) -> None:
    """Every net as ngspice has it with the transistor's nets exchanged, and it is found."""
    part = name.partition(" ")[0]
    assert not any(f.name == name for h in session.standard for f in h.faults)
    for ref in ("Q10", "Q11"):
        session.observe("bright solder", ref, touched=True)
    wrong = fault(session, name)
    table = session.dictionary.get(HALF)
    row = next(i for i, h in enumerate(session.standard) if h.name == name)
    bench = NgspiceBench(session.machine, Case("single", (), 3))
    bench.values = dict(wrong.changes)  # marked values
    nets = session.probe_nets()
    found = bench._solved(HALF, nets)
    assert found is not None
    for net in nets:
        column = table.column(net)
        if table.ohms[row, column] < 1e6:
            near = 0.03 + 0.02 * abs(found[net])
            assert table.mean[row, column] == pytest.approx(found[net], abs=near), net
    bench = NgspiceBench(session.machine, Case("single", (wrong,), 5))
    nets = list(session.assembly.parts[part].terminals().values())
    take(session, bench, *(n for n in nets if n != "com"), "p5", "n12")
    held = sum(
        w
        for h, w in zip(session.hypotheses, session.belief.weights(), strict=True)
        if part in h.parts
    )
    assert held > 0.9


def test_two_common_faults_are_looked_at_beside_a_rare_one_that_fits(session: Session) -> None:
    """C4 short and F3 open read nearly as a shorted CR5 does; both together are twice as likely."""
    faults = (fault(session, "C4 short"), fault(session, "F3 open"))
    bench = NgspiceBench(session.machine, Case("double", faults, 200028))
    take(session, bench, "p5", "p12", "n12", "zk", load="bench")
    names = [session.hypotheses[i].name for g in session.groups()[:3] for i in g.members]
    assert "C4 short + F3 open" in names and weight(session, "CR5 short") < 0.9
