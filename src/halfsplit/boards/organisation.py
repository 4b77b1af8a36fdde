"""How a memory board is built: banks, bits, chips, multiplexed address lines, what drives what."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field, WithJsonSchema

from halfsplit.assembly.model import Entry
from halfsplit.boards.numbers import Count


def _text(value: object) -> str:
    if isinstance(value, bool) or value is None or isinstance(value, (dict, list)):
        raise ValueError("expected a word")
    return str(value)


Word = Annotated[str, BeforeValidator(_text), WithJsonSchema({"type": ["string", "number"]})]


class ChipRule(Entry):
    """Chip number = first + bank · per_bank + bit · per_bit, behind a prefix."""

    prefix: str = "U"
    first: int
    per_bank: int
    per_bit: int = 1


class Lines(Entry):
    """Address lines to the chips: line k carries A(k), then A(k + count) when multiplexed."""

    name: str = "MA"
    count: int = Field(ge=1, le=24)
    multiplexed: bool = True
    drivers: dict[Word, tuple[int, ...]] = Field(
        default_factory=dict, description="driver: the lines it drives"
    )
    resistor: str = Field(default="", description="resistor element in each line, {k} its number")


class Refresh(Entry):
    """Refresh of dynamic chips."""

    rows: Count
    counter: str = ""
    point: str = Field(default="", description="where a probe sees it")


class Memory(Entry):
    """Organisation of one memory board, enough to go from an address print to a chip position.

    `banks` banks of `words` words; the bank is the address from bit `bank_bit` upward, exclusive-or
    1 while the setting `swap` is at `swapped`. Data bit b of bank n sits in the chip that the rule
    or the table gives; bits beyond `data` are parity.
    """

    banks: int = Field(ge=1, le=64)
    words: Count
    data: int = Field(ge=1, le=64, description="data bits, parity left out")
    parity: int = Field(default=0, ge=0, le=8)
    bank_bit: int | None = Field(
        default=None, ge=0, le=31, description="without it, the address bit just above a bank"
    )
    swap: str | None = None
    swapped: Word = "in"
    chips: ChipRule | None = None
    table: dict[int, tuple[Word, ...]] | None = Field(
        default=None, description="bank: chips from bit 0 up"
    )
    lines: Lines
    buffers: dict[Word, tuple[int, ...]] = Field(
        default_factory=dict, description="data buffer: the bits it carries"
    )
    selects: tuple[Word, ...] = Field(default=(), description="row strobe or select of each bank")
    refresh: Refresh | None = None
    rails: tuple[Word, ...] = ()

    def amiss(self) -> list[tuple[str, str]]:
        """What cannot be right in this organisation alone: (what is wrong, what to write)."""
        found = []
        bits = self.data + self.parity
        if (self.chips is None) == (self.table is None):
            rule = "chips: {first: 10, per_bank: 20}, or table: {0: [U10, U11, …]}"
            found.append(("chip positions need either a rule or a table of all", rule))
        for bank, row in (self.table or {}).items():
            if len(row) != bits:
                wrong = f"bank {bank} of the table has {len(row)} chips for {bits} bits"
                found.append((wrong, f"{bits} positions, bit 0 first, parity last"))
        if self.table is not None and sorted(self.table) != list(range(self.banks)):
            found.append(("the table leaves banks out", f"banks 0 to {self.banks - 1}"))
        reach = self.lines.count * (2 if self.lines.multiplexed else 1)
        if 1 << reach != self.words:
            twice = ", used twice," if self.lines.multiplexed else ""
            wrong = f"{self.lines.count} lines{twice} reach {1 << reach} words, not {self.words}"
            found.append((wrong, "the lines at one chip, or multiplexed: false"))
        return found

    @property
    def bank_from(self) -> int:
        """Lowest address bit that tells the bank."""
        return (self.words - 1).bit_length() if self.bank_bit is None else self.bank_bit

    def chip(self, bank: int, bit: int) -> str:
        """Position of the chip of one bit (parity bits follow the data bits)."""
        if self.table is not None:
            return self.table[bank][bit]
        assert self.chips is not None
        rule = self.chips
        return f"{rule.prefix}{rule.first + rule.per_bank * bank + rule.per_bit * bit}"

    def bank(self, address: int, swapped: bool = False) -> int:
        """Bank an address falls into."""
        return ((address >> self.bank_from) % self.banks) ^ int(swapped and self.banks > 1)

    def bit_name(self, bit: int) -> str:
        """`bit 5`, or `parity 0` for the bits beyond the data."""
        return f"bit {bit}" if bit < self.data else f"parity {bit - self.data}"

    def line_bits(self, line: int) -> tuple[int, ...]:
        """Address bits that line `line` carries."""
        if not self.lines.multiplexed:
            return (line,)
        return (line, line + self.lines.count)

    def line_name(self, line: int) -> str:
        """Name of an address line, such as MA3."""
        return f"{self.lines.name}{line}"

    def in_line(self, line: int) -> list[str]:
        """What stands in one address line: its driver, then its resistor element."""
        found = [f"driver {d}" for d, lines in self.lines.drivers.items() if line in lines]
        if self.lines.resistor:
            found.append("resistor " + self.lines.resistor.replace("{k}", str(line)))
        return found

    def buffer_of(self, bit: int) -> str:
        """Data buffer that carries a bit, or ""."""
        return next((b for b, bits in self.buffers.items() if bit in bits), "")
