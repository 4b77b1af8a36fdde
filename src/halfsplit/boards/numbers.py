"""Addresses and data words, read and written the way one machine does: octal, hex or decimal."""

from __future__ import annotations

import math
import re
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, WithJsonSchema
from ruamel.yaml.scalarint import HexInt, OctalInt

from halfsplit.quantity import QuantityError

Base = Literal["octal", "hex", "decimal"]
RADIX: dict[str, int] = {"octal": 8, "hex": 16, "decimal": 10}
_WORDS = re.compile(r"(\d+)\s?[Kk]")
_SAME = 8  # numbers below this read alike in all three bases


def read_number(text: str, base: Base) -> int:
    """`text` as a number of a machine that writes in `base`; 0x7, 0o7, 32K, “9 dec” say theirs.

    Raises
    ------
    QuantityError: when this is no number in that base.
    """
    flat = text.strip().replace("_", "")
    if found := _WORDS.fullmatch(flat):
        return int(found[1]) * 1024
    prefix = {"0x": 16, "0o": 8}.get(flat[:2].lower())
    digits = flat[2:] if prefix else flat
    if flat.endswith(" dec"):
        prefix, digits = 10, flat[:-4].strip()
    try:
        if not re.fullmatch(r"[0-9A-Fa-f]+", digits):
            raise ValueError
        return int(digits, prefix or RADIX[base])
    except ValueError:
        kind = {16: "hex", 8: "octal", 10: "decimal"}[prefix or RADIX[base]]
        sample = {"hex": "5A3C", "octal": "55074", "decimal": "23100"}[kind]
        raise QuantityError(
            text,
            f"not {'an' if kind == 'octal' else 'a'} {kind} number",
            f"digits such as {sample}",
        ) from None


def show_number(value: int, base: Base, bits: int = 16) -> str:
    """`value` in the machine's own base, with all the digits that `bits` need (decimal: none)."""
    if base == "decimal":
        return str(value)
    each = 4 if base == "hex" else 3
    return f"{value:0{math.ceil(bits / each)}{'X' if base == 'hex' else 'o'}}"


def _file_number(value: object) -> int:
    """A number in a file, where a bare one could be read in three bases."""
    if isinstance(value, bool) or not isinstance(value, (int, str)):
        raise ValueError("expected a number such as 0x4000 or 16K")
    if isinstance(value, int):
        plain = not isinstance(value, (HexInt, OctalInt))
        if value < 0:
            raise QuantityError(str(value), "an address is not negative", "0x0 or more")
        if plain and value >= _SAME:
            wrong = "this could be hex, octal or decimal"
            raise QuantityError(str(value), wrong, f"0x{value} or 0o{value} or {value} dec")
        return int(value)
    text = value.strip()
    sure = _WORDS.fullmatch(text) or text[:2].lower() in ("0x", "0o") or text.endswith(" dec")
    if not sure:
        raise QuantityError(text, "this could be hex, octal or decimal", f"0x{text} or 0o{text}")
    return read_number(text, "decimal")


def _count(value: object) -> int:
    """A count of words: plain decimal, 32K, or a prefixed number."""
    if isinstance(value, int) and not isinstance(value, bool) and value > 0:
        return int(value)
    if isinstance(value, str):
        found = read_number(value, "decimal")
        if found > 0:
            return found
    raise ValueError("expected a count such as 32K or 32768")


def _schema(words: str) -> Any:
    return WithJsonSchema({"type": ["string", "integer"], "description": words})


Address = Annotated[
    int, BeforeValidator(_file_number), _schema("address, such as 0x4000, 0o40000 or 16K")
]
Count = Annotated[int, BeforeValidator(_count), _schema("number of words, such as 32K")]
