"""Conflicts, candidates, weights and probe scores on the polybox (polybox.yaml).

What follows from which good parts is worked out here by passing values along the boxes both ways,
independent of the package; searching, weighing and scoring is the package's.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations
from typing import Any

import numpy as np
import pytest

from halfsplit.diagnosis.conflicts import Parts, minimal_candidates, minimal_conflicts
from halfsplit.diagnosis.information import entropy, expected_gain
from halfsplit.diagnosis.posterior import bayes
from tests.reference.oracle import entries

PAGES = entries("polybox.yaml")
BOOK, SCORES = PAGES["structure"], PAGES["scores"]
NAMES = ["M1", "M2", "M3", "A1", "A2"]
INPUTS = {"a": 3, "b": 2, "c": 2, "d": 3, "e": 3}
SEEN = {"f": 10, "g": 12}
ADDERS = {"A1": ("x", "y", "f"), "A2": ("y", "z", "g")}
TIMES = {"M1": ("a", "c", "x"), "M2": ("b", "d", "y"), "M3": ("c", "e", "z")}
ALL = [frozenset(c) for n in range(6) for c in combinations(NAMES, n)]
PRIOR = np.array([0.01 ** len(bad) * 0.99 ** (5 - len(bad)) for bad in ALL])


def follow(good: Parts, seen: dict[str, int]) -> dict[str, int] | None:
    """Every value that follows if `good` parts work; None when two values clash."""
    known = {**INPUTS, **seen}
    moved = True
    while moved:
        moved = False
        found = [(t[2], known[t[0]] * known[t[1]]) for n, t in TIMES.items() if n in good]
        for name, (first, second, total) in ADDERS.items():
            if name not in good:
                continue
            for want, plus, minus in (
                (total, (first, second), ()),
                (first, (total,), (second,)),
                (second, (total,), (first,)),
            ):
                if all(n in known for n in (*plus, *minus)):
                    value = sum(known[n] for n in plus) - sum(known[n] for n in minus)
                    found.append((want, value))
        for net, value in found:
            if net not in known:
                known[net] = value
                moved = True
            elif known[net] != value:
                return None
    return known


def sets(listed: list[list[str]]) -> set[Parts]:
    return {frozenset(s) for s in listed}


def candidates(seen: dict[str, int]) -> list[Parts]:
    """Smallest sets of bad parts, by the package, from the readings."""
    conflicts = minimal_conflicts(NAMES, lambda good: follow(good, seen) is not None)
    return minimal_candidates(conflicts)


@cache
def weights(*readings: tuple[str, int]) -> np.ndarray:
    """Posterior over all 32 sets of bad parts, by the package's rule."""
    seen = {**SEEN, **dict(readings)}
    open_ = [float(follow(frozenset(NAMES) - bad, seen) is not None) for bad in ALL]
    return bayes(PRIOR, np.array(open_))


def test_minimal_conflicts() -> None:
    conflicts = minimal_conflicts(NAMES, lambda good: follow(good, SEEN) is not None)
    assert set(conflicts) == sets(BOOK["conflicts"])
    assert len(conflicts) == len(BOOK["conflicts"])


def test_minimal_candidates() -> None:
    found = candidates(SEEN)
    assert set(found) == sets(BOOK["candidates"])
    assert [len(c) for c in found] == sorted(len(c) for c in found)


def test_how_many_sets_stay_open() -> None:
    """By the oracle, and by the package: exactly the supersets of a minimal candidate."""
    by_values = {bad for bad in ALL if follow(frozenset(NAMES) - bad, SEEN) is not None}
    by_package = {bad for bad in ALL if any(c <= bad for c in candidates(SEEN))}
    assert len(by_values) == BOOK["consistent_subsets"]
    assert by_package == by_values


def test_a_good_reading_exonerates() -> None:
    """With f alone M2 is a suspect of its own; the good reading of g clears it of that."""
    assert set(candidates({"f": 10})) == sets(BOOK["f_only"])
    assert frozenset({"M2"}) not in candidates(SEEN)


def test_weights_before_a_probe() -> None:
    w = dict(zip(ALL, weights(), strict=True))
    for single in ("M1", "A1"):
        assert w[frozenset({single})] == pytest.approx(SCORES["single"], abs=5e-7)
    doubles = [v for bad, v in w.items() if len(bad) == 2 and v > 0 and not bad & {"M1", "A1"}]
    assert doubles == pytest.approx([SCORES["double"]] * 2, abs=5e-7)
    for part, value in SCORES["marginal"].items():
        assert sum(v for bad, v in w.items() if part in bad) == pytest.approx(value, abs=5e-5)
    assert entropy(weights()) == pytest.approx(SCORES["entropy"], abs=1e-5)


def chances(net: str) -> tuple[list[Any], np.ndarray]:
    """Outcomes of probing a net, and their 0/1 table under each set of bad parts."""
    told: list[Any] = []
    for bad in ALL:
        known = follow(frozenset(NAMES) - bad, SEEN)
        told.append("none" if known is None else known.get(net, "none"))
    outcomes = list(dict.fromkeys(told))
    return outcomes, np.array([[float(t == o) for o in outcomes] for t in told])


@pytest.mark.parametrize("net", ["x", "y", "z"])
def test_probe_outcomes_and_gain(net: str) -> None:
    page = SCORES["probes"][net]
    outcomes, table = chances(net)
    share = dict(zip(outcomes, weights() @ table, strict=True))
    assert set(share) == set(page["chances"])
    for outcome, chance in page["chances"].items():
        assert share[outcome] == pytest.approx(chance, abs=6e-5), outcome
    assert expected_gain(weights(), table) == pytest.approx(page["gain"], abs=5e-5)


def test_which_probe_first() -> None:
    gain = {net: expected_gain(weights(), chances(net)[1]) for net in "zyx"}
    assert sorted(gain, key=lambda n: -gain[n]) == ["x", "y", "z"]


@pytest.mark.parametrize("case", SCORES["after"], ids=lambda c: f"{c['probe']}={c['reads']}")
def test_after_a_probe(case: dict[str, Any]) -> None:
    reading = (case["probe"], case["reads"])
    found = candidates({**SEEN, reading[0]: reading[1]})
    assert set(found) == sets(case["candidates"])
    w = dict(zip(ALL, weights(reading), strict=True))
    top = sorted(found, key=lambda c: -w[c])[: case["tied"]]
    half = 0.5 * 10.0 ** -case["digits"]
    assert [w[c] for c in top] == pytest.approx([case["weight"]] * case["tied"], abs=1.01 * half)
    assert max(w.values()) == w[top[0]]
