"""A bench supply nobody tuned anything for: 24 V, a fuse, a zener and an emitter follower.

What it reads is worked out by hand: with the fuse open nothing at all; with C2 short the base at
0.9 V and 47 ohm carrying what the transistor passes.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from halfsplit.bench.report import next_dict, proof
from halfsplit.bench.session import Session
from halfsplit.bench.too import check_too
from halfsplit.bench.undone import still_with_it

FOLLOWER = """\
assembly: Follower 11 V
parts:
  S1: {kind: supply, volts: 24V, ohms: 0.5R, pos: vin, neg: com}
  F1: {kind: fuse, amps: 500mA, a: vin, b: raw}
  R1: {kind: resistor, value: 1k, power: 0.5W, a: raw, b: zk}
  CR1: {kind: zener, value: 12V, power: 400mW, test_current: 10mA, impedance: 10ohm, a: com, k: zk}
  C1: {kind: electrolytic, value: 10u, volts: 25V, pos: zk, neg: com}
  Q1: {kind: npn, volts: 60V, amps: 1A, power: 5W, gain: 50..200, c: rc, b: zk, e: out}
  R2: {kind: resistor, value: 47R, power: 1W, a: raw, b: rc}
  C2: {kind: electrolytic, value: 100u, volts: 16V, pos: out, neg: com}
  R5: {kind: resistor, value: 1k, power: 0.25W, a: out, b: com}
rails:
  OUT: {net: out, limits: 10.8..12V}
loads:
  light: {out: 1k}
"""


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    file = tmp_path / "follower.yaml"
    file.write_text(FOLLOWER)
    with Session(file) as opened:
        yield opened


def _read(session: Session, **volts: str) -> None:
    for net, text in volts.items():
        session.read(net, text, sure=True)


def _leader(session: Session) -> list[str]:
    return [session.hypotheses[i].name for i in session.groups()[0].members]


def test_a_blown_fuse_leaves_nothing_at_any_net(session: Session) -> None:
    """No leak of the model's may speak against it, and a net only the meter drives reads nought."""
    _read(session, out="0.00", zk="0.00", raw="0.00")
    assert _leader(session) == ["F1 open"]
    assert session.groups()[0].weight > 0.9


def test_a_net_nothing_drives_may_read_a_little(session: Session) -> None:
    _read(session, out="0.00", zk="0.07", raw="0.00")
    assert _leader(session) == ["F1 open"]


def test_a_bad_new_part_is_not_called_mended(session: Session) -> None:
    _read(session, out="0.10", zk="0.92", rc="0.29")
    assert _leader(session)[0] == "C2 short"
    session.prove("C2", False, "1 ohm")
    session.change("C2 fitted")
    _read(session, out="0.10", zk="0.92")
    assert session.mended() is None
    told = next_dict(session)
    assert told["mended"] is None
    assert "new C2 short" in told["act"]["group"]


def test_nothing_is_changed_in_a_machine_that_reads_as_it_should(session: Session) -> None:
    _read(session, out="11.28", zk="12.0", rc="23.2")
    told = next_dict(session)
    assert told["quiet"] is not None
    assert told.get("replace") is None and told.get("act") is None


def test_readings_taken_with_what_is_undone_are_told(session: Session) -> None:
    change = session.change("R1 fitted value=10k")
    session.read("zk", "12.0", sure=True)
    taken = session.entries[-1].seq
    session.undo(change.seq)
    assert still_with_it(session, session.journal.undoing()) == [taken]
    session.undo(taken)
    assert still_with_it(session, session.journal.undoing()) == []


@pytest.mark.parametrize(
    ("fault", "pair"),
    [
        ("open collector", "b to c"),
        ("c-e short", "c to e"),
        ("c-b short", "b to c"),
        ("b-e short", "b to e"),
        ("open base", "b to e"),
    ],
)
def test_the_proof_of_a_transistor_measures_what_would_show_it(
    session: Session, fault: str, pair: str
) -> None:
    (one,) = [h.faults[0] for h in session.standard if h.name == f"Q1 {fault}"]
    first, _, last = proof(session, one)
    assert first.startswith(f"{pair}, diode: ")
    assert last.startswith(f"if Q1 {fault}: ")


def test_what_readings_clear_was_not_taken_along(session: Session) -> None:
    """C2 short burns R2, 12 times over its watt; but 0.29 V behind it shows that it conducts."""
    _read(session, out="0.10", zk="0.92")
    before = {t["part"]: t for t in check_too(session, session.groups()[0])}
    _read(session, rc="0.29")
    assert _leader(session)[0] == "C2 short"
    after = {t["part"]: t for t in check_too(session, session.groups()[0])}
    assert after["R2"]["chance"] < 0.01 < 0.5 < after["R2"]["before"]
    assert all(row["before"] >= 0.05 for row in before.values())


def test_a_part_tested_bad_is_to_be_replaced_whatever_leads(session: Session) -> None:
    session.prove("Q1", False, "no gain")
    assert next_dict(session)["tested_bad"] == ["Q1"]
    session.change("Q1 fitted")
    assert next_dict(session)["tested_bad"] == []
