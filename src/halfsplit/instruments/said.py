"""What a meter's line of text says: number, unit, over range, display held; or why it is none."""

from __future__ import annotations

import math
import re
from decimal import Decimal, InvalidOperation

from halfsplit.instruments.errors import GarbledError, WrongQuantityError
from halfsplit.instruments.port import UNIT, WORDS, Quantity, Sample
from halfsplit.quantity import UNITS, QuantityError, Unit, parse_reading

LONGEST = 200  # characters quoted or looked at; a reading is a few dozen at most
# SCPI-1999, volume 1 (Syntax and Style), special numbers: infinity 9.9E37, not a number 9.91E37;
# read second-hand, in makers' programming guides.
SCPI_INFINITE, SCPI_NONE = Decimal("9.9E37"), Decimal("9.91E37")
# Below: spellings seen in makers' protocol sheets; common practice, no published source.
_OVER = re.compile(r"(?P<sign>[+-]?)\s*(?:[O0]\.?L\.?|\.[O0]L|OVLD|OVER|OVERLOAD|OFL)", re.I)
_HELD = {"HOLD", "HLD", "H"}
_NOT_NOW = {"MAX", "MIN", "AVG", "PEAK", "REL"}  # numbers that are not what the probe sees now
_PLAIN = {"DC", "AC", "AUTO", "MAN", "MANU", "RANGE", "TRUE", "RMS", "TRMS", "OHM", "DIODE", "APO"}
_NUMBER = re.compile(
    r"(?P<number>[+-]?\s*(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*(?P<unit>[^\d\s]*)"
)
_CURRENT_KIND = re.compile(r"(?P<unit>.*[VvAa])(?P<kind>DC|AC|dc|ac)")
_TOLD: dict[Unit, str] = {
    "V": "volts",
    "A": "amperes",
    "ohm": "ohms",
    "Hz": "hertz",
    "F": "a capacitance",
    "degC": "a temperature",
}


def printable(raw: bytes | str) -> str:
    """`raw` on one line with nothing in it that a terminal, a page or a journal could act on."""
    text = raw.decode("latin-1") if isinstance(raw, bytes) else raw
    text = text.strip("\r\n\0 ")
    shown = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text[:LONGEST])
    return shown + ("…" if len(text) > LONGEST else "")


def written(number: Decimal, unit: Unit) -> str:
    """`number` of SI units with prefix and unit, keeping just the digits it was sent with."""
    exponent = int(number.as_tuple().exponent)
    shown = UNITS[unit].shown
    size = number.adjusted() if number else 0  # 0.000 V, not 0 mV
    fitting = [p for p in shown if p[1] <= size] or [shown[0]]
    prefix, power = fitting[-1]
    for name, higher in shown:  # a last digit of 10 kΩ must not be written as if it were 1 kΩ
        if exponent > power and higher > power:
            prefix, power = name, higher
    if exponent > power:
        return f"{number:e} {UNITS[unit].symbol}"
    return f"{number.scaleb(-power):f} {prefix}{UNITS[unit].symbol}".rstrip()


def from_number(text: str, quantity: Quantity, at: float = 0.0) -> Sample:
    """A SCPI answer, which is a number in the SI unit and nothing else. Raises GarbledError."""
    raw, unit = printable(text), UNIT[quantity]
    try:
        if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", raw):
            raise InvalidOperation
        number = Decimal(raw)
    except InvalidOperation:
        raise _no_reading(raw) from None
    if abs(number) == SCPI_NONE:
        return Sample(math.nan, unit, "no value", raw, at=at)
    if abs(number) >= SCPI_INFINITE:
        minus = number < 0
        return Sample(-math.inf if minus else math.inf, unit, "-OL" if minus else "OL", raw, at=at)
    return _sample(number, unit, raw, False, at)


def from_line(line: bytes | str, quantity: Quantity, at: float = 0.0) -> Sample:
    """A line such as ``+1.2345E+0``, ``12.34 VDC``, ``OL`` or ``DC -0.512 mV HOLD``.

    A line without a unit is taken to be in the unit asked for, because such a meter cannot say.

    Raises
    ------
    GarbledError: it is no reading. WrongQuantityError: it is one of another quantity.
    """
    raw = printable(line)
    words = re.split(r"[\s,;]+", raw) if not re.search(r"\d,\d", raw) else raw.split()
    upper = {w.upper() for w in words}
    rest = [w for w in words if w.upper() not in _HELD | _PLAIN | _NOT_NOW or w in ("ohm", "Ohm")]
    held, kinds = bool(upper & _HELD), upper & {"AC", "DC"}
    if upper & _NOT_NOW:
        raise GarbledError(
            f"the meter shows {', '.join(sorted(upper & _NOT_NOW))} ({raw}), which is not what its "
            "probes see now; switch that off on the meter"
        )
    body = " ".join(rest)
    over = _OVER.match(body)
    if over:
        suffix = body[over.end() :].strip()
        _agrees(suffix, quantity, kinds, raw)
        minus = over["sign"] == "-"
        value = -math.inf if minus else math.inf
        return Sample(value, UNIT[quantity], "-OL" if minus else "OL", raw, hold=held, at=at)
    found = _NUMBER.fullmatch(body)
    if not found:
        raise _no_reading(raw)
    power = _agrees(found["unit"], quantity, kinds, raw)
    number = Decimal(found["number"].replace(" ", "").replace(",", "."))
    return _sample(number.scaleb(power), UNIT[quantity], raw, held, at)


def _agrees(suffix: str, quantity: Quantity, kinds: set[str], raw: str) -> int:
    """Power of ten of a unit as written. Raises unless it is a unit of `quantity`."""
    unit = UNIT[quantity]
    with_kind = _CURRENT_KIND.fullmatch(suffix)
    if with_kind:
        suffix, kinds = with_kind["unit"], kinds | {with_kind["kind"].upper()}
    told = unit if not suffix or suffix in UNITS[unit].suffixes else _unit_of(suffix)
    if told is None:
        raise _no_reading(raw)
    wanted = {"volts": "DC", "amps": "DC", "ac": "AC"}.get(quantity)
    kind = next(iter(kinds)) if len(kinds) == 1 and unit == told else ""
    if told != unit or (wanted and kind and kind != wanted):
        shows = f"{_TOLD.get(told, told)} {'on ' + kind if kind else ''}".strip()
        raise WrongQuantityError(
            f"the meter shows {shows} ({raw}) and {WORDS[quantity]} "
            f"{'were' if quantity in ('volts', 'ac', 'ohms') else 'was'} asked for; "
            "turn its switch, or ask for what it shows"
        )
    return UNITS[unit].suffixes[suffix] if suffix else 0


def _unit_of(suffix: str) -> Unit | None:
    return next((u for u, info in UNITS.items() if suffix in info.suffixes and u != "1"), None)


def _sample(number: Decimal, unit: Unit, raw: str, held: bool, at: float) -> Sample:
    text = written(number, unit)
    try:
        reading = parse_reading(text, unit)  # what will be stored is what this reads back
    except QuantityError as error:
        raise _no_reading(raw) from error
    return Sample(reading.value, unit, text, raw, reading.resolution, held, at)


def _no_reading(raw: str) -> GarbledError:
    shown = f"“{raw}”" if raw else "an empty line"
    return GarbledError(
        f"the meter sent {shown}, which is no reading: check the line setting, such as @2400-7N1"
    )
