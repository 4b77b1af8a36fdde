"""Read one value."""

from __future__ import annotations

from halfsplit.quantity.errors import QuantityError
from halfsplit.quantity.scan import Scan, scan
from halfsplit.quantity.units import UNITS, Unit


def parse(text: str, unit: Unit) -> float:
    """SI value of `text`, a value in `unit` with or without the unit written.

    Reads SI prefixes, IEC 60062 letter codes (``4k7``), decimal points and decimal commas, and
    ``1/4 W``. A percentage comes back as a fraction: ``5%`` is 0.05. The sign is kept; whether a
    negative value makes sense is for the field to say.

    Raises
    ------
    QuantityError: when the text is not one value in this unit, or has two possible meanings.

    Source: IEC 60062 for the letter codes; the rest is common practice, no published source.
    """
    found = scan(text, unit)
    refuse_bare(text, unit, found)
    return float(found.value)


def refuse_bare(text: str, unit: Unit, found: Scan) -> None:
    """Refuse a number alone where the unit does not settle what it means.

    Raises
    ------
    QuantityError: a number alone for farads or for per cent.
    """
    if not found.bare:
        return
    number = f"{found.value:f}"
    place = len(text) - len(text.lstrip())
    if unit == "F":
        raise QuantityError(
            text,
            f"{number} alone would be farads: give a prefix.",
            f"{number} uF or {number} pF",
            place,
        )
    if unit == "%":
        raise QuantityError(
            text,
            f"{number} alone may be a percentage or a fraction, and this asks for "
            f"{UNITS[unit].noun}.",
            f"{number}%",
            place,
        )
