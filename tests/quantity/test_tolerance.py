"""Tolerances alone and after a value."""

from __future__ import annotations

import pytest

from halfsplit.quantity import (
    QuantityError,
    Tolerance,
    Unit,
    parse_tolerance,
    parse_toleranced,
)


def percent(minus: float, plus: float) -> Tolerance:
    return Tolerance(minus, plus, True)


@pytest.mark.parametrize(
    ("text", "unit", "wanted"),
    [
        ("5%", "ohm", percent(0.05, 0.05)),
        ("5 %", "ohm", percent(0.05, 0.05)),
        ("±5 %", "ohm", percent(0.05, 0.05)),
        ("± 5%", "ohm", percent(0.05, 0.05)),
        ("+/-5%", "ohm", percent(0.05, 0.05)),
        ("+-5%", "ohm", percent(0.05, 0.05)),
        ("+/\u22125%", "ohm", percent(0.05, 0.05)),
        ("0,5%", "ohm", percent(0.005, 0.005)),
        ("-10/+75 %", "F", percent(0.10, 0.75)),
        ("\u221210/+75 %", "F", percent(0.10, 0.75)),
        ("+80-20%", "F", percent(0.20, 0.80)),
        ("+80/-20 %", "F", percent(0.20, 0.80)),
        ("+80% -20%", "F", percent(0.20, 0.80)),
        ("±0.1V", "V", Tolerance(0.1, 0.1, False)),
        ("±50 mV", "V", Tolerance(0.05, 0.05, False)),
        ("+0.2/-0.1 V", "V", Tolerance(0.1, 0.2, False)),
        ("±0.5pF", "F", Tolerance(0.5e-12, 0.5e-12, False)),
        ("±2 °C", "degC", Tolerance(2, 2, False)),
    ],
)
def test_accepted(text: str, unit: Unit, wanted: Tolerance) -> None:
    assert parse_tolerance(text, unit) == wanted


# IEC 60062 letters, per cent; from memory, unconfirmed.
@pytest.mark.parametrize(
    ("letter", "share"),
    [("B", 0.001), ("C", 0.0025), ("D", 0.005), ("F", 0.01),
     ("G", 0.02), ("J", 0.05), ("K", 0.10), ("M", 0.20)],
)  # fmt: skip
def test_letters(letter: str, share: float) -> None:
    assert parse_tolerance(letter, "ohm") == percent(share, share)
    assert parse_toleranced(f"4k7{letter}", "ohm") == (4700, percent(share, share))


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("", "ohm", "no value here"),
        ("5", "ohm", "per cent or not"),
        ("±5", "V", "per cent or not"),
        ("-20%", "F", "Only one side"),
        ("+20%", "F", "Only one side"),
        ("+80+20%", "F", "same sign"),
        ("-150%", "F", "Only one side"),
        ("150%", "ohm", "beyond -100 %"),
        ("+5000-10%", "F", "beyond -100 %"),
        ("j", "ohm", "does not start with a number"),
        ("A", "ohm", "does not start with a number"),
        ("J", "V", "does not start with a number"),
        ("C", "F", "picofarads below 10 pF"),
        ("5%", "degC", "no meaning"),
        ("5%", "%", "two ways"),
        ("±0.1A", "V", "belongs to a current"),
        ("+0.2V/-100 mV", "V", "different units"),
        ("5% 10%", "ohm", "Two values"),
        ("nan%", "ohm", "not a number that can be used"),
        ("± -5%", "ohm", "Only one side"),
    ],
)
def test_refused(text: str, unit: Unit, message: str) -> None:
    with pytest.raises(QuantityError, match=message) as caught:
        parse_tolerance(text, unit)
    assert caught.value.text == text


@pytest.mark.parametrize(
    ("text", "unit", "value", "tolerance"),
    [
        ("12 mV ± 5%", "V", 0.012, percent(0.05, 0.05)),
        ("4k7 5%", "ohm", 4700, percent(0.05, 0.05)),
        ("4k7 ±5%", "ohm", 4700, percent(0.05, 0.05)),
        ("4k7 J", "ohm", 4700, percent(0.05, 0.05)),
        ("470RM", "ohm", 470, percent(0.2, 0.2)),
        ("4n7K", "F", 4.7e-9, percent(0.1, 0.1)),
        ("100nK", "F", 1e-7, percent(0.1, 0.1)),
        ("100 uF -10/+75 %", "F", 1e-4, percent(0.1, 0.75)),
        ("100 uF +80-20%", "F", 1e-4, percent(0.2, 0.8)),
        ("12 V ±0.5 V", "V", 12, Tolerance(0.5, 0.5, False)),
        ("12 ± 0.5 V", "V", 12, Tolerance(0.5, 0.5, False)),
        ("5 V ± 50 mV", "V", 5, Tolerance(0.05, 0.05, False)),
        ("-12 V ± 5%", "V", -12, percent(0.05, 0.05)),
        ("12 V", "V", 12, None),
        ("5%", "1", 0.05, None),
        # A letter that is also a prefix is the prefix: 47K is 47 kilohms.
        ("47K", "ohm", 47000, None),
        ("4.7M", "ohm", 4.7e6, None),
        # Below 10 pF these letters give picofarads.
        ("4p7C", "F", 4.7e-12, Tolerance(0.25e-12, 0.25e-12, False)),
        ("4p7J", "F", 4.7e-12, percent(0.05, 0.05)),
        ("15pG", "F", 15e-12, percent(0.02, 0.02)),
    ],
)
def test_value_and_tolerance(
    text: str, unit: Unit, value: float, tolerance: Tolerance | None
) -> None:
    assert parse_toleranced(text, unit) == (value, tolerance)


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("±15 V", "V", "no value before the tolerance"),
        ("+/-15 V", "V", "no value before the tolerance"),
        ("4n7F", "F", "may be the unit or the letter"),
        ("22 5%", "F", "give a prefix"),
        ("22J", "ohm", "belongs to an energy"),
        ("5 ± 50 mV", "V", "open whether the prefix"),
        ("12 V ± 5", "V", "per cent or not"),
        ("12 mV ± 0.5", "V", "per cent or not"),
        ("12 V ± 5% 3%", "V", "Two values"),
        ("1,234 ohm ± 5%", "ohm", "may mark thousands"),
        ("25 C ± 5%", "degC", "no meaning"),
    ],
)
def test_value_and_tolerance_refused(text: str, unit: Unit, message: str) -> None:
    with pytest.raises(QuantityError, match=message) as caught:
        parse_toleranced(text, unit)
    assert caught.value.text == text


def test_bounds() -> None:
    assert percent(0.2, 0.8).bounds(100) == pytest.approx((80, 180))
    assert percent(0.05, 0.10).bounds(-12) == pytest.approx((-13.2, -11.4))
    assert Tolerance(1, 2, False).bounds(-12) == (-13, -10)
    assert percent(0, 0).bounds(5) == (5, 5)
