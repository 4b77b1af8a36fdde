"""Whatever is typed, the readers answer with a value or with their own error, and quickly."""

from __future__ import annotations

import math
import pickle
import time
from collections.abc import Callable

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from halfsplit.problems import HalfsplitError
from halfsplit.quantity import (
    UNITS,
    QuantityError,
    Unit,
    parse,
    parse_range,
    parse_reading,
    parse_tolerance,
    parse_toleranced,
)

READERS: list[Callable[[str, Unit], object]] = [
    parse,
    parse_range,
    parse_reading,
    parse_tolerance,
    parse_toleranced,
]
SCRAPS = st.lists(
    st.sampled_from(
        [*"0123456789 .,+-/±%–−…eEkKmMuµnpfRFHVAWJCLO?~", "..", " to ", "ohm", "Meg", "+/-", "1/4",
         "uF", "V", "°C", "OL", "1e3", "5%", "\n", "\u2009"]
    ),
    max_size=12,
).map("".join)  # fmt: skip


def reads(spelling: str, unit: Unit) -> bool:
    """Whether some reader takes the advice, which may be about a part of the text."""
    for reader in READERS:
        try:
            reader(spelling, unit)
        except QuantityError:
            continue
        return True
    return False


@pytest.mark.parametrize("reader", READERS)
@settings(max_examples=400, deadline=None)
@given(text=st.one_of(st.text(), SCRAPS), unit=st.sampled_from(sorted(UNITS)))
@example(text="1/2", unit="W")
@example(text="1/3", unit="V")
@example(text="0±-0", unit="1")
@example(text="5±-5", unit="V")
def test_only_its_own_error(reader: Callable[[str, Unit], object], text: str, unit: Unit) -> None:
    try:
        found = reader(text, unit)
    except QuantityError as error:
        assert error.text == text
        assert 0 <= error.position <= len(text)
        assert str(error).startswith(error.wrong) and error.wrong
        assert error.instead
        for spelling in error.instead.removeprefix("a value such as ").split(" or "):
            assert reads(spelling, unit), error.instead
    else:
        if reader is parse:
            assert isinstance(found, float) and math.isfinite(found)


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("text", ["1 " * 40, "1/" * 40, "9" * 80, "1-" * 40, "+1" * 40, "1±" * 40])
def test_a_long_line_is_refused_at_once(reader: Callable[[str, Unit], object], text: str) -> None:
    start = time.perf_counter()
    with pytest.raises(QuantityError):
        reader(text, "V")
    assert time.perf_counter() - start < 0.5


def test_error_is_a_value_error_and_survives_pickling() -> None:
    with pytest.raises(QuantityError) as caught:
        parse("10uF/25V", "F")
    error = caught.value
    assert isinstance(error, ValueError) and not isinstance(error, HalfsplitError)
    again = pickle.loads(pickle.dumps(error))
    assert vars(again) == vars(error) and str(again) == str(error)


def test_unknown_unit_is_misuse() -> None:
    with pytest.raises(HalfsplitError, match="use one of"):
        parse("5", "lx")  # type: ignore[arg-type]
