"""Junction temperatures: a diode against ngspice, a regulator against its data sheet's sums."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.circuit import elements as el
from halfsplit.circuit.heat import element_watts, warmed
from halfsplit.circuit.netlist import Netlist
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status
from halfsplit.circuit.topology import compile_netlist
from halfsplit.faults.warm import warm
from tests.simulator import deck

# Junction to air of a TO-220 regulator in free air [K/W]: MC7800/D Rev 27, maximum ratings.
FREE_AIR = 65.0


def machine(tmp_path: Path, text: str) -> Machine:
    file = tmp_path / "bench.yaml"
    file.write_text(text)
    assembly, problems = load(file)
    assert assembly is not None, problems
    return Machine(assembly)


def regulator(tmp_path: Path, volts: str, ohms: str, extra: str = "") -> Machine:
    return machine(
        tmp_path,
        f"""assembly: Bench six
parts:
  S1: {{kind: supply, volts: {volts}, ohms: 1mohm, pos: raw, neg: com}}
  U1: {{type: "7805", in: raw, com: com, out: p5{extra}}}
  R1: {{kind: resistor, value: {ohms}, power: 20W, a: p5, b: com}}
""",
    )


def _of(found, ref: str, values) -> float:  # type: ignore[no-untyped-def]
    return float(values[0, found.parts.index(ref)])


@pytest.mark.parametrize(
    ("kind", "emission"), [("diode", 1.0), ("diode", 1.7), ("transistor", 1.0)]
)
def test_junction_against_ngspice_at_27_and_87(kind: str, emission: float) -> None:
    """About 2 mV/K less, and within 2 % of ngspice at .temp 87, its currents tied to ours."""
    net = Netlist()
    volts = {"dc": 10.0, "g": 1e3}
    net.add(el.Source("S", ("raw", "com"), volts), el.Resistor("R", ("raw", "d"), {"g": 1e-3}))
    if kind == "diode":
        nvt = emission * el.THERMAL_VOLTAGE
        sat = {1.0: 1e-14, 1.7: 1e-9}[emission]  # 0.7 V at 10 mA, as silicon has
        element: el.Element = el.Diode("X", ("d", "com"), {"is": sat, "nvt": nvt})
    else:  # as a diode: collector and base joined
        values = {"ist": 1e-14, "isf": 1e-16, "isr": 2e-14}
        element = el.Bjt("X", ("d", "d", "com"), values)
    net.add(element)
    top = compile_netlist(net)
    own = {("X", p): top.base[top.slot["X", p]] for p in element.PARAMS}
    read = {}
    for celsius in (27.0, 87.0):
        row = top.rows([warmed(element, own, celsius, 9.4e-3)])
        read[celsius] = float(operating_point(top, row).mean[0, top.net_index["d"]])
        written = deck.write(top, {})
        written.lines.append(f".options temp={celsius} tnom=27")
        reference = deck.operating_point(written, ["d"])
        assert reference is not None
        assert read[celsius] == pytest.approx(reference["d"], rel=0.02), celsius
    slope = (read[87.0] - read[27.0]) / 60.0
    # Textbook figure, about -2 mV/K at milliamperes: P. Horowitz and W. Hill, The Art of
    # Electronics, 2nd ed., 1989, section 2.10 (-2.1 mV/K; from memory, unconfirmed).
    assert -2.6e-3 < slope < -1.5e-3


def test_watts_of_elements_balance() -> None:
    """What sources give, the rest takes: no element's watts are lost (energy is conserved)."""
    net = Netlist()
    net.add(
        el.Source("S", ("raw", "com"), {"dc": 12.0, "g": 10.0}),
        el.Resistor("R", ("raw", "b"), {"g": 1e-4}),
        el.Bjt("Q", ("raw", "b", "e"), {"ist": 1e-14, "isf": 1e-16, "isr": 1e-14}),
        el.Regulator("U", ("e", "com", "out"), {"volts": 5.0}),
        el.Lamp("L", ("out", "com"), {"volts": 6.0, "amps": 0.04}),
        el.Diode("D", ("out", "x"), {"is": 1e-12}),
        el.Resistor("RX", ("x", "com"), {"g": 1e-2}),
    )
    top = compile_netlist(net)
    rows = top.rows([{}])
    solved = operating_point(top, rows)
    watts = element_watts(top, rows, solved.mean, solved.latched)[0]
    by = dict(zip(net.elements, watts, strict=True))
    assert by["S"] < 0 < by["Q"]
    assert by["S"] == pytest.approx(-sum(v for k, v in by.items() if k != "S"), abs=1e-6)
    volts = {n: float(solved.mean[0, i]) for n, i in top.net_index.items()}
    assert by["RX"] == pytest.approx(volts["x"] ** 2 / 100.0, rel=1e-9)


def test_free_air_allows_a_regulator_a_watt_and_a_half(tmp_path: Path) -> None:
    """100 K over 65 K/W is 1.54 W; with 12 V in that is 0.22 A at 5 V: package ratings of
    MC7800/D Rev 27 and the sum made from them, checked by hand."""
    assert round(100.0 / FREE_AIR, 2) == 1.54
    allowed = 1.54 / (12.0 - 5.0)
    assert allowed == pytest.approx(0.22, abs=0.001)
    found = warm(regulator(tmp_path, "12V", f"{5.0 / allowed:.3f}R"), Condition("supply"), [{}])
    assert found.status[0] != Status.UNSOLVED
    # The standing current adds about 4 mA of 12 V, some 3 K.
    assert _of(found, "U1", found.watts) == pytest.approx(1.54, abs=0.06)
    assert _of(found, "U1", found.junction) == pytest.approx(125.0, abs=4.0)
    assert not found.cycling.any()


def test_overloaded_regulator_is_held_by_its_thermal_shutdown(tmp_path: Path) -> None:
    """1 A of 5 V from 12 V is 7 W in free air: it cycles, and the mean current is what 150 degC
    allows, here found from the quadratic of source and load, apart from the program."""
    found = warm(regulator(tmp_path, "12V", "5R"), Condition("supply"), [{}])
    assert bool(found.cycling[0, found.parts.index("U1")])
    assert _of(found, "U1", found.junction) == pytest.approx(150.0)
    watts = (150.0 - 25.0) / FREE_AIR  # into 5 ohm from 12 V: (12 - 5 I) I = watts
    amps = (12.0 - np.sqrt(144.0 - 4 * 5.0 * watts)) / 10.0
    volts = float(found.mean[0, found.column("p5")])
    assert volts / 5.0 == pytest.approx(amps, rel=0.03)


def test_a_heatsink_lets_it_run(tmp_path: Path) -> None:
    found = warm(regulator(tmp_path, "12V", "5R", ", sink: 8K/W"), Condition("supply"), [{}])
    assert not found.cycling.any()
    watts = _of(found, "U1", found.watts)
    assert watts == pytest.approx(7.0, abs=0.2)
    # 5 K/W to the case: MC7800/D Rev 27
    assert _of(found, "U1", found.junction) == pytest.approx(25.0 + 13.0 * watts, abs=0.5)
    warmer = warm(
        regulator(tmp_path, "12V", "5R", ", sink: 8K/W"), Condition("supply", ambient=45.0), [{}]
    )
    rise = _of(warmer, "U1", warmer.junction) - _of(found, "U1", found.junction)
    assert rise == pytest.approx(20.0, abs=0.5)


def test_warm_transistor_moves_its_emitter(tmp_path: Path) -> None:
    """A follower of 0.3 W in a TO-92 (200 K/W) rises 60 K; its emitter rises about 2 mV/K."""
    text = """assembly: Bench seven
parts:
  S1: {kind: supply, volts: 10V, ohms: 1mohm, pos: raw, neg: com}
  S2: {kind: supply, volts: 5V, ohms: 1mohm, pos: b, neg: com}
  Q1: {kind: npn, THETA c: raw, b: b, e: e}
  R1: {kind: resistor, value: 82R, power: 1W, a: e, b: com}
"""
    plain = machine(tmp_path, text.replace("THETA ", ""))
    cold = warm(plain, Condition("supply"), [{}])
    assert np.isnan(cold.junction).all()  # nothing is claimed where no figure was given
    hot = warm(
        machine(tmp_path, text.replace("THETA", "theta_ja: 200K/W,")), Condition("supply"), [{}]
    )
    rise = _of(hot, "Q1", hot.junction) - 27.0
    assert rise == pytest.approx(_of(hot, "Q1", hot.watts) * 200.0 - 2.0, abs=1.0)
    assert rise > 40.0
    moved = float(hot.mean[0, hot.column("e")] - cold.mean[0, cold.column("e")])
    assert 1.2e-3 < moved / rise < 2.6e-3


def test_heatsink_without_case_resistance_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "bench.yaml"
    file.write_text(
        """assembly: Bench eight
parts:
  S1: {kind: supply, volts: 10V, pos: raw, neg: com}
  Q1: {kind: npn, sink: 2K/W, c: raw, b: b, e: com}
  R1: {kind: resistor, value: 10k, a: raw, b: b}
"""
    )
    assembly, problems = load(file)
    assert assembly is None
    assert any("theta_jc" in p.wrong for p in problems), problems
