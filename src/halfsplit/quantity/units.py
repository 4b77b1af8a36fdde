"""Units a field can have, and every spelling accepted for each: the table, not the reading.

A suffix table maps the letters after a number (spaces removed) to a power of ten. What is not in
the table is refused, so a spelling is accepted only because a line here says so. Prefixes differ
from unit to unit on purpose: on drawings lettered in capitals ``MA``, ``MV``, ``MH`` and ``MF``
stand for milli or micro, so mega is read only for ohms, hertz and plain numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, get_args

Unit = Literal["V", "A", "ohm", "F", "H", "W", "Hz", "s", "degC", "J", "K/W", "%", "1"]

# The International System of Units (SI Brochure), 9th edition 2019, table 7. "K" for kilo is common
# practice on component markings and is not SI.
POWERS = {
    "f": -15, "p": -12, "n": -9, "u": -6, "µ": -6, "m": -3,
    "k": 3, "K": 3, "M": 6, "Meg": 6, "meg": 6, "MEG": 6, "G": 9, "T": 12,
}  # fmt: skip
_LONG_POWERS = {"pico": -12, "nano": -9, "micro": -6, "milli": -3, "kilo": 3, "mega": 6}
_MICRO = ("u", "µ")
_MEGA = ("M", "Meg", "meg", "MEG")


@dataclass(frozen=True, slots=True)
class UnitInfo:
    """How one unit is written.

    Attributes
    ----------
    symbol: shown after a number by :func:`halfsplit.quantity.show`.
    noun: the quantity in words, for messages.
    example: a spelling that works, for messages.
    suffixes: accepted letters after the number -> power of ten.
    refused: letters that look right but have two meanings -> the reason, a clause, and what to
        write instead with ``{n}`` for the number ("" when nothing better is known).
    letters: IEC 60062 letters that stand for the decimal point -> power of ten.
    shown: prefixes used for display, smallest first, as (prefix, power of ten).
    """

    symbol: str
    noun: str
    example: str
    suffixes: dict[str, int]
    refused: dict[str, tuple[str, str]] = field(default_factory=dict)
    letters: dict[str, int] = field(default_factory=dict)
    shown: tuple[tuple[str, int], ...] = (("", 0),)


def _suffixes(
    words: tuple[str, ...], prefixes: tuple[str, ...], long_words: tuple[str, ...] = ()
) -> dict[str, int]:
    table = dict.fromkeys(words + long_words, 0)
    for prefix in prefixes:
        table[prefix] = POWERS[prefix]
        table |= {prefix + word: POWERS[prefix] for word in words}
    powers = {POWERS[p] for p in prefixes}
    for name, power in _LONG_POWERS.items():
        if power in powers:
            table |= {name + word: power for word in long_words}
    return table


def _letters(*names: str, own: str = "") -> dict[str, int]:
    return {n: POWERS[n] for n in names} | dict.fromkeys(own, 0)


def _no_mega(symbol: str, *words: str) -> dict[str, tuple[str, str]]:
    reason = "M is mega, but drawings lettered in capitals use it for milli"
    return dict.fromkeys(("M", *("M" + w for w in words)), (reason, f"{{n}} m{symbol}"))


def _shown(*prefixes: str) -> tuple[tuple[str, int], ...]:
    return tuple((p, POWERS[p] if p else 0) for p in prefixes)


_AC = "whether a voltage is AC is said by the field, not by the value", "{n} V"
_MILLIFARAD = (
    "m is milli today, but on old drawings mF and MF mean microfarad",
    "{n} uF or {n}e-3 F",
)
_CODE_R = "R in a code stands for pF on some parts and for µF on others", "{n} pF or {n} uF"
_CODE_R_COIL = "R in a coil's code stands for µH, and elsewhere for ohms", "{n} uH"

_VOLT = UnitInfo(
    "V",
    "a voltage",
    "12.5 V",
    _suffixes(
        ("V", "v", "Vdc", "VDC", "vdc", "Vd.c."),
        ("p", "n", *_MICRO, "m", "k", "K"),
        ("volt", "volts"),
    ),
    _no_mega("V", "V", "v", "Vdc", "VDC")
    | dict.fromkeys(("VAC", "Vac", "vac", "Vrms", "VRMS", "Vpp", "Vp-p"), _AC),
    _letters("k", "K", "m", *_MICRO, own="Vv"),
    _shown("n", "µ", "m", "", "k"),
)
_AMPERE = UnitInfo(
    "A",
    "a current",
    "25 mA",
    _suffixes(
        ("A", "a", "Adc", "ADC"),
        ("f", "p", "n", *_MICRO, "m", "k", "K"),
        ("amp", "amps", "ampere", "amperes"),
    ),
    _no_mega("A", "A", "a"),
    _letters("m", *_MICRO, own="A"),
    _shown("p", "n", "µ", "m", ""),
)
_OHM = UnitInfo(
    "Ω",
    "a resistance",
    "4.7 kohm",
    _suffixes(
        ("Ω", "ohm", "ohms", "Ohm", "Ohms", "OHM", "OHMS"),
        ("n", *_MICRO, "m", "k", "K", *_MEGA, "G", "T"),
    )
    | {"R": 0}
    | {name + end: power for name, power in (("kil", 3), ("kilo", 3), ("mega", 6))
       for end in ("ohm", "ohms")},
    {},
    _letters("m", "k", "K", "M", "G", "T", own="R"),
    _shown("µ", "m", "", "k", "M", "G", "T"),
)  # fmt: skip
_PICO_OLD = ("mmfd", "MMFD", "mmf", "MMF", "pfd", "PFD", "uuF", "uuf", "UUF", "uufd", "UUFD")
_FARAD = UnitInfo(
    "F",
    "a capacitance",
    "22 uF",
    _suffixes(("F",), ("f", "p", "n", *_MICRO), ("farad", "farads"))
    | dict.fromkeys((*_PICO_OLD, "µµF", "µµf", "µµfd", "pf", "PF"), -12)
    | dict.fromkeys(("nf", "NF"), -9)
    | dict.fromkeys(
        ("mfd", "Mfd", "MFD", "ufd", "uFd", "UFD", "µfd", "µFd", "uf", "UF", "µf"), -6
    ),
    dict.fromkeys(("m", "mF", "mf", "M", "MF", "Mf"), _MILLIFARAD)
    | {"f": ("f is femto, or a farad in small letters", "{n} fF or {n} F")}
    | {"R": _CODE_R},
    _letters("p", "n", *_MICRO, "m", own="F"),
    _shown("p", "n", "µ"),
)  # fmt: skip
del _FARAD.suffixes["f"]  # two meanings; the whole "fF" stays
_HENRY = UnitInfo(
    "H",
    "an inductance",
    "4.7 mH",
    _suffixes(("H", "h"), ("p", "n", *_MICRO, "m"), ("henry", "henries", "henrys")),
    _no_mega("H", "H", "h") | {"R": _CODE_R_COIL},
    _letters("n", *_MICRO, "m", own="H"),
    _shown("n", "µ", "m", ""),
)
_WATT = UnitInfo(
    "W",
    "a power",
    "0.25 W",
    _suffixes(("W", "w"), ("p", "n", *_MICRO, "m", "k", "K"), ("watt", "watts")),
    _no_mega("W", "W", "w"),
    _letters("m", "k", "K", own="W"),
    _shown("n", "µ", "m", "", "k"),
)
_CYCLES = {p + c: POWERS[p] for p in ("k", "K", "M") for c in ("c", "c/s", "C", "C/S")}
_HERTZ = UnitInfo(
    "Hz",
    "a frequency",
    "455 kHz",
    _suffixes(("Hz",), (*_MICRO, "m", "k", "K", *_MEGA, "G", "T"), ("hertz",))
    | {p + w: POWERS[p] for p in ("k", "K", "M", "G") for w in ("hz", "HZ")}
    | {"hz": 0, "HZ": 0, "c/s": 0, "cps": 0}
    | _CYCLES,
    dict.fromkeys(
        ("m", "mhz", "mc", "mc/s"),
        ("m is milli, and a frequency in small letters may mean mega", "{n} MHz or {n} mHz"),
    ),
    _letters("k", "K", "M", "G"),
    _shown("m", "", "k", "M", "G"),
)
del _HERTZ.suffixes["m"]
_SECOND = UnitInfo(
    "s",
    "a time",
    "1.5 ms",
    _suffixes(
        ("s", "sec", "secs"), ("f", "p", "n", *_MICRO, "m"), ("second", "seconds")
    ),
    {"m": ("m alone may be minutes or milliseconds", "{n} ms")} | _no_mega("s", "s", "sec"),
    {},
    _shown("p", "n", "µ", "m", ""),
)  # fmt: skip
del _SECOND.suffixes["m"]
_DEGREES = ("°C", "ºC", "℃", "degC", "DegC", "degreesC", "C")
_CELSIUS = UnitInfo(
    "°C",
    "a temperature in degrees Celsius",
    "25 degC",
    dict.fromkeys(_DEGREES, 0),
    dict.fromkeys(("°F", "F", "degF"), ("this is Fahrenheit and the field is in Celsius", ""))
    | {"K": ("this is kelvin and the field is in Celsius", "")},
)
_JOULE = UnitInfo(
    "J",
    "an energy",
    "2.5 J",
    _suffixes(("J",), ("p", "n", *_MICRO, "m", "k", "K"), ("joule", "joules")),
    _no_mega("J", "J"),
    {},
    _shown("n", "µ", "m", "", "k"),
)
_KELVIN_PER_WATT = UnitInfo(
    "K/W",
    "a thermal resistance",
    "62.5 K/W",
    {"K/W": 0} | {d + "/W": 0 for d in _DEGREES},
)
_PERCENT = UnitInfo("%", "a percentage", "5%", {"%": -2, "percent": -2})
_NUMBER = UnitInfo(
    "",
    "a plain number",
    "120",
    _suffixes((), ("p", "n", *_MICRO, "m", "k", "K", *_MEGA, "G", "T"))
    | {"%": -2, "percent": -2},
    {},
    _letters("k", "K", "M"),
)  # fmt: skip

UNITS: dict[Unit, UnitInfo] = {
    "V": _VOLT,
    "A": _AMPERE,
    "ohm": _OHM,
    "F": _FARAD,
    "H": _HENRY,
    "W": _WATT,
    "Hz": _HERTZ,
    "s": _SECOND,
    "degC": _CELSIUS,
    "J": _JOULE,
    "K/W": _KELVIN_PER_WATT,
    "%": _PERCENT,
    "1": _NUMBER,
}
assert tuple(UNITS) == get_args(Unit)


def unit_of_suffix(suffix: str, but: Unit) -> Unit | None:
    """Another unit that `suffix` belongs to, or None; bare prefixes belong to nobody."""
    if suffix in POWERS:
        return None
    return next((u for u, info in UNITS.items() if u != but and suffix in info.suffixes), None)
