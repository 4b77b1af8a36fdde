"""A netlist: the elements of one machine, with one net named as common."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from halfsplit.circuit.elements import Element

# (element name, parameter name) -> value: the only form in which faults, tolerances and bench
# conditions reach the solver.
Overrides = dict[tuple[str, str], float]


@dataclass
class Netlist:
    """Elements plus the name of the common net (0 V)."""

    common: str = "com"
    elements: dict[str, Element] = field(default_factory=dict)

    def add(self, *elements: Element) -> None:
        """Add elements; a name already taken is a programming error."""
        for element in elements:
            if element.name in self.elements:
                raise ValueError(f"element {element.name} is already in the netlist")
            self.elements[element.name] = element

    def nets(self) -> list[str]:
        """Every net in first-seen order, common left out."""
        seen = dict.fromkeys(net for e in self for net in e.nets)
        seen.pop(self.common, None)
        return list(seen)

    def __iter__(self) -> Iterator[Element]:
        return iter(self.elements.values())
