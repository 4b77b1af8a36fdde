"""Voltages as a bench meter shows them."""

from __future__ import annotations

import math


def volts(value: float) -> str:
    """Text to 10 mV, to 1 mV below a volt, to 0.1 V from a hundred up; "undefined" for NaN."""
    if math.isnan(value):
        return "undefined"
    if math.isinf(value):
        return "OL" if value > 0 else "-OL"
    places = 1 if abs(value) >= 100 else 2 if abs(value) >= 1 else 3
    text = f"{value:.{places}f}"
    return f"{text.lstrip('-') if float(text) == 0 else text} V"
