"""AC-range and frequency readings as evidence, on a small mains-fed supply."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.bench.expect import expect
from halfsplit.bench.session import Session
from halfsplit.problems import ProblemsError

SUPPLY = """\
assembly: Bench six
common: com
mains: {volts: 230V, hertz: 50Hz}
parts:
  J1: {kind: mains, volts: 230V, hertz: 50Hz, live: live, neutral: neutral}
  T1:
    kind: transformer
    core_loss: 1W
    windings:
      primary: {start: live, end: neutral, volts: 230V, ohms: 40ohm}
      a: {start: sa, end: com, volts: 12V, ohms: 0.5ohm, amps: 1A}
      b: {start: com, end: sb, volts: 12V, ohms: 0.5ohm, amps: 1A}
  CR1: {kind: rectifier, volts: 100V, amps: 3A, drop: 1.0V, drop_at: 3A, a: sa, k: raw}
  CR2: {kind: rectifier, volts: 100V, amps: 3A, drop: 1.0V, drop_at: 3A, a: sb, k: raw}
  C1: {kind: electrolytic, value: 2200u, volts: 35V, esr: 50mohm, pos: raw, neg: com}
  R1: {kind: resistor, value: 47R, power: 10W, a: raw, b: com}
rails:
  RAW: {net: raw, limits: 13..18V}
"""


def bench(tmp_path: Path) -> Session:
    file = tmp_path / "six.yaml"
    file.write_text(SUPPLY, encoding="utf-8")
    return Session(file)


def chances(session: Session) -> dict[str, float]:
    found: dict[str, float] = {}  # sets of one name may differ in size
    for h, w in zip(session.hypotheses, session.belief.weights(), strict=True):
        found[h.name] = found.get(h.name, 0.0) + float(w)
    return found


def test_half_the_frequency_accuses_a_diode(tmp_path: Path) -> None:
    """Common practice: 50 Hz ripple behind a full-wave rectifier on 50 Hz means half of it works.

    The volts, a little low, rule out what shorted and burnt a winding; then either diode gone or
    either half winding is left, and nothing else.
    """
    with bench(tmp_path) as session:
        (line,) = expect(session, ["RAW"], [session.condition])
        assert line.hertz == pytest.approx(100.0)
        gone = next(m for m in session.machine.assembly.parts["CR1"].modes() if m.name == "open")
        (half,) = expect(session, ["RAW"], [session.condition], gone.changes)
        session.read("RAW", f"{half.mean:.2f}")
        session.read("RAW", "50Hz", frequency=True)
        found = chances(session)
    able = {n for n, w in found.items() if w > 0.01}
    opens = {"CR1 open", "CR2 open", "T1 a open", "T1 b open"}
    assert opens <= able
    assert all(set(n.split(" + ")) & opens for n in able)


def test_the_ac_range_finds_the_lost_reservoir(tmp_path: Path) -> None:
    with bench(tmp_path) as session:
        (good,) = expect(session, ["RAW"], [session.condition])
        gone = session.machine.assembly.parts["C1"].modes()
        changes = next(m.changes for m in gone if m.name == "open")
        (bad,) = expect(session, ["RAW"], [session.condition], changes)
        assert good.ac is not None and bad.ac is not None and bad.ac > 5.0 * good.ac
        session.read("RAW", f"{bad.ac:.2f}", ac=True)
        found = chances(session)
        assert max(found, key=lambda n: found[n]) == "C1 open"
        (reason,) = session.suspects(1)[0].suspects[0].reasons
        assert "AC range" in reason.words


def test_a_healthy_ac_reading_clears_it(tmp_path: Path) -> None:
    with bench(tmp_path) as session:
        (good,) = expect(session, ["RAW"], [session.condition])
        before = chances(session)["C1 open"]
        session.read("RAW", f"{good.ac:.3f}", ac=True)
        assert chances(session)["C1 open"] < 0.1 * before


def test_next_proposes_the_ac_range_of_a_winding_and_of_a_rail(tmp_path: Path) -> None:
    with bench(tmp_path) as session:
        kinds = {(c.candidate.net, c.candidate.quantity) for c in session.next_checks(50)}
    assert {("sa", "ac"), ("raw", "ac"), ("raw", "volts"), ("raw", "ripple")} <= kinds
    assert ("sa", "volts") not in kinds and ("live", "ac") not in kinds


def test_fed_directly_nothing_alternates(tmp_path: Path) -> None:
    """The off machine has no cycle: 0 V on the AC range, nothing to count."""
    with bench(tmp_path) as session:
        off = Condition("off", "none")
        (line,) = expect(session, ["RAW"], [off])
        assert line.ac == pytest.approx(0.0) and line.hertz is None


def test_a_meter_without_an_ac_range_is_not_believed_to_have_one(tmp_path: Path) -> None:
    with bench(tmp_path) as session:
        session.set_meter(kind="valve-voltmeter")
        assert expect(session, ["RAW"], [session.condition])[0].ac is None
        with pytest.raises(ProblemsError, match="no AC range"):
            session.read("RAW", "0.3", ac=True)
        assert not any(c.candidate.quantity == "ac" for c in session.next_checks(50))


@pytest.mark.parametrize(("text", "what"), [("-0.3", "ac"), ("0Hz", "frequency"), ("3V", "hz")])
def test_what_can_be_no_such_reading(text: str, what: str, tmp_path: Path) -> None:
    with bench(tmp_path) as session:
        with pytest.raises(ProblemsError):
            session.read("RAW", text, ac=what == "ac", frequency=what != "ac")
        assert not session.evidence()


def test_a_pointer_on_its_ac_range_adds_the_direct_volts(tmp_path: Path) -> None:
    """Not blocked: 1.11 times the mean while the ripple never crosses nought."""
    with bench(tmp_path) as session:
        session.set_meter(kind="pointer-20k")
        (line,) = expect(session, ["RAW"], [session.condition])
        assert line.ac == pytest.approx(np.pi / np.sqrt(8.0) * line.mean, rel=0.01)
