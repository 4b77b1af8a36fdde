"""Meters that can be read by wire: what is connected, one reading, a reading that stands still.

Belongs here: talking to a meter, what its answer means, when a reading has settled. Does not belong
here: nets, parts, the journal; a reading becomes an entry only where somebody says so.

A new instrument is one folder here with a ``DRIVER`` in its ``__init__.py``.
"""

from halfsplit.instruments.errors import (
    GarbledError,
    GoneError,
    InstrumentError,
    NoAnswerError,
    WrongQuantityError,
)
from halfsplit.instruments.find import Found, connected, drivers, meter_at
from halfsplit.instruments.hold import Held, Hold, Settling
from halfsplit.instruments.live import Live, take_held
from halfsplit.instruments.port import QUANTITIES, UNIT, Driver, Meter, Quantity, Sample

__all__ = [
    "QUANTITIES",
    "UNIT",
    "Driver",
    "Found",
    "GarbledError",
    "GoneError",
    "Held",
    "Hold",
    "InstrumentError",
    "Live",
    "Meter",
    "NoAnswerError",
    "Quantity",
    "Sample",
    "Settling",
    "WrongQuantityError",
    "connected",
    "drivers",
    "meter_at",
    "take_held",
]
