"""Writing quantities the way the trade does, so that what is shown can be typed back."""

from __future__ import annotations

import math

from halfsplit.quantity.parse import Unit

_SYMBOL = {
    "ohm": "Ω",
    "degC": "°C",
    "1": "",
}
_STEPS: dict[str, list[tuple[float, str]]] = {
    "V": [(1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ")],
    "A": [(1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n")],
    "ohm": [(1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m")],
    "F": [(1e-6, "µ"), (1e-9, "n"), (1e-12, "p")],  # the trade writes 33000 µF, not 33 mF
    "H": [(1.0, ""), (1e-3, "m"), (1e-6, "µ")],
    "W": [(1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ")],
    "Hz": [(1e6, "M"), (1e3, "k"), (1.0, "")],
    "s": [(1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n")],
    "J": [(1e3, "k"), (1.0, ""), (1e-3, "m")],
}


def show(value: float, unit: Unit, digits: int = 3) -> str:
    """Text such as ``4.70 kΩ`` or ``-12.04 V`` with `digits` significant digits."""
    if math.isnan(value):
        return "undefined"
    if math.isinf(value):
        return "OL" if value > 0 else "-OL"
    if unit == "%":
        return f"{value * 100:.{max(digits - 1, 0)}g}%"
    size = abs(value)
    scale, prefix = 1.0, ""
    for scale, prefix in _STEPS.get(unit, [(1.0, "")]):
        if size >= scale * (1.0 - 0.5 * 10.0**-digits):
            break
    if size == 0.0:
        scale, prefix = 1.0, ""
    scaled = value / scale
    whole = len(str(int(abs(scaled)))) if abs(scaled) >= 1 else 0
    text = f"{scaled:.{max(digits - max(whole, 1), 0)}f}"
    if abs(scaled) < 1 and scaled and float(text) == 0.0:
        text = f"{scaled:.{digits}g}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    symbol = _SYMBOL.get(unit, unit)
    return f"{text} {prefix}{symbol}".strip()


def volts(value: float) -> str:
    """A voltage as a bench meter shows it: to 10 mV, or 1 mV below a volt."""
    if not math.isfinite(value):
        return show(value, "V")
    places = 1 if abs(value) >= 100 else 2 if abs(value) >= 1 else 3
    text = f"{value:.{places}f}"
    return f"{text.lstrip('-') if float(text) == 0 else text} V"


def show_code(value: float, unit: Unit) -> str:
    """IEC 60062 letter code of a resistance or capacitance, such as ``4k7`` or ``22u``."""
    letters = {"ohm": [(1e6, "M"), (1e3, "k"), (1.0, "R")]}
    letters["F"] = [(1e-6, "u"), (1e-9, "n"), (1e-12, "p")]
    if unit not in letters:
        raise ValueError(f"letter codes are for ohm and F, not {unit}")
    scale, letter = letters[unit][-1]
    for scale, letter in letters[unit]:
        if value >= scale * 0.9995:
            break
    text = f"{float(f'{value / scale:.3g}'):.10g}"
    return text.replace(".", letter) if "." in text else f"{text}{letter}"
