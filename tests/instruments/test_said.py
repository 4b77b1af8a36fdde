"""What a meter's text means, and what is no reading."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfsplit.instruments.errors import GarbledError, InstrumentError, WrongQuantityError
from halfsplit.instruments.port import QUANTITIES, UNIT, Quantity
from halfsplit.instruments.said import from_line, from_number, printable, written
from halfsplit.quantity import Unit, parse_reading

# line, quantity, value, last digit, display held
LINES: list[tuple[str, Quantity, float, float, bool]] = [
    ("+1.2345E+0", "volts", 1.2345, 1e-4, False),
    ("12.34 VDC", "volts", 12.34, 0.01, False),
    ("-0.512 mV", "volts", -0.512e-3, 1e-6, False),
    ("DC -0.512 mV HOLD", "volts", -0.512e-3, 1e-6, True),
    ("DC,12.3,V,AUTO", "volts", 12.3, 0.1, False),
    ("12,34 V", "volts", 12.34, 0.01, False),
    ("AC 1.20 V", "ac", 1.2, 0.01, False),
    ("0.998VAC", "ac", 0.998, 1e-3, False),
    ("4.70 kOhm", "ohms", 4700.0, 10.0, False),
    ("10 ohm", "ohms", 10.0, 1.0, False),
    ("4.7E+5", "ohms", 470e3, 10e3, False),
    ("0.612 V", "diode", 0.612, 1e-3, False),
    ("100.02 Hz", "frequency", 100.02, 0.01, False),
    ("21.6 kHz", "frequency", 21600.0, 100.0, False),
    ("-18.2 mADC", "amps", -18.2e-3, 1e-4, False),
    ("000.0 V", "volts", 0.0, 0.1, False),
]


@pytest.mark.parametrize(("line", "quantity", "value", "step", "held"), LINES)
def test_lines_as_meters_send_them(
    line: str, quantity: Quantity, value: float, step: float, held: bool
) -> None:
    found = from_line(line.encode() + b"\r\n", quantity)
    assert found.value == pytest.approx(value, rel=1e-12, abs=0.0)
    assert found.step == pytest.approx(step, rel=1e-9)
    assert found.hold is held and not found.over


@pytest.mark.parametrize("line", ["OL", "O.L MΩ", ".OL", "0L", "OVLD", "+OL ohm", "-OL"])
def test_over_range(line: str) -> None:
    found = from_line(line, "ohms")
    assert found.over and math.copysign(1, found.value) == (-1 if line[0] == "-" else 1)
    assert parse_reading(found.text, "ohm").state == "over"


@pytest.mark.parametrize(
    ("line", "quantity", "words"),
    [
        ("12.3 V", "ohms", "shows volts"),
        ("4.7 kΩ", "volts", "shows ohms"),
        ("O.L MΩ", "volts", "shows ohms"),
        ("12.3 VAC", "volts", "shows volts on AC"),
        ("AC 12.3 V", "volts", "shows volts on AC"),
        ("12.3 VDC", "ac", "shows volts on DC"),
        ("99.9 nF", "ohms", "shows a capacitance"),
        ("23 °C", "volts", "shows a temperature"),
        ("50 Hz", "volts", "shows hertz"),
        ("1.2 A", "volts", "shows amperes"),
    ],
)
def test_another_quantity_is_refused_in_words(line: str, quantity: Quantity, words: str) -> None:
    with pytest.raises(WrongQuantityError, match=words):
        from_line(line, quantity)


@pytest.mark.parametrize(
    "line",
    ["", "   ", "garbage", "\x00\x01\xff", "1.2.3 V", "12.34 12.35", "1.5 MV", "E+5", "--1 V",
     "1e999", "MAX 12.3 V", "12.3 flubs", "∞²", "1" * 300],
)  # fmt: skip
def test_garbage_is_no_reading(line: str) -> None:
    with pytest.raises(GarbledError):
        from_line(line, "volts")


@pytest.mark.parametrize(
    ("answer", "value"),
    [("+4.98213456E+00", 4.98213456), ("-1.5E-3\n", -1.5e-3), ("12", 12.0), ("0.0E+0", 0.0)],
)
def test_scpi_numbers(answer: str, value: float) -> None:
    assert from_number(answer, "volts").value == value


def test_nought_is_shown_in_its_unit() -> None:
    assert from_line("0.000 VDC", "volts").text == "0.000 V"
    assert from_line("00.0 mV", "volts").text == "0.0000 V"


def test_scpi_special_numbers() -> None:
    """SCPI-1999, volume 1: 9.9E37 is infinite, 9.91E37 is not a number (read second-hand)."""
    assert from_number("+9.90000000E+37", "ohms").value == math.inf
    assert from_number("-9.9E37", "volts").value == -math.inf
    assert math.isnan(from_number("9.91E37", "volts").value)


@pytest.mark.parametrize("answer", ["", "1,2", "nan", "inf", "1.0 V", "#15hello", "0x10", "1E+30"])
def test_scpi_garbage(answer: str) -> None:
    with pytest.raises(GarbledError):
        from_number(answer, "volts")


@given(st.integers(-999_999, 999_999), st.integers(-9, 4), st.sampled_from(["V", "A", "ohm", "Hz"]))
def test_what_is_written_reads_back_with_its_last_digit(
    digits: int, exponent: int, unit: Unit
) -> None:
    number = Decimal(digits).scaleb(exponent)
    back = parse_reading(written(number, unit), unit)
    assert back.value == pytest.approx(float(number), rel=1e-12, abs=0.0)
    assert back.resolution == pytest.approx(10.0**exponent, rel=1e-9)


@given(st.binary(max_size=60), st.sampled_from(QUANTITIES))
def test_any_bytes_are_a_reading_or_a_refusal(raw: bytes, quantity: Quantity) -> None:
    try:
        found = from_line(raw, quantity)
    except InstrumentError as error:
        assert str(error).isprintable()
        return
    assert parse_reading(found.text, UNIT[quantity]).value == found.value
    assert found.raw.isprintable()


def test_nothing_unprintable_is_passed_on() -> None:
    assert printable(b"\x1b[2J1.2\r\n") == "\\x1b[2J1.2"
