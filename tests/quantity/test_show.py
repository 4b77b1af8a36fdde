"""Values as shown, and back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfsplit.problems import HalfsplitError
from halfsplit.quantity import UNITS, Unit, parse, parse_reading, show, show_code


@pytest.mark.parametrize(
    ("value", "unit", "digits", "shown"),
    [
        (4700, "ohm", 3, "4.70 kΩ"),
        (0.47, "ohm", 2, "0.47 Ω"),
        (0.022, "ohm", 2, "22 mΩ"),
        (1e6, "ohm", 2, "1.0 MΩ"),
        (-12.04, "V", 4, "-12.04 V"),
        (12, "V", 3, "12.0 V"),
        (1200, "V", 3, "1.20 kV"),
        (0.65, "V", 3, "650 mV"),
        (999.96, "V", 3, "1.00 kV"),
        (0.025, "A", 3, "25.0 mA"),
        (0.25, "W", 2, "0.25 W"),
        (2.2e-5, "F", 2, "22 µF"),
        (1e-7, "F", 3, "100 nF"),
        (4.7e-12, "F", 2, "4.7 pF"),
        (0.033, "F", 2, "33000 µF"),
        (455e3, "Hz", 3, "455 kHz"),
        (25, "degC", 3, "25.0 °C"),
        (62.5, "K/W", 3, "62.5 K/W"),
        (0.05, "%", 2, "5.0 %"),
        (120, "1", 3, "120"),
        (0.0, "V", 3, "0 V"),
        (-0.0, "F", 3, "0 F"),
        (3e-17, "V", 2, "3.0e-17 V"),
    ],
)
def test_show(value: float, unit: Unit, digits: int, shown: str) -> None:
    assert show(value, unit, digits) == shown
    assert parse(shown, unit) == pytest.approx(value, rel=0.5 * 10 ** (1 - digits))


def test_what_is_not_a_number() -> None:
    assert parse_reading(show(math.inf, "ohm"), "ohm").state == "over"
    assert parse_reading(show(-math.inf, "V"), "V").value == -math.inf
    assert show(math.nan, "V") == "no value"
    with pytest.raises(HalfsplitError, match="1 to 15"):
        show(1.0, "V", 0)


@settings(max_examples=300, deadline=None)
@given(
    size=st.floats(1e-21, 1e16),
    sign=st.sampled_from([1, -1]),
    unit=st.sampled_from(sorted(UNITS)),
    digits=st.integers(1, 15),
)
def test_shown_value_reads_back(size: float, sign: int, unit: Unit, digits: int) -> None:
    value = sign * size
    # Half a count of the last digit, and the rounding of a float on top.
    assert parse(show(value, unit, digits), unit) == pytest.approx(
        value, rel=0.5 * 10 ** (1 - digits) * (1 + 1e-9) + 1e-15
    )


@pytest.mark.parametrize(
    ("value", "unit", "code"),
    [
        (4700, "ohm", "4k7"),
        (2.2, "ohm", "2R2"),
        (0.47, "ohm", "R47"),
        (470, "ohm", "470R"),
        (1e6, "ohm", "1M0"),
        (1e5, "ohm", "100k"),
        (4990, "ohm", "4k99"),
        (0, "ohm", "0R"),
        (4.7e-9, "F", "4n7"),
        (1e-7, "F", "100n"),
        (2.2e-6, "F", "2µ2"),
        (0.0047, "F", "4700µ"),
        (0.5e-12, "F", "p5"),
    ],
)
def test_show_code(value: float, unit: Unit, code: str) -> None:
    assert show_code(value, unit) == code
    assert parse(code, unit) == value


@settings(max_examples=200, deadline=None)
@given(
    digits=st.integers(1, 999_999), power=st.integers(-18, 8), unit=st.sampled_from(["ohm", "F"])
)
def test_code_reads_back(digits: int, power: int, unit: Unit) -> None:
    value = float(f"{digits}e{power - (6 if unit == 'F' else 0)}")
    assert parse(show_code(value, unit), unit) == value


def test_no_code() -> None:
    for value, unit in ((-1.0, "ohm"), (math.nan, "F"), (1.0, "V")):
        with pytest.raises(HalfsplitError, match="show"):
            show_code(value, unit)  # type: ignore[arg-type]
