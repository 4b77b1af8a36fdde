"""A supply that beats by itself, on its mains: two scales against ngspice."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit.follow import follow
from halfsplit.circuit.solution import Solution, Status
from halfsplit.diagnosis import swing
from halfsplit.diagnosis.meters import meters
from halfsplit.faults.book import Book
from halfsplit.faults.dictionary import predict
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.mains_beat import keeps_time
from halfsplit.faults.predictions import joined
from halfsplit.faults.stress import stresses
from halfsplit.faults.two_scales import Halves, TwoScales, halves, on_two_scales
from tests.simulator import deck, stile
from tests.simulator.mains_beat_rows import HERTZ, compare
from tests.simulator.waves import transient

ESR = 0.02  # ohm, C1 of the file
FILTERED = """
assembly: Filtered five
mains: {volts: 230V, hertz: 50Hz}
parts:
  J1: {kind: mains, volts: 230V, hertz: 50Hz, live: live, neutral: neutral}
  T1:
    kind: transformer
    windings:
      primary: {start: live, end: neutral, volts: 230V, ohms: 20ohm}
      s1: {start: sa, end: sb, volts: 9V, ohms: 0.3ohm, amps: 1A}
  BR1: {type: KBPC2501, ac1: sa, ac2: sb, pos: raw, neg: com}
  C1: {kind: electrolytic, value: 4700u, volts: 25V, esr: 50mohm, pos: raw, neg: com}
  L1: {kind: inductor, value: 10m, resistance: 0.2ohm, amps: 2A, a: raw, b: smooth}
  C2: {kind: electrolytic, value: 4700u, volts: 25V, esr: 50mohm, pos: smooth, neg: com}
  U1: {type: "7805", in: smooth, com: com, out: p5}
  C3: {kind: electrolytic, value: 100u, volts: 16V, pos: p5, neg: com}
rails: {P5: {net: p5, limits: 4.75..5.25V}}
feeds: {mains: {mains: true}}
loads: {half: {p5: 10R}}
"""


def _parted() -> Halves:
    parts = halves(stile.machine())
    assert parts is not None
    return parts


def _solved(load_name: str, changes: dict[tuple[str, str], float] | None = None) -> TwoScales:
    machine = stile.machine()
    row = {**(changes or {}), **machine.values(Condition("mains", load_name))}
    return on_two_scales(_parted(), machine.topology.rows([row]), HERTZ)


def _volts(solved: Solution, net: str) -> tuple[float, float]:
    i = stile.machine().topology.net_index[net]
    return float(solved.mean[0, i]), float(solved.high[0, i] - solved.low[0, i])


def test_each_half_is_as_ngspice_has_it_and_they_agree_where_we_say() -> None:
    """ngspice beats on a steady source at our mean; what it draws there loads ngspice's own mains
    side, which must come to our mean, and to the swing we say less that of the beat."""
    machine, parts = stile.machine(), _parted()
    both = _solved("half")
    level, ripple = _volts(both.solved, "rawc")

    choke = machine.topology.element_index["L1"]
    top = machine.topology
    start = {n: float(both.solved.wave[0, i, 0]) for n, i in top.net_index.items()}
    low, high = (float(x[0, choke]) for x in (both.rhythm.held_low, both.rhythm.held_high))
    laid = machine.values(Condition("raw", "half"))
    laid |= {("feed:rawc", "dc"): level + 1.03 * ESR, ("feed:rawc", "g"): 1.0 / ESR}
    state = {**start, **{n: float(both.solved.mean[0, top.net_index[n]]) for n in ("refn", "c9")}}
    for net in machine.alternating_nets():
        state.pop(net, None)
    beat = deck.write(top, laid, transient=True, start=state, amps={"L1": low + 0.2 * (high - low)})
    waves = transient(beat, ["rawc", "out"], 2e-3, 2e-7, amps=["feed:rawc"])
    assert waves is not None
    late = waves.since(1e-3)
    drawn = abs(late.mean(late.amps["feed:rawc"]))
    beating = float(np.ptp(late.volts["rawc"]))

    side = deck.write(
        parts.mains,
        {
            **{
                k: v
                for k, v in machine.values(Condition("mains", "half")).items()
                if k in parts.mains.slot
            },
            ("draw:rawc", "g"): drawn / level,
        },
        transient=True,
    )
    reference = deck.mains_cycle(side, ["rawc"], HERTZ, settle=0.6)
    assert reference is not None
    mean, swings = reference["rawc"]
    assert level == pytest.approx(mean, rel=0.01, abs=0.010)
    assert ripple == pytest.approx(swings + beating, rel=0.10, abs=0.02)


@pytest.mark.long
@pytest.mark.parametrize("row", ["half: no fault", "full: no fault", "half: BR1 ac1-pos open"])
def test_the_whole_stepped_through_by_ngspice(row: str) -> None:
    """Beat and mains together, from the state we end in: minutes of ngspice a row."""
    load_name, fault = row.split(": ")
    found = compare(load_name, [fault])
    assert [r.fault for r in found] == [fault]
    assert [r.status for r in found] == [Status.OSCILLATING]
    assert [r.wrong() for r in found] == [[]]


def test_a_diode_open_halves_what_the_reservoir_is_filled_by() -> None:
    """By hand: twice the time between fills, so near twice the swing, at 50 Hz; OUT holds."""
    machine = stile.machine()
    fault = next(h for h in single_faults(machine.assembly) if h.name == "BR1 ac1-pos open")
    good, bad = _solved("half").solved, _solved("half", dict(fault.changes)).solved
    assert int(bad.status[0]) == Status.OSCILLATING
    assert 1.7 < _volts(bad, "rawc")[1] / _volts(good, "rawc")[1] < 2.3
    assert _volts(bad, "rawc")[0] < _volts(good, "rawc")[0] - 0.3
    assert _volts(bad, "out")[0] == pytest.approx(_volts(good, "out")[0], rel=0.005)


def test_a_table_shows_both_rhythms() -> None:
    machine = stile.machine()
    table = predict(machine, Condition("mains", "half"), [{}], moves=[])
    rawc, sw, common = table.column("rawc"), table.column("sw"), len(table.nets)
    assert swing.frequency(table, rawc, common)[0] == pytest.approx(100.0)
    # 21.6 kHz by the design notes (from memory, unconfirmed beside them), 10 %
    assert swing.frequency(table, sw, common)[0] == pytest.approx(21.6e3, rel=0.1)
    meter = next(m for m in meters().values() if m.ac not in ("", "average") and m.blocks)
    # A sawtooth of the height told has an rms of height / sqrt(12); the true wave is rounder.
    height = float(np.ptp(table.hum[0, rawc]))
    assert swing.shown(table, meter, rawc, common)[0] == pytest.approx(height / 12**0.5, rel=0.15)


def test_one_with_a_filter_choke_is_solved_over_the_mains_cycle_alone(tmp_path: Path) -> None:
    file = tmp_path / "five.yaml"
    file.write_text(FILTERED, encoding="utf-8")
    assembly, problems = load(file)
    assert assembly is not None, problems
    machine = Machine(assembly)
    assert machine.self_oscillating
    assert not keeps_time(machine, Condition("mains", "half"))
    table = predict(machine, Condition("mains", "half"), [{}], moves=[])
    assert not table.hum.size
    assert table.mean[0, table.column("p5")] == pytest.approx(5.0, rel=0.01)


def test_without_a_reservoir_it_is_not_parted(tmp_path: Path) -> None:
    file = tmp_path / "five.yaml"
    kept = [line for line in FILTERED.splitlines() if not line.startswith("  C1:")]
    file.write_text("\n".join(kept), encoding="utf-8")
    assembly, problems = load(file)
    assert assembly is not None, problems
    assert halves(Machine(assembly)) is None


def test_a_reservoir_gone_is_not_claimed() -> None:
    """Without C1 there is nothing steady to beat on: said so, not guessed."""
    machine = stile.machine()
    fault = next(h for h in single_faults(machine.assembly) if h.name == "C1 open")
    solved = _solved("half", dict(fault.changes)).solved
    assert int(solved.status[0]) == Status.NOT_SETTLED


def test_followed_alone_at_that_level_it_reads_the_same() -> None:
    both = _solved("half")
    solved, rhythm = follow(stile.machine().topology, both.held)
    assert rhythm.period[0] == pytest.approx(float(both.rhythm.period[0]), rel=0.01)
    assert solved.mean[0, stile.machine().topology.net_index["out"]] == pytest.approx(
        _volts(both.solved, "out")[0], rel=0.002
    )


def test_parts_are_stressed_by_the_rhythm_they_live_by() -> None:
    """What the switch side takes is what it takes from a steady source of the same volts, within
    the two percent by which they differ; the rectifier carries what is drawn, by its peaks the
    more; the reservoir the rectifier's alternating current and the beat's, added by squares."""
    machine = stile.machine()
    steady, fed = (stresses(machine, Condition(f, "half"), [{}]) for f in ("raw", "mains"))
    at = {p: k for k, p in enumerate(fed.parts)}
    for ref in ("Q1", "CR5", "L1", "R1", "R3"):
        assert fed.watts[0, at[ref]] == pytest.approx(steady.watts[0, at[ref]], rel=0.03), ref
    # Volts across the sense resistor are those of the beat: what both ends swing by does not count.
    assert fed.volts[0, at["R1"]] == pytest.approx(steady.volts[0, at["R1"]], rel=0.1)
    both = _solved("half")
    drawn = float(both.level[0, 0] * both.drawn[0, 0])
    assert 4.0 * drawn < fed.amps[0, at["BR1"]] < 12.0 * drawn
    beat = steady.ripple[0, at["C1"]]
    assert fed.ripple[0, at["C1"]] > np.hypot(1.5 * drawn, beat)
    assert fed.watts[0, at["BR1"]] > 1.2 * drawn  # two drops of 0.6 V and more in the way


@pytest.mark.long
def test_rows_taken_from_tables_keep_both_rhythms() -> None:
    """However a table comes about, an AC reading is judged by both."""
    machine, condition = stile.machine(), Condition("mains", "half")
    few = single_faults(machine.assembly)[:2]
    table = Book(machine, few).table(condition, few, nets=["rawc", "out"])
    whole = predict(machine, condition, [{}], moves=[])
    meter = next(m for m in meters().values() if m.ac and m.blocks)
    there = swing.shown(whole, meter, whole.column("rawc"), len(whole.nets))[0]
    for made in (table, joined([table, table]), table.rows([1, 0]), table.only(["rawc"])):
        found = swing.shown(made, meter, made.column("rawc"), len(made.nets))
        assert found == pytest.approx([there] * len(found), rel=0.01)
    assert there > 0.2
