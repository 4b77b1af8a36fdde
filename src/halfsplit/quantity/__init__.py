"""Quantities as people at a bench write them, and nothing else.

Belongs here: reading and showing values, tolerances, ranges and meter readings; preferred values.
Does not belong here: parts, circuits, limits.
"""

from halfsplit.quantity.parse import (
    QuantityError,
    Range,
    Reading,
    Tolerance,
    Unit,
    parse,
    parse_range,
    parse_reading,
    parse_tolerance,
    parse_toleranced,
)
from halfsplit.quantity.show import show, show_code

__all__ = [
    "QuantityError",
    "Range",
    "Reading",
    "Tolerance",
    "Unit",
    "parse",
    "parse_range",
    "parse_reading",
    "parse_tolerance",
    "parse_toleranced",
    "show",
    "show_code",
]
