"""A reading of this machine, to show how one is written."""

from __future__ import annotations

from halfsplit.assembly.model import Assembly


def reading_example(assembly: Assembly) -> str:
    """Such as "p12=12.00", of the first rail with limits: the middle of them; where there is none,
    of the first net."""
    for rail in assembly.rails.values():
        if rail.limits is not None:
            return f"{rail.net}={(rail.limits.low + rail.limits.high) / 2.0:.2f}"
    net = next((n for n in assembly.nets() if n != assembly.common), assembly.common)
    return f"{net}=4.99"


def net_example(assembly: Assembly) -> str:
    """The net of that."""
    return reading_example(assembly).partition("=")[0]
