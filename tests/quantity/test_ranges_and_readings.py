"""Limits, and what a meter shows."""

from __future__ import annotations

import math

import pytest

from halfsplit.quantity import (
    QuantityError,
    Unit,
    parse,
    parse_range,
    parse_reading,
)


@pytest.mark.parametrize(
    ("text", "unit", "low", "high"),
    [
        ("4.75..5.25V", "V", 4.75, 5.25),
        ("4.75 .. 5.25 V", "V", 4.75, 5.25),
        ("4.75 V to 5.25 V", "V", 4.75, 5.25),
        ("4.75 to 5.25 V", "V", 4.75, 5.25),
        ("4.75 V ... 5.25 V", "V", 4.75, 5.25),
        ("4.75…5.25", "V", 4.75, 5.25),
        ("4.75\u20135.25 V", "V", 4.75, 5.25),
        ("4.75-5.25", "V", 4.75, 5.25),
        ("4.75 - 5.25 V", "V", 4.75, 5.25),
        ("-11.4..-12.6", "V", -12.6, -11.4),
        ("\u221211.4\u2013\u221212.6 V", "V", -12.6, -11.4),
        ("-5..5 V", "V", -5, 5),
        ("5V ± 5%", "V", 4.75, 5.25),
        ("-12 V ± 5%", "V", -12.6, -11.4),
        ("100 uF +80-20%", "F", 80e-6, 180e-6),
        ("10..20 mA", "A", 0.01, 0.02),
        ("4k5..4k9", "ohm", 4500, 4900),
        ("900 ohm..1.1 kohm", "ohm", 900, 1100),
        ("100..220 pF", "F", 100e-12, 220e-12),
        ("0 to 70 degC", "degC", 0, 70),
        ("1e-3-2e-3", "V", 0.001, 0.002),
        ("4..6%", "%", 0.04, 0.06),
        ("5..5", "V", 5, 5),
    ],
)
def test_range(text: str, unit: Unit, low: float, high: float) -> None:
    found = parse_range(text, unit)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("5 V", "V", "One value is not a range"),
        ("", "V", "no value here"),
        ("5..", "V", "One limit is missing"),
        ("..5", "V", "One limit is missing"),
        ("1..2..3", "V", "only once"),
        ("1...5", "V", "two points"),
        ("-4-5", "V", "may be a minus"),
        ("4--5", "V", "may be a minus"),
        ("4.75 -5.25", "V", "may be a minus"),
        ("-11.4\u201312.6", "V", "may be a minus"),
        ("1-2-3", "V", "may be a minus"),
        ("±15 V", "V", "no value before the tolerance"),
        ("900..1.1 kohm", "ohm", "open whether the prefix"),
        ("5 mV..7", "V", "open whether the prefix"),
        ("4..4k7", "ohm", "open whether the prefix"),
        ("4k7..5", "ohm", "open whether the prefix"),
        ("100..200", "F", "need a unit"),
        ("1,234..1,300", "V", "may mark thousands"),
        ("4.75..5.25 A", "V", "belongs to a current"),
        ("nan..5", "V", "not a number that can be used"),
        (">5 V", "V", "give the number itself"),
    ],
)
def test_range_refused(text: str, unit: Unit, message: str) -> None:
    with pytest.raises(QuantityError, match=message) as caught:
        parse_range(text, unit)
    assert caught.value.text == text
    assert caught.value.instead
    for spelling in caught.value.instead.removeprefix("a value such as ").split(" or "):
        try:
            parse_range(spelling, unit)
        except QuantityError:
            parse(spelling, unit)  # advice about one of the two limits


@pytest.mark.parametrize(
    ("text", "unit", "value", "resolution"),
    [
        ("12.04", "V", 12.04, 0.01),
        ("-12.04 V", "V", -12.04, 0.01),
        ("12,04", "V", 12.04, 0.01),
        ("12", "V", 12, 1),
        ("12.04 mV", "V", 0.01204, 1e-5),
        ("5.0 k", "ohm", 5000, 100),
        ("4k70", "ohm", 4700, 10),
        ("0.00", "V", 0, 0.01),
        ("1e3", "V", 1000, 1000),
        ("101.3 nF", "F", 101.3e-9, 0.1e-9),
    ],
)
def test_number_on_the_display(text: str, unit: Unit, value: float, resolution: float) -> None:
    found = parse_reading(f" {text} ", unit)
    assert (found.value, found.resolution) == (value, resolution)
    assert (found.state, found.text) == ("number", text)


@pytest.mark.parametrize("text", ["OL", "O.L", "0L", "0.L", ".OL", "∞", "OL kohm", "overload"])
def test_over_range(text: str) -> None:
    found = parse_reading(text, "ohm")
    assert (found.state, found.value, found.text) == ("over", math.inf, text)


def test_over_range_keeps_the_sign() -> None:
    assert parse_reading("-OL", "V").value == -math.inf
    assert parse_reading("\u2212OL", "V").value == -math.inf


@pytest.mark.parametrize("text", ["unstable", "Wandering"])
def test_unstable(text: str) -> None:
    found = parse_reading(text, "V")
    assert (found.state, found.text) == ("unstable", text)
    assert math.isnan(found.value)


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("", "V", "no value here"),
        ("1 .", "ohm", "lone 1"),
        ("1.", "ohm", "lone 1"),
        ("~12", "V", "as it shows it"),
        ("12?", "V", "as it shows it"),
        ("about 12", "V", "as it shows it"),
        (">30", "V", "as it shows it"),
        ("OL ohm", "V", "does not start with a number"),
        ("inf", "V", "not a number that can be used"),
        ("jumping", "V", "does not start with a number"),
        ("1/4", "ohm", "does not show fractions"),
        ("100", "F", "give a prefix"),
        ("12 ohm", "V", "belongs to a resistance"),
    ],
)
def test_reading_refused(text: str, unit: Unit, message: str) -> None:
    with pytest.raises(QuantityError, match=message) as caught:
        parse_reading(text, unit)
    assert caught.value.instead
    for spelling in caught.value.instead.removeprefix("a value such as ").split(" or "):
        parse_reading(spelling, unit)
