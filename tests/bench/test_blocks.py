"""A machine in ten lines of blocks: what is expected, what leans on what, suspects, next checks.

What follows from a fault is worked out here by plain rules, independent of the solver.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.bench import Session
from halfsplit.bench.expect import expect
from halfsplit.bringup.leans import leans
from halfsplit.faults.dictionary import predict
from halfsplit.faults.hypotheses import single_faults
from halfsplit.parts.block import HIGH, LOW
from halfsplit.problems import ProblemsError

TRAY = """\
assembly: Tray by blocks
blocks:
  raw12:   {makes: vrp, limits: 17..24V}
  raw12n:  {makes: vrn, limits: -17..-24V}
  raw5:    {makes: v5, limits: 9..12V}
  minus12: {makes: n12, limits: -11.4..-12.6V, ripple: 75mV, needs: vrn}
  plus12:  {makes: p12, limits: 11.4..12.6V, ripple: 75mV, needs: vrp, follows: n12}
  plus5:   {makes: p5, limits: 4.75..5.25V, ripple: 50mV, needs: [v5, n12], follows: p12}
"""
# net -> (volts, what it takes, what it follows), as the file above says
NETS = {
    "vrp": ("raw12", 20.5, [], ""),
    "vrn": ("raw12n", -20.5, [], ""),
    "v5": ("raw5", 10.5, [], ""),
    "n12": ("minus12", -12.0, ["vrn"], ""),
    "p12": ("plus12", 12.0, ["vrp"], "n12"),
    "p5": ("plus5", 5.0, ["v5", "n12"], "p12"),
}


def levels(block: str = "", mode: str = "") -> dict[str, float]:
    """Volts of every net with one block faulty: out of nothing comes nothing, and what follows
    goes along, no further than what it is taken from."""
    found: dict[str, float] = {}
    for net, (name, volts, needs, follows) in NETS.items():
        level = volts * (found[follows] / NETS[follows][1] if follows else 1.0)
        if name == block:
            level *= {"dead": 0.0, "low": LOW, "high": HIGH, "noisy": 1.0}[mode]
        if any(found[n] == 0.0 for n in needs):
            level = 0.0
        top = min((abs(found[n]) for n in needs if found[n] * volts > 0.0), default=1e9)
        found[net] = float(np.sign(level) * min(abs(level), top))
    return found


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "tray.yaml"
    path.write_text(TRAY, encoding="utf-8")
    return path


@pytest.fixture
def bench(file: Path) -> Iterator[Session]:
    with Session(file) as found:
        yield found


def test_every_fault_of_every_block_reads_as_the_rules_have_it(file: Path) -> None:
    assembly, problems = load(file)
    assert assembly is not None and problems == []
    listed = single_faults(assembly)[2:]
    assert len(listed) == 24
    table = predict(Machine(assembly), Condition("supply"), [h.changes for h in listed])
    assert np.isfinite(table.mean).all()
    for row, hypothesis in enumerate(listed):
        fault = hypothesis.faults[0]
        due = levels(fault.part, fault.mode)
        for net, volts in due.items():
            told = float(table.mean[row, table.column(net)])
            assert told == pytest.approx(volts, rel=0.02, abs=0.05), (hypothesis.name, net)


def test_healthy_rails_are_expected_within_their_limits(bench: Session) -> None:
    lines = expect(bench, (), [bench.condition])
    assert {line.net for line in lines} == set(NETS)
    for line in lines:
        volts = NETS[line.net][1]
        assert line.mean == pytest.approx(volts, rel=0.005)
        limits = bench.assembly.rails[line.net].limits
        assert limits.low <= line.mean <= limits.high
        assert 0.3 * (limits.high - limits.low) < line.high - line.low
        assert line.high - line.low < 3.0 * (limits.high - limits.low)


def test_the_map_is_what_the_file_says(file: Path) -> None:
    assembly = load(file)[0]
    assert assembly is not None
    found = leans(Machine(assembly))
    edges = {(e.of, e.on) for e in found.edges}
    said = {
        (net, n) for net, (_, _, needs, f) in NETS.items() for n in [*needs, *([f] if f else [])]
    }
    assert edges == said
    assert found.unsolved == ()
    assert set(found.all_under("p5")) == {"v5", "n12", "p12", "vrn", "vrp"}
    assert all(abs(e.without) < 0.1 for e in found.edges)
    order = found.order()
    assert all(order.index(on) < order.index(of) for of, on in edges)


def leader(bench: Session) -> tuple[str, float]:
    first = bench.suspects(1)[0]
    return first.suspects[0].hypothesis.name, first.weight


def test_the_negative_rail_nobody_measured_is_asked_for_and_blamed(bench: Session) -> None:
    bench.read("p5", "6.5")
    before = bench.blamed()
    assert {*list(before)[:3]} == {"plus5", "minus12", "plus12"}
    asked = bench.next_checks(1)[0].candidate
    assert asked.net in ("p12", "n12") and asked.quantity == "volts"
    bench.read("n12", "-15.6")
    name, weight = leader(bench)
    assert name == "minus12 high" and weight > 0.7  # the rest is kept for what is in no model


def test_a_noisy_block_is_found_with_a_scope(bench: Session) -> None:
    for net, (_, volts, *_) in NETS.items():
        bench.read(net, f"{volts}")
    asked = bench.next_checks(1)[0].candidate
    assert asked.quantity == "ripple"
    bench.read("p12", "600mV", ripple=True)
    bench.read("n12", "20mV", ripple=True)
    name, weight = leader(bench)
    assert name == "plus12 noisy" and weight > 0.8


def test_weights_of_failing_are_the_files(file: Path) -> None:
    text = TRAY.replace("follows: p12}", "follows: p12, fails: {dead: 1, noisy: 3}}")
    file.write_text(text, encoding="utf-8")
    assembly = load(file)[0]
    assert assembly is not None
    shares = {m.name: m.share for m in assembly.parts["plus5"].modes()}
    assert shares == {"dead": 0.25, "noisy": 0.75}


def test_resistances_are_not_asked_of_a_block(bench: Session) -> None:
    from halfsplit.faults.ohmmeter import ohmmeters

    with pytest.raises(ProblemsError, match="says nothing of resistances"):
        bench.read("p5", "12", ohmmeter=ohmmeters()["auto"])
    bench.set_condition(bench.condition_from("off", None))
    assert bench.next_checks(1) == []


OPENED = (
    TRAY.replace("needs: vrn}", "needs: vrn, parts: [U1, C1, R1]}")
    + """\
parts:
  U1: {type: "7912", in: vrn, com: com, out: n12}
  C1: {kind: electrolytic, value: 10u, volts: 25V, pos: com, neg: n12}
  R1: {kind: resistor, value: 1k, a: n12, b: com}
"""
)


def test_an_opened_block_keeps_the_readings(file: Path) -> None:
    with Session(file) as bench:
        bench.read("p5", "6.5")
        bench.read("n12", "-15.6")
        assert leader(bench)[0] == "minus12 high"
    file.write_text(OPENED, encoding="utf-8")
    with Session(file) as bench:
        assert [e.pos for e in bench.evidence()] == ["p5", "n12"]
        assert "minus12" not in bench.assembly.parts and "U1" in bench.assembly.parts
        assert next(iter(bench.blamed())) == "U1"
        assert bench.assembly.rails["n12"].limits.low == pytest.approx(-12.6)


def test_readings_count_on_when_the_source_becomes_the_mains(file: Path) -> None:
    with Session(file) as bench:
        bench.read("vrp", "20.4")
    mains = TRAY.replace("17..24V}\n", "17..24V, parts: [J1, F1, T1, BR1, C1]}\n", 1)
    mains += """\
parts:
  J1: {kind: mains, volts: 230V, hertz: 50Hz, live: l, neutral: n}
  F1: {kind: fuse, amps: 1A, a: l, b: pri}
  T1:
    kind: transformer
    windings:
      primary: {start: pri, end: n, volts: 230V, ohms: 20R}
      s: {start: sa, end: sb, volts: 16V, ohms: 0.5R}
  BR1: {type: KBPC2501, ac1: sa, ac2: sb, pos: vrp, neg: com}
  C1: {kind: electrolytic, value: 4700u, volts: 35V, pos: vrp, neg: com}
"""
    file.write_text(mains, encoding="utf-8")
    found, problems = load(file)
    assert found is not None and problems == []
    with Session(file) as bench:
        assert [e.condition.feed for e in bench.evidence()] == ["supply"]
        assert bench.machine.alternating(bench.evidence()[0].condition) == 50.0
