"""Preferred values against an independent table."""

from __future__ import annotations

import eseries as reference
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfsplit.problems import HalfsplitError
from halfsplit.quantity import eseries
from halfsplit.quantity.eseries import Series

ALL: list[Series] = ["E3", "E6", "E12", "E24", "E48", "E96", "E192"]


@pytest.mark.parametrize("name", ALL)
def test_values_match_reference(name: Series) -> None:
    assert eseries.values(name) == tuple(reference.series(reference.ESeries[name]))
    assert len(eseries.values(name)) == int(name[1:])


def test_known_answers() -> None:
    assert eseries.nearest("E12", 319) == 330
    assert eseries.nearest("E96", 1234) == 1240
    assert eseries.next_above("E12", 4800) == 5600
    assert eseries.next_below("E12", 4800) == 4700
    assert eseries.next_above("E12", 4700) == eseries.next_below("E12", 4700) == 4700
    assert eseries.next_above("E3", 48) == 100
    assert eseries.next_below("E12", 9.9) == 8.2


@settings(max_examples=200, deadline=None)
@given(name=st.sampled_from(ALL), value=st.floats(1e-12, 1e9))
def test_steps_match_reference(name: Series, value: float) -> None:
    key = reference.ESeries[name]
    above, below = eseries.next_above(name, value), eseries.next_below(name, value)
    assert below <= value * (1 + 1e-8) and above >= value * (1 - 1e-8)
    if not eseries.is_preferred(value, name):
        assert above == pytest.approx(reference.find_greater_than_or_equal(key, value), rel=1e-9)
        assert below == pytest.approx(reference.find_less_than_or_equal(key, value), rel=1e-9)
    near = eseries.nearest(name, value)
    # On a tie either neighbour is right, so distances are compared.
    assert abs(near - value) == pytest.approx(
        abs(reference.find_nearest(key, value) - value), rel=1e-6, abs=1e-9 * value
    )


def test_is_preferred() -> None:
    assert eseries.is_preferred(4700, "E12") and eseries.is_preferred(4.7e-9, "E3")
    assert not eseries.is_preferred(5100, "E12") and eseries.is_preferred(5100, "E24")
    assert not eseries.is_preferred(0, "E12") and not eseries.is_preferred(-4700, "E12")
    assert eseries.is_preferred(9200, "E192") and not eseries.is_preferred(9190, "E192")


def test_misuse_names_the_remedy() -> None:
    with pytest.raises(HalfsplitError, match="E192"):
        eseries.values("E5")  # type: ignore[arg-type]
    with pytest.raises(HalfsplitError, match="positive"):
        eseries.nearest("E12", 0)
