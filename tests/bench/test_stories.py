"""Odd tolerances or slips: the belief's few stories against the whole sum over every case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from tests.reference.tables import listed, table

from halfsplit.assembly.condition import Change, Condition
from halfsplit.diagnosis import posterior
from halfsplit.diagnosis.evidence import Evidence, Meter
from halfsplit.diagnosis.posterior import Belief, span_of
from halfsplit.diagnosis.stories import MOST
from halfsplit.faults.hypotheses import Fault

OWN, SHARED = 0.05, 0.5  # V at one sigma: of a meter, and of a part all four nets lean on
DUE = {"a": 5.0, "b": 5.0, "c": 5.0, "d": 5.0}


@pytest.fixture(autouse=True)
def _straight(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("BEND", "MODEL_FRACTION", "MODEL_VOLTS"):
        monkeypatch.setattr(posterior, name, 0.0)


def belief_of(read: Sequence[float]) -> Belief:
    """After readings of as many nets: under none and unmodelled, and a fault that pins them."""
    tables = table(
        list(DUE), [DUE] * 3, [{n: [SHARED] for n in DUE}] * 2 + [{n: [0.01] for n in DUE}], 1
    )
    hypotheses = listed([Fault("R1", "open", 0.1, {})], 1.0)
    belief = Belief([h.prior for h in hypotheses], 1, 0, 1)
    meter = Meter(fraction=0.0, counts=2.0 * OWN / 0.01)  # half the limit is one sigma
    for net, value in zip(DUE, read, strict=False):
        item = Evidence(net, "", "volts", value, 0.01, Condition("bench"), meter)
        belief.learn(tables, item, span_of(tables))
    return belief


def summed(read: Sequence[float], shared: float) -> float:
    """Logarithm of the likelihood, over every value of the part and every reading a slip or not:
    summed on a fine grid of the part's values, where readings know nothing of each other."""
    part = np.linspace(-8.0, 8.0, 40_001)
    whole = np.exp(-0.5 * part**2) / np.sqrt(2.0 * np.pi)
    for value in read:
        mean = 5.0 + shared * part
        true = sum(
            w * np.exp(-0.5 * ((value - mean) / s) ** 2) / (s * np.sqrt(2.0 * np.pi))
            for w, s in ((0.99, OWN), (0.01, 3.0 * OWN))
        )
        wild = (1.0 - len(posterior.MISTYPED) * posterior.EACH) / 10.0
        whole = whole * ((1.0 - posterior.SLIP) * true + posterior.SLIP * wild)
    return float(np.log(whole.sum() * (part[1] - part[0])))


@pytest.mark.parametrize(
    "read",
    [
        (5.1, 5.1, 5.1, 5.1),
        (6.9, 6.9, 6.9, 6.9),  # near four sigmas of the part: a slip at first, then four that agree
        (6.9, 5.0, 5.0, 5.0),
        (5.0, 6.9, 5.0, 5.0),
        (6.9, 5.0, 6.9, 6.9),  # the second is the slip
        (6.9, 6.9, 5.0, 5.0),  # two and two
    ],
    ids=str,
)
def test_one_part_behind_four_readings(read: tuple[float, ...]) -> None:
    belief = belief_of(read)
    found = belief.log_weight - np.log(belief.prior)
    # A part near four sigmas out is less of a surprise to the belief: it takes tails for fatter.
    assert found[0] == pytest.approx(summed(read, SHARED), abs=0.7)
    assert found[2] == pytest.approx(summed(read, 0.01), abs=0.1)


def test_no_more_stories_than_it_pays_to_keep() -> None:
    few = belief_of((5.02,)).stories
    many = belief_of((6.9, 5.0, 6.9, 5.0)).stories
    assert len(few.share) <= len(many.share) <= MOST
    assert np.allclose(many.share.sum(axis=0), 1.0)


def test_some_hypotheses_and_those_put_together_again_stand_as_they_did() -> None:
    whole = belief_of((6.9, 5.0, 6.9))
    again = whole.part([0, 1]).joined(whole.part([0, 1, 2]))
    for name in ("share", "found", "inverse"):
        np.testing.assert_allclose(getattr(again.stories, name), getattr(whole.stories, name))
    assert again.log_weight == pytest.approx(whole.log_weight)


def test_the_same_reading_taken_again_tells_nothing_of_the_machine(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What the models miss at a net is missed again; only the meter is looked at twice."""
    monkeypatch.setattr(posterior, "MODEL_VOLTS", 0.3)
    item = Evidence("a", "", "volts", 5.8, 0.01, Condition("bench"), Meter())
    other = replace(item, pos="b")
    tables = table(list(DUE), [DUE, DUE, {**DUE, "a": 5.8, "b": 5.8}], [{}] * 3, 1)
    odds = []
    for second in (None, item, replace(item, condition=Condition("bench", "half")), other):
        belief = Belief([0.5, 1e-12, 0.5], 1, 0, 1)
        for one in (item, second) if second else (item,):
            belief.learn(tables, one, span_of(tables))
        odds.append(float(belief.log_weight[2] - belief.log_weight[0]))
    once, again, loaded, elsewhere = odds
    assert again == pytest.approx(once, abs=0.1)
    assert once < loaded < 0.5 * (once + elsewhere) + 0.5
    assert elsewhere == pytest.approx(2.0 * once, rel=0.1)


@pytest.mark.parametrize("fitted", [False, True])
def test_a_part_fitted_since_is_another_specimen(fitted: bool) -> None:
    """All four nets lean on R9, and the first reads two of its sigmas high. So should the next, but
    for a new R9: that is as it should be, and 5.0 V is no surprise. Two read then agree again."""
    tables = table(list(DUE), [DUE] * 3, [{n: [SHARED] for n in DUE}] * 3, 1)
    hypotheses = listed([Fault("R1", "open", 0.1, {})], 1.0)
    belief = Belief([h.prior for h in hypotheses], 1, 0, 1, {"R9": frozenset({0})})
    meter = Meter(fraction=0.0, counts=2.0 * OWN / 0.01)
    before = Condition("bench")
    after = before.with_change(Change("R9", "fitted")) if fitted else before

    def asked(net: str, value: float, at: Condition) -> Evidence:
        return Evidence(net, "", "volts", value, 0.01, at, meter)

    belief.learn(tables, asked("a", 6.0, before), span_of(tables))
    expected = belief.expect(tables, asked("b", 5.0, after))
    assert expected.mean[0] == pytest.approx(5.0 if fitted else 6.0, abs=0.03)
    assert expected.sigma[0] > 0.9 * SHARED if fitted else expected.sigma[0] < 0.3 * SHARED
    if not fitted:
        return
    belief.learn(tables, asked("b", 5.0, after), span_of(tables))
    again = belief.expect(tables, asked("c", 5.0, after))
    assert again.mean[0] == pytest.approx(5.0, abs=0.03)
    assert again.sigma[0] < 0.3 * SHARED
    # The old one is still what it was, for whatever was read of it.
    old = belief.expect(tables, asked("d", 6.0, before))
    assert old.mean[0] == pytest.approx(6.0, abs=0.03)
