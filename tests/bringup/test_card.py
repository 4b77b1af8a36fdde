"""Position cards: what the switcher's parts must be, the dropper for silicon, fuses, gain."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from halfsplit.assembly.condition import Change, Condition, parse_change
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bringup.card import card, refitted
from halfsplit.bringup.judge import dropper, judge
from halfsplit.bringup.trial import faults_of, outcomes
from tests.simulator import stile, tray

HALF = [Condition("raw", "half")]
TYPE88 = Path(__file__).resolve().parents[2] / "examples" / "type88" / "supply.yaml"


def test_slow_rectifier_is_refused_by_speed() -> None:
    """At 4 A recovery spikes of an ordinary stud rectifier fake an over-current: notes of the
    supply (invented machine)."""
    found = judge(
        stile.machine(), parse_change(stile.machine().assembly, "CR5 fitted type=1N1200A"), HALF
    )
    assert not found.accepted
    assert {aspect for aspect, _ in found.reasons} == {"speed"}
    assert "recovers in 6.0 µs" in found.verdict and "OUT" in found.verdict


def test_capacitor_of_low_series_resistance_is_refused_by_it() -> None:
    """5 mohm: 4.2 kHz at 4 A, 4.4 kHz at 8 A, where the drawn one gives 21.6 kHz: design notes."""
    machine = stile.machine()
    found = judge(machine, parse_change(machine.assembly, "C5 fitted esr=5mohm"), HALF)
    assert {aspect for aspect, _ in found.reasons} == {"ESR"}
    beat = re.search(r"switches at ([\d.]+) kHz", found.verdict)
    assert beat and 4.2 <= float(beat[1]) <= 4.4, found.verdict
    assert any("better is worse" in words for _, words in found.cautions)


def test_capacitor_inside_the_window_is_accepted() -> None:
    machine = stile.machine()
    good = judge(machine, parse_change(machine.assembly, "C5 fitted esr=40mohm"), HALF)
    assert good.accepted and "nothing found against" in good.verdict


@pytest.mark.parametrize(
    ("load", "inside", "outside"), [("half", 20e-3, 13e-3), ("full", 60e-3, 90e-3)]
)
def test_edges_of_the_esr_window(load: str, inside: float, outside: float) -> None:
    """20 to 60 mohm, design notes of the supply; half load closes it below, full load
    closes it above. The whole window as the card finds it: proofs/position_card.py."""
    machine, at = stile.machine(), Condition("raw", load)
    part = machine.assembly.parts["C5"]
    rows = [refitted(part, {"esr": ohms}) for ohms in (inside, outside)]
    usual, good, bad = outcomes(machine, at, [{}, *rows])
    assert faults_of(usual, good) == []
    assert any("switches at" in words for words in faults_of(usual, bad))


def test_card_of_a_pass_transistor() -> None:
    machine = tray.tray()
    found = card(machine, "Q10")
    # 41 W into a short, twice the 20 W of full load (design notes): what it must stand when its
    # current limit is proved. Then the whole raw rail, 10.8 V less what it sags, is across it.
    assert found.seen["watts"] == pytest.approx(41.0, rel=0.05)
    assert found.seen["volts"] == pytest.approx(10.8, rel=0.05)
    assert 6.0 < found.seen["amps"] < 6.7  # on the way, past the knee
    wire = found.demand("wire")
    # 4.93 V into 1 ohm; by the rule of inner traces worked by hand, (4.93 / 0.024 / 10^0.44)
    # ^(1/0.725) = 383 square mil: AWG 22 has 505, AWG 24 has 317. The sense resistor is in series.
    assert wire is not None and wire.low == pytest.approx(4.93, rel=0.02)
    assert "AWG 22 (0.64 mm)" in wire.words and "R21" in wire.words
    polarity = found.demand("polarity")
    assert polarity is not None and polarity.words == "NPN"
    wrong = judge(machine, parse_change(machine.assembly, "Q10 fitted type=2N3055"))
    assert wrong.accepted, wrong.verdict
    pnp = judge(machine, Change("Q10", "fitted", "", (("type", "MJ2955"),)))
    assert not pnp.accepted and pnp.reasons[0][0] == "kind or polarity"


def test_a_part_that_bears_full_load_and_no_short_is_refused() -> None:
    """35 W carry the 20 W of full load at Q10 and not the 41 W of a short (design notes)."""
    machine = tray.tray()
    found = judge(machine, parse_change(machine.assembly, "Q10 fitted power=35W"))
    (reason,) = [words for aspect, words in found.reasons if aspect == "watts"]
    assert "P5 shorted" in reason or "P5 into" in reason
    assert judge(machine, parse_change(machine.assembly, "Q10 fitted power=90W")).accepted


def test_leakage_a_position_bears() -> None:
    """500 kohm across C7 takes the 250 V rail to 214 V (design notes). By hand each uA of leak
    takes 0.157 V off it, through R7 and RV1, so 8.6 V, down to its least, are lost at 55 uA. The
    output tantalum of the tray leaks into a rail that does not care: its own heat sets the
    bound."""
    assembly, problems = load(TYPE88)
    assert assembly is not None, problems
    asked = card(Machine(assembly), "C7").demand("leakage")
    assert asked is not None and "a rail leaves its limits" in asked.words
    assert asked.high <= 55e-6 < 3.4 * asked.high  # to the half decade of the trial
    wet = card(tray.tray(), "C4").demand("leakage")
    assert wet is not None and "warms itself" in wet.words
    assert wet.high * 12.0 <= 0.5 < 3.4 * wet.high * 12.0  # W, likewise


def test_fuse_zener_and_crowbar_have_demands_of_their_own() -> None:
    """Blown, a fuse stands the raw rail; a zener stands its own volts and no more; the crowbar
    carries 4.4 to 5 A with all well and 21 A with the pass stage shorted (design notes: foldback
    4.5 A)."""
    machine = tray.tray()
    fuse = card(machine, "F2")
    blown = fuse.demand("volts")
    assert blown is not None and "blown" in blown.words
    assert blown.low == pytest.approx(10.0, abs=1.0) and fuse.demand("watts") is None
    zener = card(machine, "CR3").demand("volts")
    assert zener is not None and (zener.low, zener.high) == (6.2, 6.2)
    fired = [d.words for d in card(machine, "SCR1").demands if d.name == "once fired"]
    assert len(fired) == 2 and "holds" in fired[0] and "c-e short" in fired[1]


def test_small_transistor_in_a_big_place_is_refused_by_watts() -> None:
    machine = tray.tray()
    found = judge(machine, parse_change(machine.assembly, "Q10 fitted type=2N2222A"))
    assert {"watts", "amps"} <= {aspect for aspect, _ in found.reasons}


def test_fuse_of_another_size_is_refused() -> None:
    machine = tray.tray()
    found = judge(machine, parse_change(machine.assembly, "F2 fitted amps=15A"))
    assert found.reasons[0] == ("fuse", "15 A fitted, 8.0 A drawn")


def test_silicon_for_selenium_needs_the_computed_dropper() -> None:
    """With the resistor in, the rail comes back to what selenium gave; without it, it rises, 15 to
    20 % being typical (common practice, no published source; the machine's notes have 18 %)."""
    assembly, problems = load(TYPE88)
    assert assembly is not None, problems
    machine = Machine(assembly)
    ohms, watts, rise, before, after = dropper(machine, "MR1", "1N4007")
    assert 0.08 < rise < 0.20 and abs(after) > abs(before)
    # Selenium's extra drop over the rail's own current, by hand: the mean current is what R11 and
    # the standing loads draw; a reservoir's pulses make a series resistor drop two to four times
    # that at the crest.
    mean = (abs(before) - 150.0) / 3900.0
    assert 1.0 < (abs(after) - abs(before)) / (ohms * mean) < 8.0
    found = judge(machine, Change("MR1", "fitted", "", (("type", "1N4007"),)))
    assert not found.accepted and "in series" in found.verdict
    assert any("poisonous" in words for _, words in found.cautions)
    low = judge(machine, Change("MR1", "fitted", "", (("type", "1N4002"),)))
    assert any(aspect == "volts" for aspect, _ in low.reasons)
    assert watts > 0.0


def test_a_reservoir_is_asked_for_its_ripple_current() -> None:
    """7.1 A rms at full load on the mains, which ngspice confirms within 5 % in its own test; one
    rated 5 A is refused for it."""
    found = card(tray.tray(), "C1")
    asked = found.demand("ripple current")
    assert asked is not None and asked.low == pytest.approx(7.1, rel=0.05)
    poor = judge(tray.tray(), parse_change(tray.tray().assembly, "C1 fitted ripple=5A"))
    assert not poor.accepted and "of ripple" in poor.verdict


@pytest.mark.parametrize(
    ("fitted", "against"), [("6.8V", "7.00 V"), ("5.1V", "below"), ("5.6V", "")]
)
def test_a_zener_that_moves_the_crowbar_is_refused(fitted: str, against: str) -> None:
    """Zener and gate of about 0.7 V: 7.5 V passes what TTL stands, 5.8 V is under the window of
    the drawing, 6.3 V is it."""
    machine = tray.tray()
    found = judge(machine, parse_change(machine.assembly, f"CR4 fitted value={fitted}"))
    trips = [words for aspect, words in found.reasons if aspect == "trip"]
    assert found.accepted == (not against)
    assert (against in trips[0]) if against else not trips
