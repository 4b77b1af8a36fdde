"""The verbs as a person would use them, on the demo tray."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.simulator import tray
from tests.simulator.bench import Specimen, follow

from halfsplit.assembly.condition import Change, Condition
from halfsplit.bench.expect import expect
from halfsplit.bench.session import Session

BENCH = Condition("raws", "bench")


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    file = tmp_path / "pt3.yaml"
    shutil.copy(tray.EXAMPLE, file)
    with Session(file) as opened:
        opened.set_condition(BENCH)
        yield opened


def leaders(session: Session) -> list[str]:
    return [session.hypotheses[i].name for i in session.groups()[0].members]


def test_a_slip_of_the_decimal_point_does_not_kill_the_truth(session: Session) -> None:
    """C4 shorted, N12 typed as -18.1 for -1.81; four further readings bring the truth back."""
    specimen = Specimen("C4 short", 7)
    session.read("n12", f"{10 * specimen.read('n12', BENCH):.2f}")
    for net in ("sum", "zk", "tap", "n1"):
        session.read(net, f"{specimen.read(net, BENCH):.2f}")
    assert leaders(session)[0] == "C4 short"
    told = session.suspects(1)[0].suspects[0]
    against = [r for r in told.reasons if r.verdict == "contradicts"]
    assert [r.evidence.pos for r in against] == ["n12"]


@pytest.mark.parametrize("seed", range(4))
def test_a_healthy_machine_is_not_called_faulty(session: Session, seed: int) -> None:
    specimen = Specimen("", seed)
    for _ in range(6):
        check = session.next_checks(1)[0]
        if check.candidate.condition.feed != "raws":
            break
        at = check.candidate.condition
        if check.candidate.quantity == "look":
            session.observe("", check.candidate.net, sign="as-drawn")
            continue
        session.read(
            check.candidate.net, f"{specimen.read(check.candidate.net, at):.2f}", condition=at
        )
    assert session.decided() is None
    assert "no fault" in leaders(session)


def test_a_fitted_part_ends_its_fault_and_old_readings_keep_their_meaning(session: Session) -> None:
    """With a new C4, old readings still say C4 was shorted; healthy new ones agree with that."""
    specimen = Specimen("C4 short", 3)
    # The raw rail last: a shorted C3 of the right size would read the same at the other two.
    for net in ("n12", "sum", "vrn"):
        session.read(net, f"{specimen.read(net, BENCH):.2f}")
    assert leaders(session) == ["C4 short"]
    session.change("C4 fitted")
    well = Specimen("", 3)
    for net in ("n12", "p12", "p5"):
        session.read(net, f"{well.read(net, BENCH):.2f}")
    assert leaders(session) == ["C4 short"]
    assert session.groups()[0].weight > 0.9


def test_over_range_and_unstable_are_kept_but_not_weighed(session: Session) -> None:
    session.read("n12", "OL")
    session.read("p12", "unstable")
    assert session.evidence() == []
    assert [e.body["text"] for e in session.entries if e.kind == "read"] == ["OL", "unstable"]


def test_open_items_until_put_back(session: Session) -> None:
    session.change("R12 lift a")
    session.change("F2 removed")
    assert {str(c) for c in session.open_items()} == {"R12 lead a lifted", "F2 removed"}
    session.change("R12 put-back")
    session.change("F2 fitted")
    assert session.open_items() == []
    assert session.condition.changes == (Change("F2", "fitted"),)


def test_lifting_predicts_the_lifted_circuit(session: Session) -> None:
    """With R13 lifted, sum follows P12's divider alone: the same as R13 open, by ngspice."""
    session.change("R13 lift a")
    line = expect(session, ["p12"], [session.condition])[0]
    reference = tray.by_ngspice("R13 open", BENCH, ["p12"])
    assert reference is not None
    assert line.mean == pytest.approx(reference["p12"], abs=0.05)


def test_expected_band_covers_specimens(session: Session) -> None:
    """Bands are two sigma: ngspice specimens with drawn tolerances fall inside at least 9 in 10."""
    nets = ["n12", "p12", "p5", "ref", "zk", "tap", "e8", "e12"]
    lines = {line.net: line for line in expect(session, nets, [BENCH])}
    inside = total = 0
    for seed in range(25):
        specimen = Specimen("", 100 + seed)
        for net in nets:
            total += 1
            inside += lines[net].low <= specimen.read(net, BENCH) <= lines[net].high
    assert inside / total >= 0.90


def test_following_from_full_load_mains(session: Session) -> None:
    """Sense resistor open, found from readings at another load than the first."""
    session.set_condition(Condition("raws", "half"))
    checks, trail = follow(session, Specimen("R21 open", 5), most=5)
    assert checks is not None, trail
