"""A machine under power may be better asked with it off: an ohmmeter tells what no volts do."""

from __future__ import annotations

from pathlib import Path

from tests.bench.test_strangers import SUPPLY

from halfsplit.bench.dead import ohmmeters
from halfsplit.bench.elsewhere import elsewhere
from halfsplit.bench.report import next_dict
from halfsplit.bench.session import Session

RELAY = """\
assembly: Relay board
parts:
  S1: {kind: supply, volts: 24V, ohms: 0.3R, pos: v24, neg: com}
  R1: {kind: resistor, value: 4k7, power: 0.25W, a: v24, b: qb}
  R2: {kind: resistor, value: 10k, power: 0.25W, a: qb, b: com}
  Q1: {type: 2N2222A, c: coil, b: qb, e: com}
  K1: {kind: relay, coil: 700R, volts: 24V, c1: v24, c2: coil, a: v24, b: lampv}
  CR1: {type: 1N4148, a: coil, k: v24}
  DS1: {kind: lamp, volts: 24V, amps: 100mA, a: lampv, b: com}
rails:
  LAMP: {net: lampv, limits: 22..25V}
"""


def test_ohms_across_the_coil_come_before_a_lead_lifted_under_power(tmp_path: Path) -> None:
    """The collector stands at 24 V with base current: Q1 open, or what lies across the coil short.

    No voltage tells these apart; the coil's 700 ohm or none do, at six minutes and no iron.
    """
    file = tmp_path / "relay.yaml"
    file.write_text(RELAY)
    with Session(file) as session:
        for net, text in (("coil", "24.0"), ("lampv", "0.00"), ("qb", "0.72"), ("coil", "24.0")):
            session.read(net, text, sure=True)
        check = session.next_checks(1)[0].candidate
        assert check.ohmmeter is not None and not check.condition.energised()
        assert {check.net, check.black} == {"coil", "v24"}
        told = next_dict(session)["checks"][0]
        assert "off" in told["caution"]  # it is under power now
        session.set_condition(check.condition)
        session.read(check.net, "0.2", against=check.black, ohmmeter=check.ohmmeter, sure=True)
        lead = session.hypotheses[session.groups()[0].members[0]]
        assert lead.parts[0] in ("CR1", "K1")


def test_how_it_was_powered_is_offered_again_once_the_leader_is_mended(tmp_path: Path) -> None:
    (tmp_path / "supply.yaml").write_text(SUPPLY)
    with Session(tmp_path / "supply.yaml") as session:
        off = session.condition_from("off", "none")
        session.set_condition(off)
        session.read("p12", "0.3", against="com", ohmmeter=ohmmeters()["auto"], sure=True)
        assert list(elsewhere(session)) == []  # it was never on
        session.set_condition(session.condition_from("supply", "half"))
        session.read("p12", "0.00")
        session.set_condition(off)
        assert list(elsewhere(session)) == []  # what leads is still in it
        lead = session.hypotheses[session.groups()[0].members[0]]
        for ref in lead.parts:
            session.prove(ref, False, "")
            session.change(f"{ref} fitted")
        ((again,),) = elsewhere(session)
        assert (again.feed, again.load) == ("supply", "half")
        assert again.changes == session.condition.changes != ()
