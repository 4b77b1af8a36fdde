"""Stuck-at faults of c17 by the package's inference: classes, and where a few vectors lead.

What a gate gives is worked out here; hypotheses, weights, groups and the choice of the next vector
are the package's, on readings of 0 or 5 V at the two outputs.
"""

from __future__ import annotations

from functools import cache
from itertools import product

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.diagnosis import posterior
from halfsplit.diagnosis.evidence import Evidence, Meter
from halfsplit.diagnosis.groups import group
from halfsplit.diagnosis.next_check import Candidate, rank
from halfsplit.diagnosis.posterior import Belief, span_of, weigh
from halfsplit.faults.hypotheses import Fault, Hypothesis
from halfsplit.faults.predictions import Predictions
from tests.reference.oracle import entries
from tests.reference.tables import listed, table

PAGES = entries("c17.yaml")
CIRCUIT = PAGES["circuit"]
GATES: dict[str, list[str]] = CIRCUIT["gates"]
INPUTS: list[str] = CIRCUIT["inputs"]
OUTPUTS = list(CIRCUIT["outputs"])
VECTORS = list(product((0, 1), repeat=5))
HIGH = 5.0
READERS = [n for pins in GATES.values() for n in pins]
STEMS = [*INPUTS, *GATES]
BRANCHES = [f"{n}>{g}" for g, pins in GATES.items() for n in pins if READERS.count(n) > 1]


def logic(vector: tuple[int, ...], stuck: str = "") -> dict[str, int]:
    """Every net under a vector; `stuck` is a net or a branch of one with its value, as 3>10/1."""
    line, _, value = stuck.partition("/")
    nets = dict(zip(INPUTS, vector, strict=True))
    if line in nets:
        nets[line] = int(value)
    for gate, pins in GATES.items():
        seen = [int(value) if line == f"{n}>{gate}" else nets[n] for n in pins]
        nets[gate] = int(value) if line == gate else 1 - seen[0] * seen[1]
    return nets


def stuck(lines: list[str]) -> list[str]:
    return [f"{line}/{value}" for line in lines for value in "01"]


@cache
def hypotheses(*names: str) -> tuple[Hypothesis, ...]:
    faults = [Fault(*n.split("/"), odds=1.0 / len(names), changes={}) for n in names]
    return tuple(listed(faults, 0.05))


@cache
def tables(*names: str) -> dict[Condition, Predictions]:
    """What the outputs give under every vector: healthy, unmodelled, then each fault."""
    found = {}
    for i, vector in enumerate(VECTORS):
        rows = [logic(vector, n) for n in ("", "", *names)]
        means = [{n: HIGH * r[n] for n in OUTPUTS} for r in rows]
        found[Condition(f"vector {i}")] = table(OUTPUTS, means, [{}] * len(rows), 1)
    return found


def reading(net: str, at: Condition, names: tuple[str, ...], true: str) -> Evidence:
    row = names.index(true) + 2
    value = float(tables(*names)[at].mean[row, OUTPUTS.index(net)])
    return Evidence(net, "", "volts", value, 0.01, at, Meter())


def classes(names: tuple[str, ...]) -> list[frozenset[str]]:
    """Faults the package says no vector separates."""
    prior = np.array([h.prior for h in hypotheses(*names)])
    found = group(prior, list(tables(*names).values()), OUTPUTS, most=100)
    told = [
        frozenset(hypotheses(*names)[i].name.replace(" ", "/") for i in g.members) for g in found
    ]
    return [c for c in told if "no/fault" not in c and not any("model" in n for n in c)]


def test_healthy_outputs() -> None:
    for net, row in CIRCUIT["outputs"].items():
        assert "".join(str(logic(v)[net]) for v in VECTORS) == row


def test_classes_on_nets() -> None:
    page, names = PAGES["on_nets"], tuple(stuck(STEMS))
    found = classes(names)
    assert len(names) == page["faults"] and len(found) == page["classes"]
    assert {c for c in found if len(c) > 1} == {frozenset(p) for p in page["same"]}


def test_classes_on_every_line() -> None:
    page = PAGES["on_lines"]
    fan = {b.partition(">")[0] for b in BRANCHES}
    names = tuple(stuck([*STEMS, *BRANCHES]))
    assert len(fan) == 3 and len(names) == page["faults"]
    assert len(classes(names)) == page["classes"]


def follow(names: tuple[str, ...], true: str) -> tuple[Belief, int]:
    """Take the vectors the planner asks for until it expects nothing of another."""
    taken: list[Evidence] = []
    while True:
        belief = Belief([h.prior for h in hypotheses(*names)], 1, 0, 1)
        weigh(belief, taken, lambda item: tables(*names)[item.condition])
        done = {(e.pos, e.condition) for e in taken}
        left = [
            Candidate(net, "volts", at, 1.0)
            for at in tables(*names)
            for net in OUTPUTS
            if (net, at) not in done
        ]
        best = rank(belief, tables(*names), left, Meter())[0]
        if best.bits < 0.03 or len(taken) == 20:
            return belief, len(taken)
        asked = best.candidate
        taken.append(reading(asked.net, asked.condition, names, true))


@pytest.mark.parametrize("true", stuck(STEMS))
def test_the_planner_ends_at_the_right_class(true: str) -> None:
    """In about as few of the 64 readings as 17 classes need: 4.1 bits, one a reading."""
    names = tuple(stuck(STEMS))
    belief, count = follow(names, true)
    weights = dict(zip(("", "?", *names), belief.weights(), strict=True))
    mine = next(c for c in classes(names) if true in c)
    assert sum(weights[n] for n in mine) > 0.99
    assert count <= 6


def test_after_every_vector_the_class_is_certain_and_evenly_shared() -> None:
    names = tuple(stuck(STEMS))
    for true in names:
        belief = Belief([h.prior for h in hypotheses(*names)], 1, 0, 1)
        every = [reading(n, at, names, true) for at in tables(*names) for n in OUTPUTS]
        weigh(belief, every, lambda item: tables(*names)[item.condition])
        weights = dict(zip(names, belief.weights()[2:], strict=True))
        mine = next(c for c in classes(names) if true in c)
        assert [weights[n] for n in mine] == pytest.approx([1.0 / len(mine)] * len(mine), abs=1e-6)


def test_weights_follow_the_rule_of_bayes_with_slips() -> None:
    """One output read high: by hand, from the share of slips and the width of the meter."""
    names = tuple(stuck(STEMS))
    at = Condition("vector 31")
    item = reading("22", at, names, "22/0")
    every = tables(*names)[at]
    belief = weigh(Belief([h.prior for h in hypotheses(*names)], 1, 0, 1), [item], lambda _: every)
    says = every.mean[:, 0] < 1.0
    sigma = np.hypot(Meter().sigma(0.0, 0.01), posterior.MODEL_VOLTS)
    bell = (0.99 + 0.01 / 3.0) / (sigma * np.sqrt(2 * np.pi))
    span, slip, each = span_of(every), posterior.SLIP, posterior.EACH
    near = each * sum(1.0 / abs(f) for f in posterior.MISTYPED) / (sigma * np.sqrt(2 * np.pi))
    flat = (1.0 - 3 * each) / span
    likely = np.where(says, (1 - slip) * bell + slip * (flat + near), slip * flat)
    prior = np.array([h.prior for h in hypotheses(*names)])
    expected = prior * likely
    expected[1] = 0.0
    assert belief.weights() == pytest.approx(expected / expected.sum(), rel=1e-3, abs=1e-9)
