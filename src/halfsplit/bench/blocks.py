"""What cannot be told while blocks stand in for parts."""

from __future__ import annotations

from halfsplit.assembly.model import Assembly
from halfsplit.parts.block import makers
from halfsplit.problems import Problem, ProblemsError


def by_blocks(assembly: Assembly) -> list[str]:
    """Blocks of a machine not opened into parts yet."""
    return [block.ref for block in makers(assembly.parts.values()).values()]


def only_of_parts(assembly: Assembly, what: str) -> None:
    """Raise ProblemsError while blocks stand in for parts that alone could tell."""
    blocks = by_blocks(assembly)
    if blocks:
        some = ", ".join(blocks[:4]) + (" …" if len(blocks) > 4 else "")
        wrong = f"a block says nothing of {what}, and these are blocks still: {some}"
        instead = "their parts, and parts: [R1, …] on the line of the block"
        raise ProblemsError([Problem(str(assembly.file), 0, 0, "blocks", wrong, instead)])
