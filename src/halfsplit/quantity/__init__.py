"""Values as people write them at the bench, and nothing about parts or circuits.

Belongs here: reading and showing values, tolerances, ranges and meter readings; preferred values.
Does not belong here: what a part is, what a meter loads, files, the terminal.
Every reader refuses what it does not know or what has two meanings; none of them guesses.
"""

from halfsplit.quantity import eseries
from halfsplit.quantity.errors import QuantityError
from halfsplit.quantity.parse import parse
from halfsplit.quantity.ranges import Range, parse_range
from halfsplit.quantity.reading import Reading, parse_reading
from halfsplit.quantity.show import show, show_code
from halfsplit.quantity.tolerance import Tolerance, parse_tolerance, parse_toleranced
from halfsplit.quantity.units import UNITS, Unit, UnitInfo

__all__ = [
    "UNITS",
    "QuantityError",
    "Range",
    "Reading",
    "Tolerance",
    "Unit",
    "UnitInfo",
    "eseries",
    "parse",
    "parse_range",
    "parse_reading",
    "parse_tolerance",
    "parse_toleranced",
    "show",
    "show_code",
]
