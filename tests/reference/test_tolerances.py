"""Weighing and bands on small dividers, against sums done the long way round.

The oracle is the definitions themselves, worked out independently here: exact divider voltages from
a nodal solve in numpy, tolerances integrated on a grid or drawn from a seeded generator. What is
taken from the package are only its stated odds (slip, wide tail, model error).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.lower import Machine
from halfsplit.diagnosis.evidence import Evidence, Meter
from halfsplit.diagnosis.expected import SLIP
from halfsplit.diagnosis.posterior import (
    EACH,
    MISTYPED,
    MODEL_FRACTION,
    MODEL_VOLTS,
    UNMODELLED_HEALTHY,
    Belief,
    span_of,
)
from halfsplit.faults.dictionary import predict, uncertainties
from halfsplit.faults.hypotheses import NONE, UNMODELLED, single_faults
from halfsplit.faults.predictions import Predictions
from tests.reference.oracle import machine

Floats = npt.NDArray[np.float64]
METER = Meter()
THREE = """
assembly: three resistors
parts:
  V1: {kind: supply, volts: 12V, pos: top, neg: com}
  R1: {kind: resistor, value: 1k, a: top, b: upper}
  R2: {kind: resistor, value: 2k2, a: upper, b: lower}
  R3: {kind: resistor, value: 1k5, a: lower, b: com}
"""
ON = Condition(machine(THREE).assembly.default_feed())
OHMS = {"R1": 1e3, "R2": 2.2e3, "R3": 1.5e3}
SIGMA = 0.05 / 3**0.5  # an evenly filled band of 5 % as a standard deviation
SUPPLY_SIGMA = 0.01
# How each failure is meant: ohms a bench meter would find on the part, of its marked ohms.
FAILED: dict[str, Callable[[float], float]] = {
    "open": lambda r: 1e9,
    "drifted high": lambda r: 2 * r,
    "drifted low": lambda r: r / 2,
    "short": lambda r: min(0.01, r / 10),
}


@cache
def three() -> tuple[Machine, Predictions, list[str], list[float]]:
    circuit = machine(THREE)
    faults = single_faults(circuit.assembly)
    table = predict(circuit, ON, [h.changes for h in faults])
    return circuit, table, [h.name for h in faults], [h.prior for h in faults]


def ladder(supply: Floats, r1: Floats, r2: Floats, r3: Floats, at: str) -> Floats:
    """Voltage a 10 Mohm meter reads at one tap, from the two nodal equations [V]."""
    load = {"upper": (1e-7, 0.0), "lower": (0.0, 1e-7)}[at]
    g1, g2, g3 = 1 / (r1 + 0.05), 1 / r2, 1 / r3
    a11, a12, a22 = g1 + g2 + load[0], -g2, g2 + g3 + load[1]
    det = a11 * a22 - a12 * a12
    seen: Floats = supply * g1 * (a22 if at == "upper" else -a12) / det
    return seen


def grid(fault: str, even: bool, wide: float = 1.0) -> tuple[dict[str, Floats], Floats]:
    """Supply and resistors over `wide` times their tolerances; weight of each grid point."""
    if even:  # mid-points of an evenly filled band
        z = (np.arange(12) + 0.5) / 6 - 1.0
        points, mass = z * 3**0.5, np.full(12, 1 / 12)
    else:
        points, mass = np.polynomial.hermite_e.hermegauss(9)
        mass = mass / mass.sum()
    ref, _, mode = fault.partition(" ")
    names = ["V1", *OHMS]
    axes = np.meshgrid(*[points] * 4, indexing="ij")
    values = {"V1": 12.0 * (1 + wide * SUPPLY_SIGMA * axes[0])}
    for name, z in zip(names[1:], axes[1:], strict=True):
        nominal = OHMS[name]
        broken = np.full_like(z, FAILED[mode](nominal)) if name == ref else None
        values[name] = nominal * (1 + wide * SIGMA * z) if broken is None else broken
    weight = np.einsum("a,b,c,d->abcd", mass, mass, mass, mass)
    return values, weight


def bell(x: Floats, sigma: Floats) -> Floats:
    height: Floats = np.exp(-0.5 * (x / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
    return height


def density(fault: str, readings: list[tuple[str, float]], even: bool, wide: float) -> list[Floats]:
    """Density of each reading at every grid point [1/V], then the weights of the points."""
    values, weight = grid(fault, even, wide)
    found = []
    for at, value in readings:
        v = ladder(values["V1"], values["R1"], values["R2"], values["R3"], at)
        sigma = np.hypot(
            (0.005 * np.abs(v) + 2 * 0.01) / 2, MODEL_FRACTION * np.abs(v) + MODEL_VOLTS
        )
        found.append(bell(value - v, wide * sigma))
    return [*found, weight]


def long_way(
    readings: list[tuple[str, float]], names: list[str], span: float, even: bool
) -> Floats:
    """Likelihood of all readings together under each fault, integrated over tolerances.

    The wide tail (one part in a hundred, everything three times as wide) is met by each reading
    by itself: its tolerances are then no longer those the other reading tells of.
    """
    found = []
    for name in names:
        fault = "" if name in (NONE, UNMODELLED) else name
        *narrow, weight = density(fault, readings, even, 1.0)
        *broad, broad_weight = density(fault, readings, False, 3.0)
        typed = [(factor, [(at, v / factor) for at, v in readings]) for factor in MISTYPED]
        slips = [(factor, density(fault, other, even, 1.0)) for factor, other in typed]
        joint = np.ones_like(weight)
        for k, (near_, far) in enumerate(zip(narrow, broad, strict=True)):
            e = 0.99 * near_ + 0.01 * float((broad_weight * far).sum())
            slip = (1 - len(MISTYPED) * EACH) / span
            slip += sum(EACH * float((weight * d[k]).sum()) / abs(f) for f, d in slips)
            if name == UNMODELLED:  # a reading as in a healthy machine, or anything
                e = UNMODELLED_HEALTHY * e + (1 - UNMODELLED_HEALTHY) / span
                slip = 1 / span
            joint = joint * ((1 - SLIP) * e + SLIP * slip)
        found.append(float((weight * joint).sum()))
    return np.array(found)


def taken(net: str, value: float) -> Evidence:
    return Evidence(net, "", "volts", value, 0.01, ON, METER)


def ours(readings: list[tuple[str, float]]) -> tuple[Floats, float]:
    circuit, table, names, prior = three()
    belief = Belief(prior, len(uncertainties(circuit)), names.index(NONE), names.index(UNMODELLED))
    span = span_of(table)
    for net, value in readings:
        belief.learn(table, taken(net, value), span)
    return belief.weights(), span


CASES = [
    [("upper", 9.45)],  # healthy 9.45 V
    [("upper", 7.86)],  # R1 twice its value: 7.79 V
    [("lower", 2.77)],  # between R2 twice its value (2.61 V) and R1 twice its value (3.16 V)
    [("lower", 5.05)],  # R2 half its value: 5.00 V
    [("lower", 5.30)],  # between R2 half (5.00 V) and R3 double (5.81 V)
    [("upper", 9.75), ("lower", 3.94)],  # supply or R1 off, both readings tell of it
    [("upper", 10.5), ("lower", 4.25)],  # R1 half (10.57 and 4.29 V): both up together
    [("upper", 8.70), ("lower", 4.95)],  # R2 half (8.67 and 5.00 V): one down, one up
    [("upper", 12.0), ("lower", 0.0)],  # R2 open
    [("upper", 0.945), ("lower", 3.85)],  # healthy, its point one place off
    [("upper", 9.45), ("lower", 6.80)],  # healthy, then nothing that fits: a slip, or not modelled
]


FAR_OUT = [[("lower", 5.30)]]


@pytest.mark.parametrize("even", [False, True], ids=["normal", "evenly filled"])
@pytest.mark.parametrize("readings", CASES, ids=str)
def test_weights_equal_the_long_way(readings: list[tuple[str, float]], even: bool) -> None:
    """Within 0.03 with the normal tolerances the package computes with, 0.06 with bands evenly
    filled, which is what it says a tolerance band is. A reading over two sigma from every fault
    costs more: an evenly filled band ends there, a normal one does not."""
    _, _, names, prior = three()
    weights, span = ours(readings)
    likely = np.array(prior) * long_way(readings, names, span, even)
    wanted = likely / likely.sum()
    worst = int(np.abs(weights - wanted).argmax())
    limit = (0.12 if readings in FAR_OUT else 0.06) if even else 0.03
    assert weights == pytest.approx(wanted, abs=limit), names[worst]
    assert names[int(weights.argmax())] == names[int(wanted.argmax())]


def test_learning_carries_over() -> None:
    """After one high reading the next expected one moves the way the exact mean of it does."""
    circuit, table, names, prior = three()
    belief = Belief(prior, len(uncertainties(circuit)), 0, 1)
    before = belief.expect(table, taken("lower", 0.0))
    belief.learn(table, taken("upper", 9.70), span_of(table))
    after = belief.expect(table, taken("lower", 0.0))
    values, weight = grid("", even=False)
    upper = ladder(values["V1"], values["R1"], values["R2"], values["R3"], "upper")
    lower = ladder(values["V1"], values["R1"], values["R2"], values["R3"], "lower")
    sigma = np.hypot((0.005 * upper + 0.02) / 2, MODEL_FRACTION * upper + MODEL_VOLTS)
    kept = weight * bell(9.70 - upper, sigma)
    mean = float((kept * lower).sum() / kept.sum())
    assert names[0] == NONE
    # Evenly within a tenth of the step it makes, and of the width that is left.
    assert abs(mean - before.mean[0]) > 0.05
    assert after.mean[0] == pytest.approx(mean, abs=0.1 * abs(mean - before.mean[0]) + 0.005)
    width = float(np.sqrt((kept * (lower - mean) ** 2).sum() / kept.sum()))
    own = np.hypot((0.005 * mean + 0.02) / 2, MODEL_FRACTION * mean + MODEL_VOLTS)
    assert after.sigma[0] == pytest.approx(np.hypot(width, own), rel=0.10)
    assert after.sigma[0] < before.sigma[0]


CHAIN = """
assembly: chain of dividers
parts:
  V1: {kind: supply, volts: 24V, pos: top, neg: com}
  R1: {kind: resistor, value: 1k, a: top, b: n1}
  R2: {kind: resistor, value: 1k8, a: n1, b: n2}
  R3: {kind: resistor, value: 1k2, a: n2, b: n3}
  R4: {kind: resistor, value: 2k2, a: n3, b: com}
  R5: {kind: resistor, value: 10k, a: n2, b: n4}
  R6: {kind: resistor, value: 15k, a: n4, b: com}
"""
TAPS = ("n1", "n2", "n3", "n4")


BRANCHES = {  # from, to (0 is common, 1 the top, 2 to 5 the taps) and marked ohms
    "R1": (1, 2, 1e3),
    "R2": (2, 3, 1.8e3),
    "R3": (3, 4, 1.2e3),
    "R4": (4, 0, 2.2e3),
    "R5": (3, 5, 10e3),
    "R6": (5, 0, 15e3),
}


def specimens(count: int, seed: int) -> Floats:
    """What a meter shows at the four taps of `count` machines, one row each [V].

    Every resistor is drawn over its evenly filled 5 %, the supply over the same standard deviation
    as the package gives it, the meter's error over its stated limits.
    """
    random = np.random.default_rng(seed)
    shown = np.zeros((count, 4))
    for row in shown:
        g = np.zeros((6, 6))
        for a, b, ohms in BRANCHES.values():
            one = 1 / (ohms * (1 + random.uniform(-0.05, 0.05)))
            g[[a, b], [a, b]] += one
            g[[a, b], [b, a]] -= one
        supply = 24.0 * (1 + random.uniform(-1, 1) * SUPPLY_SIGMA * 3**0.5)
        g[1, 1] += 1 / 0.05
        feed = np.array([supply / 0.05, 0, 0, 0, 0])
        for k in range(4):
            metered = g.copy()
            metered[k + 2, k + 2] += 1e-7
            v = np.linalg.solve(metered[1:, 1:], feed)[k + 1]
            row[k] = round(v + random.uniform(-1, 1) * (0.005 * v + 2 * 0.01), 2)
    return shown


def test_two_sigma_bands_hold_what_they_promise() -> None:
    """400 seeded machines, four taps each, read in turn: 90 to 99 % within two sigma.

    Counted before anything is learnt and again after each reading, when the bands are narrower.
    """
    circuit = machine(CHAIN)
    faults = single_faults(circuit.assembly)
    table = predict(circuit, ON, [h.changes for h in faults])
    shown = specimens(400, seed=20)
    inside = np.zeros((400, len(TAPS)), dtype=bool)
    widths = np.zeros((400, len(TAPS)))
    for row, values in enumerate(shown):
        belief = Belief([h.prior for h in faults], len(uncertainties(circuit)), 0, 1)
        for k, (net, value) in enumerate(zip(TAPS, values, strict=True)):
            expected = belief.expect(table, taken(net, 0.0))
            widths[row, k] = expected.sigma[0]
            inside[row, k] = abs(value - expected.mean[0]) <= 2 * expected.sigma[0]
            belief.learn(table, taken(net, float(value)), span_of(table))
    share = inside.mean(axis=0)
    assert all(0.90 <= s <= 0.99 for s in share), share
    fresh = Belief([h.prior for h in faults], len(uncertainties(circuit)), 0, 1)
    for k, net in enumerate(TAPS[1:], 1):
        assert widths[:, k].mean() < fresh.expect(table, taken(net, 0.0)).sigma[0]
